"""Between even cells: Lagrange's interpolation of the cumulative power, twelve edges at a time.

With four cells to the finest fringe the eleventh-degree polynomial through twelve edges is right
to 1e-5 of the light; sums are kept, and nothing hinders small negative values beside sharp steps.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from wavesim.arrays import Floats
from wavesim.compiled import compiled

TAPS = 12
_SIGNED = np.array([1.0, -11, 55, -165, 330, -462, 462, -330, 165, -55, 11, -1])


@compiled(fastmath=False)
def bend_even(power, even, wanted, out):  # type: ignore[no-untyped-def]
    """Powers (ny, n, c) between even edges, `even` = (first, step), put between `wanted`."""
    n = power.shape[1]
    channels = power.shape[2]
    total = np.zeros((n + 1, channels))
    weight = np.empty(TAPS)
    before = np.zeros(channels)
    for row in range(power.shape[0]):
        for i in range(n):
            for c in range(channels):
                total[i + 1, c] = total[i, c] + power[row, i, c]
        for i in range(wanted.shape[1]):
            s = min(max((wanted[row, i] - even[0]) / even[1], 0.0), float(n))
            k = min(max(int(s) - TAPS // 2 + 1, 0), n + 1 - TAPS)
            whole = 0.0
            exact = -1
            for m in range(TAPS):
                away = s - (k + m)
                if abs(away) < 1e-10:
                    exact = m
                    break
                weight[m] = _SIGNED[m] / away
                whole += weight[m]
            for c in range(channels):
                if exact >= 0:
                    value = total[k + exact, c]
                else:
                    value = 0.0
                    for m in range(TAPS):
                        value += weight[m] * (total[k + m, c] - total[k, c])
                    value = value / whole + total[k, c]
                if i > 0:
                    out[row, i - 1, c] = value - before[c]
                before[c] = value


@lru_cache(maxsize=1)
def _pieces() -> tuple[Floats, Floats]:
    """Rising coefficients (12, 12) of the cardinal function on j .. j + 1, j = -6 .. 5, and the
    integral (13,) before each j."""
    from numpy.polynomial import Polynomial

    half = TAPS // 2
    out = np.zeros((TAPS, TAPS))
    for j in range(-half, half):
        node, poly = -j, Polynomial([1.0])
        for other in range(-half + 1, half + 1):
            if other != node:
                poly *= Polynomial([-other, 1.0]) / (node - other)
        out[j + half] = poly.coef
    before = np.concatenate([[0.0], np.cumsum(out @ (1 / np.arange(1, TAPS + 1)))])
    return out, before


def _integral(x: Floats) -> Floats:
    """Integral of the cardinal function up to x; 0 and 1 beyond its twelve stretches."""
    coefficient, before = _pieces()
    half = TAPS // 2
    out = np.where(x < 0, before[0], before[-1])
    near = np.nonzero(np.abs(x) < half)
    x = x[near]
    j = np.minimum(np.floor(x).astype(np.intp) + half, TAPS - 1)
    t = x - (j - half)
    total = np.zeros_like(t)
    for k in range(TAPS - 1, -1, -1):
        total = (total + coefficient[j, k] / (k + 1)) * t
    out[near] = before[j] + total
    return np.asarray(out)


def cardinal(x: Floats) -> Floats:
    """The cardinal function: 1 at zero, 0 at other whole numbers."""
    coefficient, _ = _pieces()
    half = TAPS // 2
    inside = np.abs(x) < half
    j = np.clip(np.floor(x).astype(np.intp) + half, 0, TAPS - 1)
    t = x - (j - half)
    total = np.zeros_like(t)
    for k in range(TAPS - 1, -1, -1):
        total = total * t + coefficient[j, k]
    return np.asarray(np.where(inside, total, 0.0))


def box_weights(half: float, reach: int, middle: float = 0.0) -> Floats:
    """(2 reach + 1,) weights of the cells about one that give its mean over a box.

    The mean over middle - half .. middle + half [cells] of the interpolated cumulative power.
    """
    return np.asarray(boxes_weights(np.array([half]), reach, np.array([middle]))[0])


def boxes_weights(half: Floats, reach: int, middle: Floats) -> Floats:
    """(n, 2 reach + 1) the same for n boxes."""
    m = np.arange(-reach, reach + 1, dtype=np.float64)
    thin = half < 1e-6
    width = np.where(thin, 1.0, half)[:, None]
    ends = (middle[:, None] + width - m, middle[:, None] - width - m)
    out = (_integral(ends[0]) - _integral(ends[1])) / (2 * width)
    out[thin] = cardinal(middle[thin, None] - m)
    return np.asarray(out)
