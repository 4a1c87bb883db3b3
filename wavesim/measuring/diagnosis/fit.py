"""Amplitudes from the strengths of one period's first ghosts.

The two ghosts of a line are taken together: the slope of the groove's envelope, and the cross
term of errors of position and strength at one period, raise one as they lower the other.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from wavesim.arrays import Floats
from wavesim.measuring.diagnosis.table import GhostTable
from wavesim.study.formulas import ghost_over_line

_GRID = 6000  # amplitudes tried before the best is refined
_LEAST, _MOST = 1e-8, 0.6  # of the pitch
_POOR = 3.0  # residual beyond which one kind alone is not believed
_STEEP = 2.7  # growth with order beyond which ghosts are not the first of their period
_HIGHEST = 4
_MODEL = 0.003  # of the strength: what envelope and neighbours still do to it


@dataclass(frozen=True)
class GhostFit:
    """Result for one period; attributes as in `FoundError`."""

    kind: str
    amplitude: float
    amplitude_error: float
    modulation: float
    modulation_error: float
    growth: float
    growth_error: float
    residual: float
    harmonic: int = 1


def ladder(order: Floats, offset: Floats, harmonic: int, fit: GhostFit) -> Floats:
    """Strength of the k-th ghost of the period that a fit predicts there; 1 for k = 0."""
    if harmonic == 0:
        return np.ones(np.shape(offset))
    if fit.kind == "strength":
        return np.full(np.shape(offset), (fit.modulation**2 / 4) ** harmonic)
    return ghost_over_line(order, offset, harmonic, fit.amplitude)


def combined(order: Floats, offset: Floats, each: Iterable[tuple[int, GhostFit]]) -> Floats:
    """Strength of the ghosts of several periods together, |k| of each: the product of theirs."""
    level = np.ones(np.shape(offset))
    for k, fit in each:
        level = level * ladder(order, offset, abs(k), fit)
    return level


@dataclass(frozen=True, eq=False)
class _Pairs:
    """Means over the sides of each line's ghosts.

    Attributes
    ----------
    part : the ghosts (n,)
    mean : (g, n) averages the sides of each order
    order, log_strength, error : (g,) order, mean of ln strength, and its standard error
    harmonic : which ghosts these are of their period: first, second ...
    """

    part: GhostTable
    mean: Floats
    order: Floats
    log_strength: Floats
    error: Floats
    harmonic: int = 1

    def log_model(self, amplitude: Floats | float) -> Floats:
        """(g,) or (a, g): mean of ln strength over the sides, for a displacement A/d."""
        part = self.part
        with np.errstate(divide="ignore"):
            level = np.log(ghost_over_line(part.order, part.offset, self.harmonic, amplitude))
        return np.asarray(level @ self.mean.T)


def _paired(part: GhostTable) -> _Pairs:
    order = np.unique(part.order)
    same = (part.order[None, :] == order[:, None]).astype(np.float64)
    mean = same / same.sum(axis=1, keepdims=True)
    error = np.sqrt(mean**2 @ (part.strength_error / part.strength) ** 2)
    return _Pairs(part, mean, order, mean @ np.log(part.strength), np.hypot(error, _MODEL))


def fitted(part: GhostTable) -> GhostFit:
    """The kind of error that explains the strengths, simplest first."""
    pairs = _paired(part)
    growth, growth_error = _growth(pairs)
    amplitude, amplitude_error, residual_displacement = _displacement(pairs)
    modulation, modulation_error, residual_strength = _strength(pairs)
    if np.unique(np.abs(part.order)).size < 2:
        return GhostFit("undetermined", amplitude, amplitude_error, modulation, modulation_error,
                   growth, growth_error, residual_displacement)  # fmt: skip
    if growth > _STEEP:
        return _higher(pairs, growth, growth_error)
    if min(residual_displacement, residual_strength) > _POOR:
        return _both(pairs, growth, growth_error)
    if residual_displacement <= residual_strength:
        return GhostFit("displacement", amplitude, amplitude_error, 0.0, 0.0, growth, growth_error,
                   residual_displacement)  # fmt: skip
    return GhostFit("strength", 0.0, 0.0, modulation, modulation_error, growth, growth_error,
               residual_strength)  # fmt: skip


def _higher(pairs: _Pairs, growth: float, growth_error: float) -> GhostFit:
    """Displacement of a longer period, of which these are the k-th ghosts: they grow as |m|^2k."""
    tried = [(replace(pairs, harmonic=k), k) for k in range(1, _HIGHEST + 1)]
    (amplitude, error, residual), k = min(
        ((_displacement(pairs_k), k) for pairs_k, k in tried), key=lambda found: found[0][2]
    )
    return GhostFit("displacement", amplitude, error, 0.0, 0.0, growth, growth_error, residual, k)


def amplitude_of(part: GhostTable, harmonic: int) -> tuple[float, float, float]:
    """A/d of a displacement whose k-th ghosts these are, its standard error, and the residual."""
    return _displacement(replace(_paired(part), harmonic=harmonic))


def _growth(pairs: _Pairs) -> tuple[float, float]:
    """p of strength ~ |m|^p by weighted regression, orders but 0."""
    use = pairs.order != 0
    x, y = np.log(np.abs(pairs.order[use])), pairs.log_strength[use]
    w = 1 / pairs.error[use] ** 2
    if np.unique(x).size < 2:
        return math.nan, math.nan
    mean = np.average(x, weights=w)
    moment = float(np.sum(w * (x - mean) ** 2))
    return float(np.sum(w * (x - mean) * y) / moment), 1 / math.sqrt(moment)


def _normalised_residual(residual: Floats, error: Floats, free: int) -> float:
    return math.sqrt(float(np.sum((residual / error) ** 2)) / max(residual.size - free, 1))


def _displacement(pairs: _Pairs) -> tuple[float, float, float]:
    """A/d, its standard error and the residual, by search over all amplitudes, then refinement."""
    error = pairs.error

    def cost(amplitude: Floats) -> Floats:
        residual = pairs.log_model(amplitude[:, None]) - pairs.log_strength
        return np.asarray(np.sum((residual / error) ** 2, axis=1))

    grid = np.geomspace(_LEAST, _MOST, _GRID)
    best = int(np.argmin(cost(grid)))
    low, high = grid[max(best - 1, 0)], grid[min(best + 1, _GRID - 1)]
    for _ in range(6):
        fine = np.linspace(low, high, 41)
        best = int(np.argmin(cost(fine)))
        low, high = fine[max(best - 1, 0)], fine[min(best + 1, 40)]
    amplitude = float((low + high) / 2)
    level, step = pairs.log_model(amplitude), 1e-4 * amplitude
    slope = (pairs.log_model(amplitude + step) - level) / step
    normalised = _normalised_residual(level - pairs.log_strength, error, 1)
    sigma = 1 / math.sqrt(float(np.sum((slope / error) ** 2))) * max(normalised, 1.0)
    return amplitude, max(sigma, _common(amplitude, error)), normalised


def _common(amplitude: float, error: Floats) -> float:
    """Standard error that no averaging takes away.

    The random errors of one ruling have a part of the ghost's own period, the same for all orders
    and both sides, so the best single ghost limits the amplitude.
    """
    return amplitude * float(error.min()) / 2


def _strength(pairs: _Pairs) -> tuple[float, float, float]:
    """a, its standard error and the residual: the weighted mean of the logarithms."""
    weight = 1 / pairs.error**2
    mean = float(np.average(pairs.log_strength, weights=weight))
    residual = _normalised_residual(pairs.log_strength - mean, pairs.error, 1)
    modulation = 2 * math.exp(mean / 2)
    sigma = modulation / 2 / math.sqrt(float(weight.sum())) * max(residual, 1.0)
    return modulation, max(sigma, _common(modulation, pairs.error)), residual


def _both(pairs: _Pairs, growth: float, growth_error: float) -> GhostFit:
    """Small-error form of both at one period: strength = x (m + offset)^2 + y, sides averaged."""
    growth_term = pairs.mean @ (pairs.part.order + pairs.part.offset) ** 2
    strength = pairs.mean @ pairs.part.strength
    columns = np.column_stack([growth_term, np.ones(growth_term.size)])
    scale = 1 / (pairs.error * strength)
    found, *_ = np.linalg.lstsq(columns * scale[:, None], strength * scale, rcond=None)
    covariance = np.linalg.pinv((columns * scale[:, None]).T @ (columns * scale[:, None]))
    residual = _normalised_residual(columns @ found - strength, 1 / scale, 2)
    spread = np.sqrt(np.diag(covariance)) * max(residual, 1.0)
    x, y = max(float(found[0]), 0.0), max(float(found[1]), 0.0)
    amplitude, modulation = math.sqrt(x) / math.pi, 2 * math.sqrt(y)
    return GhostFit(
        "both",
        amplitude,
        float(spread[0]) / (2 * math.pi**2 * max(amplitude, 1e-12)),
        modulation,
        2 * float(spread[1]) / max(modulation, 1e-12),
        growth,
        growth_error,
        residual,
    )
