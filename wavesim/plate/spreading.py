"""Light put on a comb of wavelengths so that lines of any narrowness count where they stand.

A sum over the comb, sum_b w_b R(lambda_b), stands for the integral of L R dlambda. With all the
light of a bin at its centre of power, a spectrum with lines is misplaced by up to half a bin: the
second moments of the bins differ from one another. Here every small part of the spectrum is
shared between the twelve comb wavelengths about it with the weights of Lagrange's interpolation,

    w_b = integral of L(lambda) l_b(lambda) dlambda,

which is exact for any R that the comb's interpolation reproduces, whatever L may be. Weights may
be negative where a line stands between two comb wavelengths.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wavesim.arrays import Floats
from wavesim.compiled import compiled

if TYPE_CHECKING:
    from wavesim.light import Spectrum

_TAPS = 12  # comb wavelengths that share a part of the light
_PARTS = 8  # of a bin, each at its own centre of power
_MOST = 16_000_000  # parts in all: beyond, bins are cut into fewer


def spread(spectrum: Spectrum, lo_m: Floats, hi_m: Floats) -> tuple[Floats, Floats]:
    """Light and wavelength of bins (b,), ascending; bins that touch make one comb.

    The comb is even, or changes its step smoothly, in the number of its bins; light stands at the
    bins' middles in 1 / lambda. A bin that stands alone keeps its light at the centre of power.
    """
    parts = max(1, min(_PARTS, _MOST // lo_m.size))
    t = np.arange(parts + 1) / parts
    edges = 1 / (1 / lo_m[:, None] + (1 / hi_m - 1 / lo_m)[:, None] * t)
    edges[:, 0], edges[:, -1] = lo_m, hi_m
    light, centre = spectrum.integrate(edges[:, :-1].ravel(), edges[:, 1:].ravel())
    middle = 2 / (1 / lo_m + 1 / hi_m)
    starts = np.flatnonzero(np.append(True, lo_m[1:] > hi_m[:-1] * (1 + 1e-12)))
    runs = np.append(starts, lo_m.size).astype(np.int64)
    power = np.zeros(lo_m.size)
    room = np.empty((2, _TAPS))
    _distribute(light, centre, 1 / middle, parts, runs, room, power)
    alone = np.flatnonzero(np.diff(runs) == 1)
    if alone.size:
        k = runs[alone]
        own = light.reshape(-1, parts)[k]
        total = own.sum(axis=1)
        nonzero = total > 0
        mean = (own * centre.reshape(-1, parts)[k]).sum(axis=1)[nonzero] / total[nonzero]
        middle[k[nonzero]] = mean
    return power, middle


@compiled(fastmath=False)
def _distribute(light, centre, inverse, parts, runs, room, power):  # type: ignore[no-untyped-def]
    """Add the light of every part to power (b,); `room` (2, TAPS) is for its own use."""
    weight, signed = room[0], room[1]
    for r in range(runs.size - 1):
        a, z = runs[r], runs[r + 1]
        taps = min(_TAPS, z - a)
        signed[0] = 1.0  # barycentric weights of even points
        for m in range(1, taps):
            signed[m] = -signed[m - 1] * (taps - m) / m
        known, even = -1, False
        for i in range(a * parts, z * parts):
            if light[i] == 0.0:
                continue
            s = 1.0 / centre[i]
            b = i // parts
            k = b - taps // 2
            if taps % 2 == 0 and s < inverse[b]:
                k += 1
            k = min(max(k, a), z - taps)
            if k != known:
                known, even = k, _is_even(inverse[k : k + taps])
            _lagrange(s, inverse[k : k + taps], signed, even, weight)
            for m in range(taps):
                power[k + m] += light[i] * weight[m]


@compiled(inline="always", fastmath=False)
def _is_even(points):  # type: ignore[no-untyped-def]
    n = points.size
    step = (points[n - 1] - points[0]) / max(n - 1, 1)
    even = True
    for m in range(1, n):
        even = even and abs(points[m] - points[m - 1] - step) <= 1e-6 * abs(step)
    return even


@compiled(inline="always", fastmath=False)
def _lagrange(s, points, signed, even, weight):  # type: ignore[no-untyped-def]
    """Weights of Lagrange's interpolation at s; quicker where the points are even."""
    n = points.size
    step = (points[n - 1] - points[0]) / max(n - 1, 1)
    for m in range(n):
        if abs(s - points[m]) < 1e-9 * abs(step) or n == 1:
            for j in range(n):
                weight[j] = 0.0
            weight[m] = 1.0
            return
    for m in range(n):
        weight[m] = signed[m] / (s - points[m])
    if not even:
        for m in range(n):
            w = 1.0
            for j in range(n):
                if j != m:
                    w /= (points[m] - points[j]) / step
            weight[m] = w / (s - points[m])
    total = 0.0
    for m in range(n):
        total += weight[m]
    for m in range(n):
        weight[m] /= total
