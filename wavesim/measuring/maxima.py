"""Maxima of samples by prominence, and their widths, in plain arrays.

Prominence is the height above the higher of the two lowest points that separate a maximum from
taller ground to its left and to its right (the end of the samples counts as ground).

Our own, because scipy.signal takes 0.3 to 0.4 s to import, as long as `wavesim measure` takes: its
find_peaks and peak_widths gave the same 1,512 maxima of 20,000 samples, widths to 4e-12, in 1 ms
where this took 21.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats, Indices


@dataclass(frozen=True, eq=False)
class Maxima:
    """Samples at maxima (k,), and the prominence of each (k,)."""

    index: Indices
    prominence: Floats


def maxima(y: Floats, least: float) -> Maxima:
    """Maxima whose prominence is at least `least`; a flat top counts at its middle. O(n)."""
    tops = _tops(y)
    if tops.size == 0:
        return Maxima(tops, np.zeros(0))
    valley = np.array(
        [y[a:b].min() for a, b in zip(np.append(0, tops), np.append(tops, y.size), strict=True)]
    )
    height = y[tops]
    left = _lowest(height, valley[:-1])
    right = _lowest(height[::-1], valley[::-1][:-1])[::-1]
    prominence = height - np.maximum(left, right)
    prominent = prominence >= least
    return Maxima(tops[prominent], prominence[prominent])


def _tops(y: Floats) -> Indices:
    """Middles of the stretches of equal samples that are higher than what lies beside them."""
    change = np.flatnonzero(np.diff(y) != 0)
    first = np.append(0, change + 1)
    last = np.append(change, y.size - 1)
    level = y[first]
    inner = (level[1:-1] > level[:-2]) & (level[1:-1] > level[2:])
    chosen = np.flatnonzero(inner) + 1
    return np.asarray((first[chosen] + last[chosen]) // 2, dtype=np.intp)


def _lowest(height: Floats, valley: Floats) -> Floats:
    """Lowest valley between each maximum and the next taller one before it."""
    out = np.empty(height.size)
    stack: list[tuple[float, float]] = []  # heights falling, each with the lowest valley before it
    for k in range(height.size):
        low = float(valley[k])
        while stack and stack[-1][0] <= height[k]:
            low = min(low, stack.pop()[1])
        out[k] = low
        stack.append((float(height[k]), low))
    return out


def widths(y: Floats, found: Maxima, part: float) -> Floats:
    """(k,) full widths [samples] at `part` of the prominence below each top, interpolated."""
    out = np.empty(found.index.size)
    for k, (top, prominence) in enumerate(zip(found.index, found.prominence, strict=True)):
        level = y[top] - part * prominence
        out[k] = _crossing(y, int(top), level, 1) + _crossing(y, int(top), level, -1)
    return out


def _crossing(y: Floats, top: int, level: float, step: int) -> float:
    """Distance from a maximum to where the samples fall below a level."""
    k, reach = top, 64
    while True:
        side = y[k : k + reach] if step > 0 else y[max(k - reach + 1, 0) : k + 1][::-1]
        below = np.flatnonzero(side < level)
        if below.size:
            j = k + step * int(below[0])
            a, b = float(y[j - step]), float(y[j])
            return abs(j - top) - (level - b) / (a - b)
        k += step * (side.size - 1)
        if side.size < reach:
            return float(abs(k - top))
        reach *= 4
