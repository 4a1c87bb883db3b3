"""The line profile: what one wavelength leaves about one order, over ten decades and more.

    found = line_profile(wavesim.load("scenes/grating_screw.toml"), wavelength_m=546.1e-9, order=2)
    found.fwhm_orders, found.ghosts, found.diffuse

Everything is measured on the engine's |A|^2; formulas serve only to name what was found.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wavesim import aperture
from wavesim.arrays import Floats
from wavesim.diffraction.far.running import RunningIntegral, integral_of
from wavesim.errors import LimitError
from wavesim.results import Listing, Result, Sentence
from wavesim.scene import Scene
from wavesim.study.focus import line_focus, through_lens_m
from wavesim.study.formulas import SINC_FWHM
from wavesim.study.predict.ghosts import Ghost
from wavesim.study.predict.orders import DARK
from wavesim.study.profile.line_core import Core, core_of
from wavesim.study.profile.matching import HiddenGhost, MatchedGhost, WingLimit, notes, search
from wavesim.study.profile.report import record, report
from wavesim.study.profile.scan import Illumination, OrderScan, out_of_focus, scan, within_lens
from wavesim.study.profile.search import Diffuse, FoundGhost
from wavesim.study.ruling import Ruling, beam_notes, ruling

__all__ = [
    "Diffuse",
    "FoundGhost",
    "HiddenGhost",
    "Illumination",
    "LineProfile",
    "MatchedGhost",
    "WingLimit",
    "line_profile",
]

_FINE = 4.0  # samples per 1/(aperture width) of the scan
_CORE = 8.0  # widths to either side that the fine core spans
_WIDTHS = (1.0, 10.0, 100.0)
_ENOUGH_CELLS = 1000  # for a mean of speckle to 3 %


@dataclass(frozen=True, eq=False, repr=False)
class LineProfile(Result):
    """The instrument's profile about one line.

    Attributes
    ----------
    order, wavelength_m : the line
    mu, level : (n,) even scan over `span` orders, level over the peak
    core : the line itself, finely sampled
    peak_mu : where the peak lies; m for a perfect ruling
    fwhm_orders, fwhm_m, fwhm_on_plate_m : full width at half maximum in orders, wavelength, length
    equivalent_orders : power of the scan over its peak
    rayleigh_orders, sparrow_orders : separation of two lines just resolved
    resolving_power : 0.8859 |m| / FWHM, |m| N for a perfect ruling
    strehl : peak over the perfect ruling's in the same beam
    power_within : share of the scan's power within 1, 10 and 100 FWHM about the peak
    ghosts : found, and matched with the predicted
    hidden : predicted ghosts that the line's own wings cover, with the limit there
    missed : predicted ghosts above the diffuse light's mean that were not found
    diffuse : mean light between
    limits : the weakest ghost that the line's wings leave to be found, by distance
    notes : sentences
    """

    order: int
    wavelength_m: float
    mu: Floats
    level: Floats
    core: Core
    peak_mu: float
    fwhm_orders: float
    fwhm_m: float
    fwhm_on_plate_m: float
    equivalent_orders: float
    rayleigh_orders: float
    sparrow_orders: float
    resolving_power: float
    strehl: float
    power_within: tuple[tuple[float, float], ...]
    ghosts: tuple[MatchedGhost, ...]
    hidden: tuple[HiddenGhost, ...]
    missed: tuple[Ghost, ...]
    diffuse: Diffuse
    limits: tuple[WingLimit, ...]
    notes: tuple[str, ...]

    kind: ClassVar[str] = "line profile"

    def report(self) -> Iterator[Sentence | Listing]:
        """Sentences and tables, in order."""
        return report(self)

    def record(self) -> dict[str, object]:
        """All figures without the curves, as plain values."""
        return record(self)


def line_profile(
    scene: Scene, *, wavelength_m: float, order: int = 1, span_orders: float = 1.0
) -> LineProfile:
    """Scan, measure and search one line of a scene.

    Parameters
    ----------
    wavelength_m : [m] in air
    order : m, which must propagate
    span_orders : width of the scan about the line [orders]

    Raises
    ------
    LimitError
        No even rulings, an order that does not propagate or is missing, or not enough memory.
    ComputationError
        The line is so broken up that it has no width.

    Notes
    -----
    Cost: two scans of 4 N samples per order, each a non-uniform FFT (0.1 s per 100,000
    rulings), and a core of 2401 positions. Far field, scalar theory. The floor is 1e-24 of the
    perfect peak in the scan; the core is exact to 1e-12 of the peak amplitude.
    """
    ruled = ruling(scene)
    light = Illumination(
        aperture.build_for_middle_row(scene), ruled.sine_in, ruled.bench_m(wavelength_m)
    )
    first, last = _window(light, order, span_orders)
    _refuse_dark(ruled, light, order)
    beta = _beta(ruled, order, wavelength_m)
    light = within_lens(light, through_lens_m(scene, beta, light.aperture.span_m))
    x = float(ruled.x_m(math.sin(beta)))
    focus = line_focus(scene.bench, 0.0 if math.isnan(x) else x, wavelength_m)
    if not focus.sharp:
        light = out_of_focus(light, beta, focus.vergence_per_m)
    whole = scan(light, first, last, fineness=_FINE)
    core = _core(light, whole, order)
    fwhm = core.fwhm
    found = search(scene, ruled, light.of_a_point, order, ends=(first, last), width=fwhm)
    per_order = ruled.pitch_m * math.cos(_beta(ruled, order, wavelength_m))
    return LineProfile(
        order=order,
        wavelength_m=wavelength_m,
        mu=whole.mu,
        level=whole.level / core.peak,
        core=core,
        peak_mu=core.peak_at,
        fwhm_orders=fwhm,
        fwhm_m=wavelength_m * fwhm / abs(order) if order else math.nan,
        fwhm_on_plate_m=_rate(ruled, order, wavelength_m) * light.wavelength_m * fwhm / per_order,
        equivalent_orders=float(whole.level.sum()) * whole.step / core.peak,
        rayleigh_orders=core.rayleigh(),
        sparrow_orders=core.sparrow(),
        resolving_power=SINC_FWHM * abs(order) / fwhm,
        strehl=core.peak / _perfect_peak(ruled, order, wavelength_m),
        power_within=_power_within(light, whole, core),
        ghosts=found.ghosts,
        hidden=found.hidden,
        missed=found.missed,
        diffuse=found.diffuse,
        limits=found.limits,
        notes=beam_notes(ruled)
        + notes(
            found,
            uniform=ruled.uniform,
            enough_cells=_ENOUGH_CELLS,
            defocus_m=0.0 if focus.sharp else focus.defocus_m,
        ),
    )


def _window(light: Illumination, order: int, span: float) -> tuple[float, float]:
    low, high = light.reach
    if not low < order < high:
        raise LimitError(
            f"order {order} does not propagate at {light.wavelength_m * 1e9:.6g} nm",
            expected=f"an order from {math.ceil(low)} to {math.floor(high)}",
        )
    return max(order - span / 2, low), min(order + span / 2, high)


def _refuse_dark(ruled: Ruling, light: Illumination, order: int) -> None:
    low, high = (math.ceil(edge) for edge in light.reach)
    efficiency = ruled.efficiency(
        np.arange(max(low, -1000.0), min(high, 1000.0)), light.wavelength_m
    )
    darkest = DARK * float(efficiency.max(initial=0.0))
    if float(ruled.efficiency(order, light.wavelength_m)) <= darkest:
        raise LimitError(
            f"order {order} is missing: the groove sends no light there",
            expected="an order with light, as listed by wavesim predict",
        )


def _core(light: Illumination, whole: OrderScan, order: int) -> Core:
    """Fine samples about the line, as wide as the line turns out to be."""
    mu = whole.mu
    near = np.flatnonzero(np.abs(mu - order) < 0.25)
    peak = int(near[np.argmax(whole.level[near])])
    above = near[whole.level[near] >= whole.level[peak] / 2]
    width = max((int(above[-1]) - int(above[0])) * whole.step, 2 * whole.step)
    middle = (mu[above[-1]] + mu[above[0]]) / 2
    half = min(_CORE * width, 0.5)
    return core_of(light.intensity, float(middle), half)


def _beta(ruled: Ruling, order: int, wavelength_m: float) -> float:
    return math.asin(float(ruled.sine_out(order, wavelength_m)))


def _rate(ruled: Ruling, order: int, wavelength_m: float) -> float:
    """dx / d(beta) on the plate [m/rad]."""
    return ruled.geometry.x_per_rad(_beta(ruled, order, wavelength_m))


def _perfect_peak(ruled: Ruling, order: int, wavelength_m: float) -> float:
    efficiency = float(ruled.efficiency(order, wavelength_m)) * ruled.pitch_m**2
    return efficiency * ruled.peak_power()


def _power_within(
    light: Illumination, whole: OrderScan, core: Core
) -> tuple[tuple[float, float], ...]:
    """Share of the scan's power within so many FWHM about the peak; what fits into the scan."""
    total = float(whole.level.sum()) * whole.step
    half = [n * core.fwhm / 2 for n in _WIDTHS]
    inside = [
        h for h in half if core.peak_at - h >= whole.first and core.peak_at + h <= whole.mu[-1]
    ]
    if not inside:
        return ()
    table = running(light, core.peak_at - inside[-1], core.peak_at + inside[-1])
    return tuple(
        (n, _between(table, light, core.peak_at - h, core.peak_at + h) / total)
        for n, h in zip(_WIDTHS, inside, strict=False)
    )


def running(light: Illumination, first: float, last: float) -> RunningIntegral:
    """Running integral of |A|^2 over u between two orders."""
    pitch = light.pitch_m

    def power(u: Floats) -> Floats:
        mu = u * pitch
        fineness = pitch / (light.aperture.width_m * (mu[1] - mu[0]))
        return scan(light, mu[0], mu[-1], fineness=fineness).level[: u.size]

    return integral_of(power, light.aperture.width_m, first / pitch, last / pitch)


def _between(table: RunningIntegral, light: Illumination, first: float, last: float) -> float:
    ends = table.read(np.array([first, last]) / light.pitch_m)
    return float(ends[1] - ends[0]) * light.pitch_m
