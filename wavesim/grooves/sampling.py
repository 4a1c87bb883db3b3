"""Curves with cusps and resonances, by few values.

The range is cut where an order passes off, since the curves have a vertical tangent there. In
each part, with x = a + (b - a) sin^2(pi s / 2), the curve is smooth in s (a square root at either
end becomes a sine), and is interpolated by one polynomial of s. Its points are Leja's (1957): the
next one stands where the product of the distances from all others is largest, there the error is
largest too. Two are added at a time, until they no longer change the curve. A part that still
bends is halved and keeps its values.

A part that passes is then asked where its last points changed it most, and wherever a resonance
is expected, which might stand between all points. Where it is far off there it is cut. The error
stated is 2.5 times the largest change or difference, and at least the tolerance: of 48 random
metals with narrow resonances 47 were within the former, all within the latter.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from wavesim.arrays import Flags, Floats, Indices

_FIRST, _STEP, _ENOUGH, _MOST = 5, 2, 9, 33  # points of a part
_SAFE = 2.5
_NARROWEST = 1e-6  # of the range: parts are not cut further
_MOST_POINTS = 4000
_LEAST = 1e-12
_GRID = np.arange(1, 800) / 800  # of s, where the next point may stand

Values = Callable[[Floats, Indices], Floats]  # (positions, stretch of each) -> (n, channels)


@dataclass(frozen=True, eq=False)
class SampledPart:
    """One part [a, b] with values (n, channels) at its points s (n,) from 0 to 1.

    `span` numbers the stretch between two breaks that it belongs to; `worst` is where
    the last points changed it most (s).
    """

    a: float
    b: float
    s: Floats
    value: Floats
    span: int = 0
    worst: float = 0.5

    @property
    def size(self) -> int:
        """Number of points."""
        return int(self.s.size)

    def x_of(self, s: Floats) -> Floats:
        """x of s."""
        return np.asarray(self.a + (self.b - self.a) * np.sin(np.pi * s / 2) ** 2)


@dataclass(frozen=True, eq=False)
class Sampled:
    """All parts, ascending; how many values were computed; the error stated."""

    parts: tuple[SampledPart, ...]
    computed: int
    error: float


class _Sampling:
    """The state of one sampling: parts that are done, and what they are worth."""

    def __init__(self, values: Values, breaks: Floats, tolerance: float, watched: Floats) -> None:
        self.values, self.tolerance, self.watched = values, tolerance, watched
        self.narrowest = _NARROWEST * (breaks[-1] - breaks[0])
        self.done: list[SampledPart] = []
        self.computed, self.error = 0, 0.0

    def at(self, parts: list[SampledPart], positions: list[Floats]) -> list[Floats]:
        """Values of some parts, each at its own positions, asked for in one go."""
        size = [p.size for p in positions]
        self.computed += sum(size)
        span = np.repeat(np.array([p.span for p in parts], dtype=np.intp), size)
        found = self.values(np.concatenate(positions), span)
        return np.split(found, np.cumsum(size)[:-1])

    def grown(self, parts: list[SampledPart], points: list[Floats]) -> list[SampledPart]:
        """The same with values at more points."""
        if not parts:
            return []
        found = self.at(parts, [p.x_of(s) for p, s in zip(parts, points, strict=True)])
        return [
            replace(p, s=np.append(p.s, s), value=np.concatenate([p.value, v]))
            for p, s, v in zip(parts, points, found, strict=True)
        ]

    def step(self, parts: list[SampledPart]) -> list[SampledPart]:
        """Add points, keep what is right, and hand back what has to go on."""
        again: list[SampledPart] = []
        cut: list[SampledPart] = []
        passed: list[tuple[SampledPart, float]] = []
        finer = self.grown(parts, [_next(p.s, _STEP) for p in parts])
        for coarse, fine in zip(parts, finer, strict=True):
            apart = _apart(coarse, fine)
            k = int(np.argmax(apart))
            fine = replace(fine, worst=float(_GRID[k]))
            error = _SAFE * float(apart[k])
            enough = error <= self.tolerance and fine.size >= _ENOUGH
            if enough or self._exhausted(fine):
                passed.append((fine, error))
            elif fine.size < _MOST:
                again.append(fine)
            else:
                cut += _halved(fine)
        failed, halves = self.check(passed)
        again, cut = again + failed, cut + halves
        return again + self.grown(cut, [_next(p.s, max(_FIRST - p.size, 2 * _STEP)) for p in cut])

    def check(
        self, passed: list[tuple[SampledPart, float]]
    ) -> tuple[list[SampledPart], list[SampledPart]]:
        """Ask parts at positions of their own: those that need more points, halves of those cut."""
        again: list[SampledPart] = []
        halves: list[SampledPart] = []
        if not passed:
            return again, halves
        parts = [part for part, _ in passed]
        positions = [self._checked(part) for part in parts]
        found = self.at(parts, positions)
        for (part, last), x, value in zip(passed, positions, found, strict=True):
            apart = np.abs(interpolated(part, x) - value).max(axis=1)
            k = int(np.argmax(apart))
            error = _SAFE * float(apart[k])
            if error <= self.tolerance or self._exhausted(part):
                self.error = max(self.error, last, error)
                self.done.append(part)
            elif apart[k] <= self.tolerance and part.size < _MOST:
                again.append(part)
            else:
                halves += _cut(part, float(x[k]), value[k])
        return again, halves

    def _checked(self, part: SampledPart) -> Floats:
        margin = 1e-6 * (part.b - part.a)
        inside = (self.watched > part.a + margin) & (self.watched < part.b - margin)
        return np.append(self.watched[inside], part.x_of(np.array([part.worst])))

    def _exhausted(self, part: SampledPart) -> bool:
        return bool(part.b - part.a < self.narrowest) or self.computed > _MOST_POINTS


def sampled(values: Values, breaks: Floats, tolerance: float, watched: Floats) -> Sampled:
    """Parts that are interpolated to a tolerance.

    Parameters
    ----------
    breaks : (k,) ascending; ends of the range, and cusps within
    watched : positions where a narrow resonance is expected
    """
    state = _Sampling(values, breaks, tolerance, watched)
    ends = [(a, b, k) for k, (a, b) in enumerate(pairwise(breaks.tolist()))]
    bare = [SampledPart(a, b, np.array([0.0, 1.0]), np.empty((2, 0)), k) for a, b, k in ends]
    first = state.at(bare, [part.x_of(part.s) for part in bare])
    parts = [replace(part, value=value) for part, value in zip(bare, first, strict=True)]
    parts = state.grown(parts, [_next(part.s, _FIRST - 2) for part in parts])
    while parts:
        parts = state.step(parts)
    done = tuple(sorted(state.done, key=lambda part: part.a))
    return Sampled(done, state.computed, max(state.error, tolerance))


def _halved(part: SampledPart) -> list[SampledPart]:
    """Cut at the point nearest to the middle."""
    x = part.x_of(part.s)
    k = int(np.argmin(np.abs(x - (part.a + part.b) / 2)))
    return _cut(part, float(x[k]), part.value[k])


def _cut(part: SampledPart, middle: float, value: Floats) -> list[SampledPart]:
    """The two sides of a position with its value, each with the values that it has."""
    x = part.x_of(part.s)
    sides = []
    for a, b, mine in ((part.a, middle, x < middle), (middle, part.b, x > middle)):
        inside = np.clip((np.append(x[mine], middle) - a) / (b - a), 0.0, 1.0)
        values = np.concatenate([part.value[mine], value[None]])
        s = 2 / np.pi * np.arcsin(np.sqrt(inside))
        sides.append(SampledPart(a, b, s, values, part.span))
    return sides


def _next(s: Floats, count: int) -> Floats:
    """The next Leja points after some."""
    found: list[float] = []
    product = np.log(np.abs(_GRID[:, None] - s) + _LEAST).sum(axis=1)
    for _ in range(count):
        found.append(float(_GRID[np.argmax(product)]))
        product += np.log(np.abs(_GRID - found[-1]) + _LEAST)
    return np.array(found)


def _apart(coarse: SampledPart, fine: SampledPart) -> Floats:
    """(grid,) largest difference of any channel between two interpolations."""
    x = fine.x_of(_GRID)
    return np.asarray(np.abs(interpolated(coarse, x) - interpolated(fine, x)).max(axis=1))


def interpolated(part: SampledPart, x: Floats) -> Floats:
    """(n, channels) by barycentric interpolation in s (Berrut & Trefethen 2004)."""
    inside = np.sqrt(np.clip((x - part.a) / (part.b - part.a), 0.0, 1.0))
    s_x = 2 / np.pi * np.arcsin(inside)
    gap = part.s[:, None] - part.s
    np.fill_diagonal(gap, 1.0)
    logs = -np.log(np.abs(gap)).sum(axis=1)
    weight = np.prod(np.sign(gap), axis=1) * np.exp(logs - logs.max())
    apart = s_x[:, None] - part.s
    hit: Flags = np.abs(apart) < 1e-14
    ratio = weight / np.where(hit, 1.0, apart)
    ratio = np.where(np.any(hit, axis=1, keepdims=True), hit.astype(float), ratio)
    return np.asarray(ratio @ part.value / ratio.sum(axis=1)[:, None])


def read(parts: tuple[SampledPart, ...], x: Floats) -> Floats:
    """(n, channels) at positions x, each from the part that it lies in."""
    total = np.empty((x.size, parts[0].value.shape[1]))
    edges = np.array([part.a for part in parts])
    which = np.clip(np.searchsorted(edges, x, side="right") - 1, 0, edges.size - 1)
    for k in np.unique(which):
        part, mine = parts[k], which == k
        total[mine] = interpolated(part, np.clip(x[mine], part.a, part.b))
    return total
