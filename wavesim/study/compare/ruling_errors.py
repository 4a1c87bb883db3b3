"""Formulas of ruling errors: ghosts of a periodic error, diffuse light of random ones."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from wavesim.aperture import Comb
from wavesim.aperture.build import even_positions
from wavesim.aperture.defects.random_errors import draw
from wavesim.aperture.elements import Slit
from wavesim.arrays import Floats
from wavesim.diffraction.far.sampling import sampled
from wavesim.scene import PeriodicDefect, RandomDefect, Scene, Span
from wavesim.study.compare.interference import even_elements, ideal
from wavesim.study.compare.pattern import counted, pattern, pitch_m
from wavesim.study.compare.result import Approximation, Check, FailureEstimate
from wavesim.study.formulas import bessel, diffuse_level, ghost_ratio_small
from wavesim.study.ruling import defects_of, with_aperture

_ORDER = 1
_PERIODS = 16  # error periods in the ruling that ghosts are read from
_PERIOD = 100.0  # rulings, where the scene has no periodic error
_DRAWS = 16
_RULINGS = 200  # for diffuse light
_TINY = 1e-4  # rms over pitch at which the small-error form is exact to 1e-6
_CELLS = 1 << 20  # resolution cells of speckle
_PART = 0.1  # of an order that is read off each ruling
_LONG = 16384  # rulings whose speckle is looked at


def own_period(scene: Scene) -> tuple[float, float] | None:
    """Amplitude over pitch and period in rulings of the scene's first periodic error."""
    pitch = pitch_m(scene) or 1.0
    for defect in defects_of(scene, PeriodicDefect):
        return defect.amplitude_m / pitch, defect.period.in_rulings(pitch)
    return None


def ghosts(scene: Scene, amplitude: float, period: float) -> tuple[float, float]:
    """Engine: inner and outer first ghost over their line, the elements' envelope divided out."""
    whole = max(2, round(period))
    pitch = pitch_m(scene) or 1.0
    error = PeriodicDefect(amplitude_m=amplitude * pitch, period=Span(rulings=float(whole)))
    bare = counted(ideal(scene), whole * _PERIODS)
    far_field = pattern(with_aperture(bare, defects=(error,)))
    mu = _ORDER + np.array([-1 / whole, 0.0, 1 / whole])
    inner, line, outer = (float(v) for v in far_field.interference(mu))
    return inner / line, outer / line


def _small(scene: Scene, value: float | None) -> Check:
    own = own_period(scene)
    amplitude = value if value is not None else own[0] if own else 0.0
    period = own[1] if own else _PERIOD
    if amplitude == 0:
        return Check(0.0, 0.0, 0.0)
    engine = float(np.mean(ghosts(scene, amplitude, period)))
    formula = ghost_ratio_small(_ORDER, 1, amplitude=amplitude)
    return Check(engine, formula, abs(formula / engine - 1))


def _small_estimate(_scene: Scene, tolerance: float) -> FailureEstimate | None:
    return FailureEstimate(
        2 * math.sqrt(tolerance) / (2 * math.pi * _ORDER),
        "(J1/J0)^2 = (z/2)^2 (1 + z^2/4 + ...), z = 2 pi m A/d (series of the Bessel functions)",
    )


GHOST_SMALL = Approximation(
    name="ghosts-small",
    title="first ghosts are (pi m A / d)^2 of their line",
    quantity="mean of the two first ghosts of order 1, relative to their line; relative error",
    parameter="amplitude of the error, relative to the pitch",
    unit="",
    why_not=even_elements,
    check=_small,
    span=lambda _: (2e-3, 0.2),
    estimate=_small_estimate,
    own=lambda scene: (own_period(scene) or (None,))[0],
)


def _bessel(scene: Scene, value: float | None) -> Check:
    own = own_period(scene)
    if value is None and own is None:
        return Check(0.0, 0.0, 0.0)
    period = value if value is not None else own[1] if own else _PERIOD
    amplitude = own[0] if own else 0.01
    engine = ghosts(scene, amplitude, period)[1]
    argument = 2 * np.pi * _ORDER * amplitude
    formula = float((bessel(1, argument) / bessel(0, argument)) ** 2)
    return Check(engine, formula, abs(formula / engine - 1))


def _bessel_estimate(_scene: Scene, tolerance: float) -> FailureEstimate | None:
    return FailureEstimate(
        2 / (_ORDER * tolerance),
        "the exact argument is 2 pi (m + k/P) A/d (Rowland ghosts): off by 2 / (m P)",
    )


GHOST_BESSEL = Approximation(
    name="ghosts-bessel",
    title="ghosts are J_k(2 pi m A/d)^2, equal on both sides",
    quantity="outer first ghost of order 1, relative to its line; relative error",
    parameter="period of the error, in rulings",
    unit="",
    why_not=even_elements,
    check=_bessel,
    span=lambda _: (8.0, 1000.0),
    estimate=_bessel_estimate,
    own=lambda scene: (own_period(scene) or (None, None))[1],
    whole=True,
)


# --- diffuse light -----------------------------------------------------------------------------


def _diffuse(scene: Scene, relative_rms: float, mu: Floats) -> float:
    """Mean intensity between orders over the perfect peak, of positions alone.

    Every draw is used with both signs, which takes out the terms odd in the error.
    """
    perfect = pattern(counted(ideal(scene), _RULINGS))
    total = 0.0
    for seed in range(_DRAWS):
        displacement = (
            relative_rms * perfect.pitch_m * draw("independent", seed, _RULINGS, perfect.pitch_m)
        )
        for sign in (-1.0, 1.0):
            total += float(perfect.displaced(sign * displacement).interference(mu).mean())
    return total / (2 * _DRAWS * _RULINGS**2)


def _between(count: int = _RULINGS, reach: float = 0.2) -> Floats:
    """Zeros of the perfect pattern about the order 1.5: no line's tail lies there."""
    k = np.arange(round((0.5 - reach) * count), round((0.5 + reach) * count))
    return np.asarray(1.0 + k / count)


def _level(scene: Scene, value: float | None) -> Check:
    rms = value if value is not None else own_rms(scene)
    if not rms:
        return Check(0.0, 0.0, 0.0)
    mu = _between()
    engine = _diffuse(scene, rms, mu) / _diffuse(scene, _TINY, mu) * _small_level(mu, _TINY)
    formula = _small_level(mu, rms)
    return Check(engine, formula, abs(formula / engine - 1))


def _small_level(mu: Floats, rms: float) -> float:
    return float(np.mean((2 * np.pi * mu * rms) ** 2)) / _RULINGS


def own_rms(scene: Scene) -> float | None:
    """rms over pitch of the scene's first independent random error."""
    pitch = pitch_m(scene) or 1.0
    found = (d.rms_m for d in defects_of(scene, RandomDefect) if d.correlation == "independent")
    return next((rms / pitch for rms in found), None)


def _level_estimate(_scene: Scene, tolerance: float) -> FailureEstimate | None:
    mu = _between()
    squares = (2 * math.pi * mu) ** 2
    mean, fourth = float(squares.mean()), float((squares**2).mean())
    return FailureEstimate(
        math.sqrt(2 * tolerance * mean / fourth),
        "1 - exp(-q) = q - q^2/2, q = (2 pi mu sigma/d)^2, over mu from 1.3 to 1.7",
    )


DIFFUSE_SMALL = Approximation(
    name="diffuse-small",
    title="diffuse light is (2 pi mu sigma/d)^2 / N of the peak",
    quantity="mean diffuse level half-way between orders 1 and 2, relative error (speckle "
    "removed by the same draws at a tiny error)",
    parameter="rms position error, relative to the pitch",
    unit="",
    why_not=even_elements,
    check=_level,
    span=lambda _: (2e-3, 0.1),
    estimate=_level_estimate,
    own=own_rms,
)


def _speckle(scene: Scene, value: float | None) -> Check:
    if value is None and not own_rms(scene):
        return Check(1.0, 1.0, 0.0)
    cells = max(1, round(value if value is not None else 1))
    light = _cells(own_rms(scene) or 0.02)
    groups = light[: light.size // cells * cells].reshape(-1, cells).mean(axis=1)
    scatter = float(np.sqrt(np.mean((groups - 1) ** 2)))
    return Check(float(groups[0]), 1.0, scatter)


@lru_cache(maxsize=2)
def _cells(rms: float) -> Floats:
    """Diffuse light of many rulings at independent positions of the pattern, over its mean law.

    A tenth of an order is read off each ruling, by the far field's own transform.
    """
    mu = _between(_LONG, _PART / 2)
    law = diffuse_level(mu, rms, _LONG)
    parts = []
    for seed in range(math.ceil(_CELLS / mu.size)):
        positions = even_positions(_LONG, 1.0) + rms * draw("independent", seed, _LONG, 1.0)
        comb = Comb(Slit(1e-6), positions, np.ones(_LONG, dtype=np.complex128))
        found = sampled(comb, 0.0, float(mu[0]), float(mu[1] - mu[0]), mu.size)
        parts.append(np.abs(found) ** 2 / _LONG**2 / law)
    return np.concatenate(parts)[:_CELLS]


def _speckle_estimate(_scene: Scene, tolerance: float) -> FailureEstimate | None:
    return FailureEstimate(
        (1 + 2 * _PART) / tolerance**2,
        "speckle averaged over K cells has variance 1 / K (Goodman, Speckle Phenomena); the rms "
        "of each ruling varies too, with variance 1 / (2 N), or 2 / N in the level, over 0.1 N "
        "cells a ruling",
    )


SPECKLE = Approximation(
    name="diffuse-mean",
    title="one ruling shows the ensemble's mean diffuse level (1 - E) / N",
    quantity="mean of K resolution cells of one ruling, relative to the ensemble mean; rms "
    "deviation",
    parameter="resolution cells averaged",
    unit="",
    why_not=even_elements,
    check=_speckle,
    span=lambda _: (1.0, 40_000.0),
    estimate=_speckle_estimate,
    own=lambda _: None,
    whole=True,
    noisy=True,
)

__all__ = ["DIFFUSE_SMALL", "GHOST_BESSEL", "GHOST_SMALL", "SPECKLE", "ghosts"]
