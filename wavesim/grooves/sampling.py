"""Curves with cusps and resonances, by few values.

The range is cut where an order passes off, since the curves have a vertical tangent there. In
each part, with x = a + (b - a) sin^2(pi s / 2), the curve is smooth in s (a square root at either
end becomes a sine), and is interpolated by polynomials through nested Chebyshev points of s: 5,
9, 17, 33, until the values foretold for the next points are right; misses e1, e2 of two
refinements foretell the next as e2^2 / e1. A part that still bends is halved.

A part that passes is then asked at places of its own, which belong to no set of points: one at
the golden section, and wherever a resonance is expected, which might stand between all points.
Where it fails there it is cut. The error stated is the largest foretold, or twice the largest
found at those places.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats, Indices

_FIRST, _MOST = 4, 32  # intervals of Chebyshev points in a part
_NARROWEST = 1e-6  # of the range: parts are not cut further
_MOST_POINTS = 4000
_GOLDEN = 0.6180339887  # of a part in s: between all Chebyshev points
_LEAST = 1e-12

Values = Callable[[Floats, Indices], Floats]  # (places, stretch of each) -> (n, channels)
_Wanted = tuple[float, float, int, int]  # a, b, intervals, stretch


@dataclass(frozen=True, eq=False)
class SampledPart:
    """One part [a, b] with values (n + 1, channels) at its Chebyshev points.

    `stretch` numbers the stretch between two breaks that it belongs to; `foretold` is by how
    much the last refinement was missed.
    """

    a: float
    b: float
    value: Floats
    stretch: int = 0
    foretold: float = _LEAST

    @property
    def size(self) -> int:
        """Number of intervals."""
        return int(self.value.shape[0]) - 1


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

    def at(self, places: list[Floats], stretch: list[int]) -> list[Floats]:
        """Values of some stretches, each at its own places, asked for in one go."""
        size = [p.size for p in places]
        self.computed += sum(size)
        joined = np.repeat(np.array(stretch, dtype=np.intp), size)
        found = self.values(np.concatenate(places), joined)
        return np.split(found, np.cumsum(size)[:-1])

    def fill(self, wanted: list[_Wanted]) -> list[SampledPart]:
        """New parts."""
        if not wanted:
            return []
        places = [_points(a, b, size) for a, b, size, _ in wanted]
        found = self.at(places, [stretch for _, _, _, stretch in wanted])
        return [
            SampledPart(a, b, value, stretch)
            for (a, b, _, stretch), value in zip(wanted, found, strict=True)
        ]

    def refine(self, parts: list[SampledPart]) -> list[SampledPart]:
        """The same with twice as many intervals; only the new places are computed."""
        places = [_points(p.a, p.b, 2 * p.size)[1::2] for p in parts]
        found = self.at(places, [p.stretch for p in parts])
        finer = []
        for part, new in zip(parts, found, strict=True):
            value = np.empty((2 * part.size + 1, part.value.shape[1]))
            value[::2], value[1::2] = part.value, new
            finer.append(replace(part, value=value))
        return finer

    def step(self, parts: list[SampledPart]) -> list[SampledPart]:
        """Refine, keep what is right, and hand back what has to go on."""
        again: list[SampledPart] = []
        halves: list[_Wanted] = []
        passed: list[tuple[SampledPart, float]] = []
        for coarse, fine in zip(parts, self.refine(parts), strict=True):
            missed = _missed(coarse, fine)
            # misses fall geometrically: the finer points miss by the square over the last
            error = missed * min(1.0, missed / coarse.foretold)
            kept = replace(fine, foretold=max(missed, _LEAST))
            if error <= self.tolerance or self._exhausted(fine):
                passed.append((kept, error))
            elif fine.size < _MOST:
                again.append(kept)
            else:
                halves += _cut(fine, (fine.a + fine.b) / 2)
        halves += self.check(passed)
        return again + self.fill(halves)

    def check(self, passed: list[tuple[SampledPart, float]]) -> list[_Wanted]:
        """Ask parts at places of their own; cut those that fail."""
        if not passed:
            return []
        places = [self._checked(part) for part, _ in passed]
        found = self.at(places, [part.stretch for part, _ in passed])
        halves: list[_Wanted] = []
        for (part, foretold), x, value in zip(passed, places, found, strict=True):
            apart = np.abs(interpolated(part, x) - value).max(axis=1)
            k = int(np.argmax(apart))
            if apart[k] > self.tolerance and not self._exhausted(part):
                halves += _cut(part, float(x[k]))
                continue
            self.error = max(self.error, foretold, 2 * float(apart[k]))
            self.done.append(part)
        return halves

    def _checked(self, part: SampledPart) -> Floats:
        margin = 1e-6 * (part.b - part.a)
        inside = (self.watched > part.a + margin) & (self.watched < part.b - margin)
        golden = part.a + (part.b - part.a) * np.sin(np.pi * _GOLDEN / 2) ** 2
        return np.append(self.watched[inside], golden)

    def _exhausted(self, part: SampledPart) -> bool:
        return bool(part.b - part.a < self.narrowest) or self.computed > _MOST_POINTS


def sampled(values: Values, breaks: Floats, tolerance: float, watched: Floats) -> Sampled:
    """Parts that are interpolated to a tolerance.

    Parameters
    ----------
    breaks : (k,) ascending; ends of the range, and cusps within
    watched : places where a narrow resonance is expected
    """
    state = _Sampling(values, breaks, tolerance, watched)
    ends = enumerate(pairwise(breaks.tolist()))
    parts = state.fill([(a, b, _FIRST, k) for k, (a, b) in ends])
    while parts:
        parts = state.step(parts)
    done = tuple(sorted(state.done, key=lambda part: part.a))
    return Sampled(done, state.computed, state.error)


def _cut(part: SampledPart, at: float) -> list[_Wanted]:
    return [(part.a, at, _FIRST, part.stretch), (at, part.b, _FIRST, part.stretch)]


def _points(a: float, b: float, size: int) -> Floats:
    s = (1 - np.cos(np.pi * np.arange(size + 1) / size)) / 2
    return np.asarray(a + (b - a) * np.sin(np.pi * s / 2) ** 2)


def _missed(coarse: SampledPart, fine: SampledPart) -> float:
    """Largest difference between the new values and those that the old ones foretold."""
    places = _points(fine.a, fine.b, fine.size)[1::2]
    return float(np.abs(interpolated(coarse, places) - fine.value[1::2]).max())


def interpolated(part: SampledPart, x: Floats) -> Floats:
    """(n, channels) by barycentric interpolation in s (Berrut & Trefethen 2004)."""
    n = part.size
    s = (1 - np.cos(np.pi * np.arange(n + 1) / n)) / 2
    inside = np.sqrt(np.clip((x - part.a) / (part.b - part.a), 0.0, 1.0))
    here = 2 / np.pi * np.arcsin(inside)
    weight = (-1.0) ** np.arange(n + 1)
    weight[[0, -1]] /= 2
    apart = here[:, None] - s
    hit: NDArray[np.bool_] = np.zeros(apart.shape, dtype=np.bool_)
    hit[np.abs(apart) < 1e-14] = True
    ratio = weight / np.where(hit, 1.0, apart)
    ratio = np.where(np.any(hit, axis=1, keepdims=True), hit.astype(float), ratio)
    return np.asarray(ratio @ part.value / ratio.sum(axis=1)[:, None])
