"""Amplitudes from the strengths of one period's first ghosts."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.study.diagnosis.table import Measured
from wavesim.study.formulas import bessel

_GRID = 6000  # amplitudes tried before the best is refined
_LEAST, _MOST = 1e-8, 0.6  # of the pitch
_POOR = 3.0  # misfit beyond which one kind alone is not believed
_MODEL = 0.003  # of the strength: what envelope and neighbours still do to it


@dataclass(frozen=True)
class Fit:
    """Result for one period; attributes as in `FoundError`."""

    kind: str
    amplitude: float
    amplitude_error: float
    modulation: float
    modulation_error: float
    growth: float
    growth_error: float
    misfit: float


def model(order: Floats, offset: Floats, amplitude: Floats | float) -> Floats:
    """Strength of a first ghost of displacement A/d over its line, at its own place m + offset."""
    here = bessel(1, 2 * np.pi * (order + offset) * amplitude)
    line = bessel(0, 2 * np.pi * order * amplitude)
    return np.asarray((here / line) ** 2)


def ladder(order: Floats, offset: Floats, harmonic: int, fit: Fit) -> Floats:
    """Strength of the k-th ghost that a fit predicts there; 1 for k = 0."""
    if harmonic == 0:
        return np.ones(order.size)
    if fit.kind == "strength":
        one = fit.modulation**2 / 4
        return np.full(order.size, one if harmonic == 1 else one**harmonic)
    here = bessel(harmonic, 2 * np.pi * (order + offset) * fit.amplitude)
    line = bessel(0, 2 * np.pi * order * fit.amplitude)
    return np.asarray((here / line) ** 2)


def fitted(part: Measured) -> Fit:
    """The kind of error that explains the strengths, simplest first."""
    error = np.hypot(part.strength_error / part.strength, _MODEL)
    growth, growth_error = _growth(part, error)
    if np.unique(np.abs(part.order)).size < 2:
        amplitude, scale, misfit = _displacement(part, error)
        return Fit("undetermined", amplitude, scale, 2 * math.sqrt(float(np.mean(part.strength))),
                   math.nan, growth, growth_error, misfit)  # fmt: skip
    amplitude, amplitude_error, misfit_place = _displacement(part, error)
    modulation, modulation_error, misfit_strength = _strength(part, error)
    if min(misfit_place, misfit_strength) > _POOR:
        return _both(part, error, growth, growth_error)
    if misfit_place <= misfit_strength:
        return Fit("displacement", amplitude, amplitude_error, 0.0, 0.0, growth, growth_error,
                   misfit_place)  # fmt: skip
    return Fit("strength", 0.0, 0.0, modulation, modulation_error, growth, growth_error,
               misfit_strength)  # fmt: skip


def _growth(part: Measured, error: Floats) -> tuple[float, float]:
    """p of strength ~ |m|^p by weighted regression, orders but 0."""
    use = part.order != 0
    x, y, w = np.log(np.abs(part.order[use])), np.log(part.strength[use]), 1 / error[use] ** 2
    if np.unique(x).size < 2:
        return math.nan, math.nan
    mean = np.average(x, weights=w)
    moment = float(np.sum(w * (x - mean) ** 2))
    return float(np.sum(w * (x - mean) * y) / moment), 1 / math.sqrt(moment)


def _misfit(residual: Floats, error: Floats, free: int) -> float:
    return math.sqrt(float(np.sum((residual / error) ** 2)) / max(residual.size - free, 1))


def _displacement(part: Measured, error: Floats) -> tuple[float, float, float]:
    """A/d, its standard error and the misfit, by search over all amplitudes, then refinement."""
    measured = np.log(part.strength)

    def cost(amplitude: Floats) -> Floats:
        with np.errstate(divide="ignore"):
            level = np.log(model(part.order, part.offset, amplitude[:, None]))
        return np.asarray(np.sum(((level - measured) / error) ** 2, axis=1))

    grid = np.geomspace(_LEAST, _MOST, _GRID)
    best = int(np.argmin(cost(grid)))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, _GRID - 1)]
    for _ in range(6):
        fine = np.linspace(low, high, 41)
        best = int(np.argmin(cost(fine)))
        low, high = fine[max(best - 1, 0)], fine[min(best + 1, 40)]
    amplitude = float((low + high) / 2)
    level, step = np.log(model(part.order, part.offset, amplitude)), 1e-4 * amplitude
    slope = (np.log(model(part.order, part.offset, amplitude + step)) - level) / step
    misfit = _misfit(level - measured, error, 1)
    sigma = 1 / math.sqrt(float(np.sum((slope / error) ** 2))) * max(misfit, 1.0)
    return amplitude, max(sigma, _common(amplitude, error)), misfit


def _common(amplitude: float, error: Floats) -> float:
    """Standard error that no averaging takes away.

    The random errors of one ruling have a part of the ghost's own period, the same for all orders
    and both sides, so the best single ghost limits the amplitude.
    """
    return amplitude * float(error.min()) / 2


def _strength(part: Measured, error: Floats) -> tuple[float, float, float]:
    """a, its standard error and the misfit: the weighted mean of the logarithms."""
    weight = 1 / error**2
    mean = float(np.average(np.log(part.strength), weights=weight))
    misfit = _misfit(np.log(part.strength) - mean, error, 1)
    modulation = 2 * math.exp(mean / 2)
    sigma = modulation / 2 / math.sqrt(float(weight.sum())) * max(misfit, 1.0)
    return modulation, max(sigma, _common(modulation, error)), misfit


def _both(part: Measured, error: Floats, growth: float, growth_error: float) -> Fit:
    """Small-error form of both at one period: strength = x m^2 + y, less the sides' difference.

    With s the side of the ghost, the cross term s |m| sqrt(x y) cos(phase) is a third unknown.
    """
    m, side = part.order, np.sign(part.offset) * np.sign(part.order)
    place = (m + part.offset) ** 2
    columns = np.column_stack([place, np.ones(m.size), side * np.sqrt(place)])
    sides = np.unique(side[m != 0]).size
    columns = columns[:, : 3 if sides > 1 and m.size > 3 else 2]
    scale = 1 / (error * part.strength)
    found, *_ = np.linalg.lstsq(columns * scale[:, None], part.strength * scale, rcond=None)
    covariance = np.linalg.pinv((columns * scale[:, None]).T @ (columns * scale[:, None]))
    misfit = _misfit(columns @ found - part.strength, error * part.strength, columns.shape[1])
    spread = np.sqrt(np.diag(covariance)) * max(misfit, 1.0)
    x, y = max(float(found[0]), 0.0), max(float(found[1]), 0.0)
    amplitude, modulation = math.sqrt(x) / math.pi, 2 * math.sqrt(y)
    return Fit(
        "both",
        amplitude,
        float(spread[0]) / (2 * math.pi**2 * max(amplitude, 1e-12)),
        modulation,
        2 * float(spread[1]) / max(modulation, 1e-12),
        growth,
        growth_error,
        misfit,
    )
