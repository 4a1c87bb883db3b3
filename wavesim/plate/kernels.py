"""The one pass over pixels and wavelengths.

Both kernels add, for every pixel i and wavelength bin b, the bin's light times the increment of
the running integral over the pixel to the two wavelength nodes beside the bin:

    light[i, k]     += low[b]  * (V(i + 1, b) - V(i, b))
    light[i, k + 1] += high[b] * (V(i + 1, b) - V(i, b))

Bins of node interval k are first[k] .. first[k + 1] - 1. Nodes are taken a block at a time so
that the stretch of table in use stays in the processor's cache. Nothing is shared between
pixels but the left edge's value, so any split of the pixels gives the same bits.
"""

from __future__ import annotations

import numpy as np
from numba import njit

_FAST = {"cache": True, "nogil": True, "error_model": "numpy", "fastmath": {"contract"}}


@njit(inline="always", **_FAST)
def _once(c, j, t):  # type: ignore[no-untyped-def]
    return c[j, 0] + t * (c[j, 1] + t * (c[j, 2] + t * (c[j, 3] + t * (c[j, 4] + t * c[j, 5]))))


@njit(inline="always", **_FAST)
def _twice(c, j, t):  # type: ignore[no-untyped-def]
    return c[j, 0] + t * (
        c[j, 1] + t * (c[j, 2] + t * (c[j, 3] + t * (c[j, 4] + t * (c[j, 5] + t * c[j, 6]))))
    )


@njit(**_FAST)
def sweep_points(once, sines, scale, shift, bins, pixels, light):  # type: ignore[no-untyped-def]
    """V(i, b) = T at s = sines[i] * scale[b] + shift[b] [cells].

    `bins` = (low, high, first, block), `pixels` = (first, last).
    """
    low, high, first, block = bins
    edge = np.empty(scale.size)
    for g in range(block.size - 1):
        k0, k1 = block[g], block[g + 1]
        for b in range(first[k0], first[k1]):
            s = sines[pixels[0]] * scale[b] + shift[b]
            j = np.int32(s)
            edge[b] = _once(once, j, s - j)
        for i in range(pixels[0], pixels[1]):
            p = sines[i + 1]
            for k in range(k0, k1):
                at_low = 0.0
                at_high = 0.0
                for b in range(first[k], first[k + 1]):
                    s = p * scale[b] + shift[b]
                    j = np.int32(s)
                    value = _once(once, j, s - j)
                    rise = value - edge[b]
                    edge[b] = value
                    at_low += low[b] * rise
                    at_high += high[b] * rise
                light[i, k] += at_low
                light[i, k + 1] += at_high


@njit(inline="always", **_FAST)
def _mean(once, twice, a, b):  # type: ignore[no-untyped-def]
    """Mean of T between a and b [cells]; by its middle where they are too near to subtract."""
    if abs(b - a) > 1e-3:
        ja = np.int32(a)
        jb = np.int32(b)
        return (_twice(twice, jb, b - jb) - _twice(twice, ja, a - ja)) / (b - a)
    m = (a + b) / 2
    j = np.int32(m)
    return _once(once, j, m - j)


@njit(**_FAST)
def sweep_boxes(once, twice, sines, start, end, bins, pixels, light):  # type: ignore[no-untyped-def]
    """V(i, b) = mean of T over s between sines[i] * start[0, b] + start[1, b] and the same of `end`.

    Serves a source slit (a range of incidence angles) and a wide wavelength bin alike.
    """
    low, high, first, block = bins
    edge = np.empty(low.size)
    for g in range(block.size - 1):
        k0, k1 = block[g], block[g + 1]
        p = sines[pixels[0]]
        for b in range(first[k0], first[k1]):
            edge[b] = _mean(
                once, twice, p * start[0, b] + start[1, b], p * end[0, b] + end[1, b]
            )
        for i in range(pixels[0], pixels[1]):
            p = sines[i + 1]
            for k in range(k0, k1):
                at_low = 0.0
                at_high = 0.0
                for b in range(first[k], first[k + 1]):
                    value = _mean(
                        once, twice, p * start[0, b] + start[1, b], p * end[0, b] + end[1, b]
                    )
                    rise = value - edge[b]
                    edge[b] = value
                    at_low += low[b] * rise
                    at_high += high[b] * rise
                light[i, k] += at_low
                light[i, k + 1] += at_high


@njit(**_FAST)
def shift_row(power, edges, wanted, out):  # type: ignore[no-untyped-def]
    """Powers (n, c) between `edges` (n + 1,) put between `wanted` (m + 1,) edges, out (m, c).

    The cumulative power is read with a monotone cubic (Fritsch & Carlson 1980, SIAM J. Numer.
    Anal. 17, 238, harmonic-mean slopes), so nothing turns negative and nothing is lost.
    """
    n = power.shape[0]
    for c in range(power.shape[1]):
        total = np.zeros(n + 1)
        for i in range(n):
            total[i + 1] = total[i] + power[i, c]
        before = _cumulative(total, edges, wanted[0])
        for i in range(out.shape[0]):
            after = _cumulative(total, edges, wanted[i + 1])
            out[i, c] = after - before
            before = after


@njit(inline="always", **_FAST)
def _slope(total, edges, j):  # type: ignore[no-untyped-def]
    if j == 0 or j == edges.size - 1:
        return 0.0
    left = (total[j] - total[j - 1]) / (edges[j] - edges[j - 1])
    right = (total[j + 1] - total[j]) / (edges[j + 1] - edges[j])
    return 2.0 * left * right / (left + right) if left * right > 0.0 else 0.0


@njit(**_FAST)
def _cumulative(total, edges, x):  # type: ignore[no-untyped-def]
    n = edges.size - 1
    if x <= edges[0]:
        return total[0]
    if x >= edges[n]:
        return total[n]
    j = np.searchsorted(edges, x, side="right") - 1
    h = edges[j + 1] - edges[j]
    t = (x - edges[j]) / h
    a = _slope(total, edges, j) * h
    b = _slope(total, edges, j + 1) * h
    d = total[j + 1] - total[j]
    return total[j] + t * (a + t * (3 * d - 2 * a - b + t * (a + b - 2 * d)))
