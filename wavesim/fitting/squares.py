"""Least squares: the engine against photographs, free keys and nuisances together.

Free beside the keys, for each photograph: its place along x (unless given), a background and a
gain for each channel; the tone curve follows by linear least squares (`tone`). Standard errors
are those of the keys with all nuisances left free, from the curvature at the best fit, scaled by
the misfit where it is larger than the noise, and by the length over which residuals agree.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wavesim.errors import ComputationError, WavesimError
from wavesim.fitting.keys import FreeKey
from wavesim.fitting.model import Model
from wavesim.fitting.photograph import Pattern
from wavesim.fitting.search import Search
from wavesim.fitting.tone import fitted_curve, fitted_linear, known_tone

Floats = NDArray[np.float64]
Values = tuple[float, ...]

_STEP = 3e-4  # of a logarithm, for derivatives
_FLOOR = 3e-3  # of full scale: accuracy of a picture's tone, beside its noise
MONOCHROME = ("laser",)


@dataclass(frozen=True, eq=False)
class Problem:
    """Photographs with the engine behind each, and what is free."""

    keys: tuple[FreeKey, ...]
    patterns: tuple[Pattern, ...]
    models: tuple[Model, ...]

    @property
    def moved(self) -> tuple[FreeKey, ...]:
        """Keys that least squares moves: those that are not whole numbers."""
        return tuple(key for key in self.keys if not key.whole)

    def nuisances(self, pattern: Pattern) -> int:
        """Numbers free for one photograph."""
        place = 0 if pattern.radial or pattern.left_m is not None else 1
        channels = int(pattern.value.shape[1])
        if pattern.reading.tone == "fitted" and not pattern.linear:
            return place + 2 * channels - 1  # backgrounds, gains relative to the first
        return place


@dataclass(frozen=True, eq=False)
class Solution:
    values: Values  # of all keys, SI
    numbers: Floats  # moved keys as searched, then nuisances
    chi2: float
    freedom: int
    jacobian: Floats
    residual: Floats
    evaluations: int


def refined(problem: Problem, search: Search, starts: list[Values]) -> dict[Values, Solution]:
    """Least squares from the best starts, and for rival counts; whole numbers -> solution."""
    found: dict[Values, Solution] = {}
    queue = [*starts]
    best = None
    for values in queue:
        solution = _solved(problem, values, search.judge(values)[1])
        if solution is None:
            continue
        whole = _whole(problem, values)
        if whole not in found or solution.chi2 < found[whole].chi2:
            found[whole] = solution
        if best is None or solution.chi2 < best.chi2:
            best = solution
    if best is None:
        raise ComputationError("least squares found no values for which light reaches the plate")
    for values in _rivals(problem, best.values):
        if _whole(problem, values) not in found:
            solution = _solved(problem, values, search.judge(values)[1])
            if solution is not None:
                found[_whole(problem, values)] = solution
    return found


def _whole(problem: Problem, values: Values) -> Values:
    return tuple(v for key, v in zip(problem.keys, values, strict=True) if key.whole)


def _rivals(problem: Problem, values: Values) -> list[Values]:
    """The same with each whole number moved by one and two."""
    found = []
    for number, key in enumerate(problem.keys):
        for step in (-2, -1, 1, 2) if key.whole else ():
            value = values[number] + step
            if key.low <= value <= key.high:
                found.append((*values[:number], value, *values[number + 1 :]))
    return found


@dataclass(frozen=True)
class _Number:
    """A number that least squares moves: where it begins, its limits, its steps and its size."""

    begin: float
    low: float
    high: float
    step: float
    size: float


def _of_key(key: FreeKey, value: float) -> _Number:
    low, high = key.inner(key.low), key.inner(key.high)
    if key.logarithmic:
        return _Number(key.inner(value), low, high, _STEP, 0.01)
    return _Number(key.inner(value), low, high, _STEP * (high - low), (high - low) / 100)


def _of_photograph(problem: Problem, pattern: Pattern, shift_m: float) -> list[_Number]:
    """Its place, the logarithms of its backgrounds, those of its gains after the first."""
    found, count = [], problem.nuisances(pattern)
    if not (pattern.radial or pattern.left_m is not None):
        reach, step = 0.1 * pattern.width_m, pattern.step_m
        found.append(_Number(shift_m, shift_m - reach, shift_m + reach, 0.02 * step, step))
        count -= 1
    channels = pattern.value.shape[1]
    backgrounds = [_Number(-6.0, -14.0, 0.0, 1e-3, 1.0)] * min(count, channels)
    gains = [_Number(0.0, -3.0, 3.0, 1e-3, 0.1)] * max(count - channels, 0)
    return [*found, *backgrounds, *gains]


def _solved(problem: Problem, start: Values, shifts: tuple[float, ...]) -> Solution | None:
    """Least squares from one start; None where no light reaches the plate on the way."""
    from scipy.optimize import least_squares

    free = [_of_key(k, v) for k, v in zip(problem.keys, start, strict=True) if not k.whole]
    for pattern, shift in zip(problem.patterns, shifts, strict=True):
        free += _of_photograph(problem, pattern, shift)
    low, high = (np.array([getattr(n, end) for n in free]) for end in ("low", "high"))
    count = [0]

    def residual(p: Floats) -> Floats:
        count[0] += 1
        return _residual(problem, start, p)

    def jacobian(p: Floats) -> Floats:
        at, columns = residual(p), []
        for k, number in enumerate(free):
            signed = number.step if p[k] + number.step < high[k] else -number.step
            q = p.copy()
            q[k] += signed
            columns.append((residual(q) - at) / signed)
        return np.stack(columns, axis=1)

    begin = np.clip(np.array([n.begin for n in free]), low + 1e-12, high - 1e-12)
    try:
        found = least_squares(
            residual, begin, jacobian, (low, high), x_scale=[n.size for n in free], max_nfev=40,
            xtol=1e-7, ftol=1e-7,
        )  # fmt: skip
    except (WavesimError, np.linalg.LinAlgError, ValueError):
        return None
    return Solution(
        values=_values(problem, start, found.x),
        numbers=found.x,
        chi2=2 * float(found.cost),
        freedom=max(found.fun.size - found.x.size, 1),
        jacobian=np.asarray(found.jac),
        residual=found.fun,
        evaluations=count[0],
    )


def _values(problem: Problem, start: Values, numbers: Floats) -> Values:
    moved = iter(numbers)
    return tuple(
        v if key.whole else key.outer(float(next(moved)))
        for key, v in zip(problem.keys, start, strict=True)
    )


def _residual(problem: Problem, start: Values, numbers: Floats) -> Floats:
    """(photograph - fit) / noise at all usable samples."""
    parts = []
    shown = fitted_values(problem, start, numbers)
    for pattern, fitted in zip(problem.patterns, shown, strict=True):
        value, noise = wanted(pattern)
        parts.append(((value - fitted) / noise)[pattern.usable])
    return np.concatenate(parts)


def wanted(pattern: Pattern) -> tuple[Floats, Floats]:
    """What is compared and its error: values as they are, or linear light of a known tone."""
    noise = np.hypot(pattern.noise, _FLOOR)
    if pattern.linear or pattern.reading.tone == "fitted":
        return pattern.value, noise
    light, slope = known_tone(pattern.reading.tone, pattern.value)
    return light, noise * np.maximum(slope, 0.05)


def fitted_values(problem: Problem, start: Values, numbers: Floats) -> list[Floats]:
    """(n, c) of each photograph, as `_wanted` has it."""
    values = _values(problem, start, numbers)
    rest = list(numbers[len(problem.moved) :])
    found = []
    for pattern, model in zip(problem.patterns, problem.models, strict=True):
        x, light = model.light(values)
        extra = problem.nuisances(pattern)
        mine, rest = rest[:extra], rest[extra:]
        placed = not (pattern.radial or pattern.left_m is not None)
        shift = mine[0] if placed else 0.0
        at = _at(pattern.x_m + shift, x, light, pattern.value.shape[1])
        found.append(_shown(pattern, at, mine[1:] if placed else mine))
    return found


def _at(at_m: Floats, x: Floats, light: Floats, channels: int) -> Floats:
    """(n, c) light at positions, by cubics; a single channel is the whole light."""
    from scipy.interpolate import CubicSpline

    whole = light if channels == 3 else light.sum(axis=1, keepdims=True)
    read = CubicSpline(x, whole, axis=0)(np.clip(at_m, x[0], x[-1]))
    return np.asarray(np.maximum(read, 0.0), dtype=np.float64)


def _shown(pattern: Pattern, light: Floats, nuisances: list[float]) -> Floats:
    value, noise = wanted(pattern)
    used = pattern.usable
    if pattern.linear or pattern.reading.tone != "fitted":
        columns = [
            _each(light[:, c], value[:, c], noise[:, c], used[:, c], fitted_linear)
            for c in range(light.shape[1])
        ]
        return np.stack(columns, axis=1)
    channels = light.shape[1]
    scale = max(float(light[used].max(initial=0.0)), 1e-300)
    backgrounds = np.exp(np.array(nuisances[:channels]))
    gains = np.exp(np.array([0.0, *nuisances[channels:]]))
    whole = light / scale * gains + backgrounds
    flat = _each(whole.ravel(), value.ravel(), noise.ravel(), used.ravel(), fitted_curve)
    return np.asarray(flat.reshape(value.shape))


def _each(
    light: Floats,
    value: Floats,
    noise: Floats,
    used: NDArray[np.bool_],
    solve: Callable[[Floats, Floats, Floats], Floats],
) -> Floats:
    """The best curve through the usable samples; the others get the nearest light's value."""
    fitted = np.zeros(value.size)
    if used.any():
        fitted[used] = solve(light[used], value[used], noise[used])
        order = np.argsort(light[used])
        rest = ~used
        fitted[rest] = np.interp(light[rest], light[used][order], fitted[used][order])
    return fitted
