"""The same quantities measured on rulings that the engine computes."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from wavesim import aperture
from wavesim.aperture import Aperture, Comb
from wavesim.aperture.build import even_positions
from wavesim.aperture.defects.random_errors import draw
from wavesim.arrays import Floats
from wavesim.diffraction.far.exact import direct_sum
from wavesim.errors import ComputationError
from wavesim.random_streams import ruling_stream
from wavesim.scene import (
    Defect,
    DriftDefect,
    MissingDefect,
    PeriodicDefect,
    RandomDefect,
    Scene,
    Span,
    StepDefect,
)
from wavesim.study.formulas import SINC_FWHM
from wavesim.study.profile.field import prepared
from wavesim.study.profile.line_core import Core
from wavesim.study.profile.scan import Illumination, scan, softened, weight_moments
from wavesim.study.profile.search import diffuse
from wavesim.study.ruling import Ruling, ruling, with_aperture
from wavesim.study.tolerance.formula import Broadening, mean_width, with_twins

_DRAWS = 2000  # rulings averaged where errors accumulate: 1.5 % of the width
_FEW = 400  # rulings of each
_LEAST_DRAWS, _MOST_DRAWS = 4, 200  # rulings averaged for diffuse light
_SCATTERERS = 400  # missing rulings in all that give their light to 5 %
_GHOST_DRAWS = 16
_CELLS = 3000.0  # resolution cells that a mean of speckle needs for 2 %
_SPAN_WIDTHS = 2.5
_SAMPLES = 41


@dataclass(frozen=True)
class RelativeErrors:
    """Errors of a ruling, over the pitch: what the engine is asked to compute.

    Attributes
    ----------
    periodic, period : amplitude A/d and period in rulings
    modulation : a of a groove strength 1 + a cos of the same period
    random : rms of independent displacements
    missing : part of the rulings
    walk, drift, step : rms of each pitch, relative change of pitch over the width, one step
    """

    periodic: float = 0.0
    period: float = 100.0
    modulation: float = 0.0
    random: float = 0.0
    missing: float = 0.0
    walk: float = 0.0
    drift: float = 0.0
    step: float = 0.0

    def without_widening(self) -> RelativeErrors:
        """Ghosts and diffuse light alone."""
        return replace(self, walk=0.0, drift=0.0, step=0.0)

    def widening_scaled(self, factor: float) -> RelativeErrors:
        """The errors that widen the line multiplied, the others as they are."""
        walk, drift, step = self.walk * factor, self.drift * factor, self.step * factor
        return replace(self, walk=walk, drift=drift, step=step)

    def defects(self, pitch_m: float, count: int, seed: int) -> tuple[Defect, ...]:
        """As a scene has them; the modulation is no defect of a scene and goes in by weights."""
        span = Span(rulings=self.period)
        d = pitch_m
        candidates: list[tuple[float, Defect]] = [
            (self.periodic, PeriodicDefect(amplitude_m=self.periodic * d, period=span)),
            (self.random, RandomDefect(rms_m=self.random * d, seed=seed)),
            (self.missing, _missing(self.missing, count, seed)),
            (self.walk, RandomDefect(rms_m=self.walk * d, correlation="accumulated", seed=seed)),
            (self.drift, DriftDefect(linear=self.drift)),
            (self.step, StepDefect(size_m=self.step * d)),
        ]
        return tuple(defect for size, defect in candidates if size)


@dataclass(frozen=True, eq=False)
class SimulatedRuling:
    """A scene's ruling at one wavelength and order, ready to be given errors."""

    scene: Scene
    ruled: Ruling
    wavelength_m: float
    order: int

    def light(self, errors: RelativeErrors, seed: int = 0) -> Illumination:
        """The engine's aperture with those errors."""
        rulings = getattr(self.scene.aperture, "rulings", self.ruled.count)
        defects = errors.defects(self.ruled.pitch_m, rulings, seed)
        made = aperture.build(with_aperture(self.scene, defects=defects)).towards()
        if errors.modulation:
            made = _modulated(made, errors)
        return Illumination(made, self.ruled.sine_in, self.ruled.bench_m(self.wavelength_m))

    def ghost(self, errors: RelativeErrors) -> tuple[float, float]:
        """Stronger of the first ghosts over the line, without the groove's envelope, and its error.

        What stands at a position is the line and both ghosts together, each with the wings of the
        softened beam; the amplitudes are told apart by what the perfect ruling leaves at the
        distances between them, so a period may be as long as half of the ruling. The mean of 16
        rulings where diffuse light interferes with it.
        """
        offset = np.array([0.0, 1.0, -1.0, 2.0, -2.0]) / errors.period
        mu = self.order + offset
        amplitude = np.sqrt(self.ruled.efficiency(mu, self.wavelength_m))
        perfect = self.light(RelativeErrors())
        copies = self._wings(softened(perfect), offset[:, None] - offset)
        draws = _GHOST_DRAWS if errors.random or errors.missing else 1
        level = np.empty((draws, mu.size))
        for k in range(draws):
            light = softened(self.light(errors, 10 * k), edge=perfect.edge_amplitude)
            relative = light.amplitude(mu) / amplitude
            level[k] = np.abs(np.linalg.solve(copies, relative)) ** 2
        ratio = level[:, 1:3] / level[:, :1]
        side = int(np.argmax(ratio.mean(axis=0)))
        error = float(ratio[:, side].std()) / math.sqrt(draws)
        return float(ratio[:, side].mean()), error

    def _wings(self, perfect: Illumination, offset: Floats) -> Floats:
        """Amplitude that a line of the perfect ruling leaves at offsets, over its peak."""
        comb = perfect.aperture.combs[0]
        weight, along = np.abs(comb.weight), comb.position_m / self.ruled.pitch_m
        flat, inverse = np.unique(np.abs(offset), return_inverse=True)
        amplitude = np.array([float(weight @ np.cos(2 * np.pi * u * along)) for u in flat])
        return np.asarray((amplitude / weight.sum())[inverse].reshape(offset.shape))

    def diffuse(self, errors: RelativeErrors) -> tuple[float, float]:
        """Share of the line's light that is scattered evenly, and its standard error."""
        missing = max(errors.missing * self.ruled.count, 1.0)
        least = (
            min(max(_LEAST_DRAWS, _SCATTERERS / missing), _MOST_DRAWS)
            if errors.missing
            else (_LEAST_DRAWS)
        )
        levels: list[float] = []
        cells = 0.0
        while len(levels) < least or (cells < _CELLS and len(levels) < _MOST_DRAWS):
            level, more = self._level(self.light(errors, 10 * len(levels)), errors)
            levels.append(level)
            cells += more
        return float(np.mean(levels)), float(np.std(levels)) / math.sqrt(len(levels) - 1)

    def _level(self, light: Illumination, errors: RelativeErrors) -> tuple[float, float]:
        soft = softened(light)
        field = prepared(scan(soft, self.order - 0.25, self.order + 0.25, fineness=4), self.order)
        efficiency = self.ruled.efficiency(field.mu, self.wavelength_m)
        line = float(self.ruled.efficiency(self.order, self.wavelength_m))
        flat = type(field)(field.mu, field.level * line / efficiency, field.line, field.width)
        own, softer = weight_moments(light.aperture), weight_moments(soft.aperture)
        moments = (own[1] / own[0] ** 2, softer[1] / softer[0] ** 2)
        ghosts = (
            self.order + np.arange(-9, 10) / errors.period
            if errors.periodic or errors.modulation
            else np.array([])
        )
        found = diffuse(flat, ghosts, moments=moments, cell=softer[2] / softer[1] ** 2)
        return found.level * self.ruled.effective_count, found.cells

    def resolving_power(self, errors: RelativeErrors) -> float:
        """0.8859 |m| / FWHM of the line, twins included (`with_twins`).

        Where errors accumulate, of the mean line of 2000 rulings.
        Only what widens a line goes in, on a ruling of 400 with the same errors from end to end:
        widths go with 1/N at the same sigma^2 N, drift times N, and step.
        """
        count = min(_FEW, self.ruled.count)
        fewer = self.ruled.count / count
        draws = _DRAWS if errors.walk else 1
        perfect = mean_width(self.ruled, self.order, Broadening()) * fewer
        offset = np.linspace(-1, 1, _SAMPLES) * _SPAN_WIDTHS * perfect
        level = np.zeros(_SAMPLES)
        for seed in range(draws):
            level += self._short(errors, count, seed, self.order + offset)
        try:
            left, right = Core(offset, level).half_positions
            width = with_twins(offset, level, (left, right))
            return SINC_FWHM * abs(self.order) / width * fewer
        except ComputationError:
            return 0.0

    def _short(self, errors: RelativeErrors, count: int, seed: int, mu: Floats) -> Floats:
        """|sum w exp(-2 pi i u x)|^2 of `count` rulings with the whole one's errors end to end."""
        fewer, d = self.ruled.count / count, self.ruled.pitch_m
        position = even_positions(count, d)
        along = position / (count * d)
        grid = (np.arange(self.ruled.count) + 0.5) / self.ruled.count - 0.5
        weight = np.interp(along, grid, np.abs(self.ruled.weight)).astype(np.complex128)
        moved = errors.drift * fewer * count * along**2 / 2 + errors.step * (along > 0)
        if errors.walk:
            moved = moved + errors.walk * math.sqrt(fewer) * draw("accumulated", seed, count, d)
        out = np.empty(mu.size, dtype=np.complex128)
        direct_sum(weight, position + d * moved, mu / d, np.zeros(mu.size), out)
        return np.asarray(out.real**2 + out.imag**2)


def bench(scene: Scene, wavelength_m: float, order: int) -> SimulatedRuling:
    """The bench of a scene, its own defects left out."""
    return SimulatedRuling(scene, ruling(scene), wavelength_m, order)


def _missing(fraction: float, count: int, seed: int) -> MissingDefect:
    """One ruling missing at random in every stretch of 1/part: random, but of even number."""
    spacing = max(round(1 / fraction), 2) if fraction else count
    first = np.arange(0, count - spacing + 1, spacing)
    chosen = first + ruling_stream(seed).randint(0, spacing, first.size)
    return MissingDefect(rulings=tuple(int(n) + 1 for n in chosen) or (1,))


def _modulated(made: Aperture, errors: RelativeErrors) -> Aperture:
    turn = 2 * np.pi / (errors.period * made.pitch_m)
    combs = tuple(
        Comb(c.element, c.position_m,
             c.weight * (1 + errors.modulation * np.cos(turn * c.position_m)))
        for c in made.combs
    )  # fmt: skip
    return Aperture(combs, made.height_m, made.pitch_m, made.limits)
