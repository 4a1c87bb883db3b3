"""Reading a band-limited function between even samples.

    f(n + t) = sum over j of w_j(t) f(n + j),   j = -BEFORE .. TAPS - 1 - BEFORE,  0 <= t < 1

for any f that holds no frequency above `1 / PER_PERIOD` cycles a sample. The weights are the
least-squares answer over that band, low frequencies favoured as those of a running integral are
(its spectrum is the aperture's autocorrelation over the lag), constants and straight lines
exact; each is a polynomial in t. Turned round, the same weights put a point at n + t on even
samples, so that any such function summed over the samples gives f(n + t).

Error of exp(i theta n), the largest over t: 2e-9 at half the band, 4e-8 at its end
(tests/test_plate_convolution.py).
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import numpy.typing as npt

from wavesim.arrays import Floats
from wavesim.compiled import compiled

TAPS = 20
BEFORE = TAPS // 2 - 1
PER_PERIOD = 4.0  # samples to the shortest period
_DEGREE = 13
_LOW = 1e4  # how much more the lowest frequencies count
_EXACT = 1e5  # weight of the constraints


@lru_cache(maxsize=1)
def coefficients() -> Floats:
    """(_DEGREE + 1, TAPS): w_j(t) = sum over k of coefficients[k, j] (2 t - 1)^k."""
    end = 2 * np.pi / PER_PERIOD * 1.02
    theta = np.concatenate([np.geomspace(1e-4, 0.05, 40), np.linspace(0.05, end, 240)])
    favour = np.minimum((1.02 - theta / end) * end / theta, _LOW)
    lag = np.arange(-BEFORE, TAPS - BEFORE)
    exponentials = favour[:, None] * np.exp(1j * np.outer(theta, lag))
    left = np.vstack(
        [exponentials.real, exponentials.imag, np.full(TAPS, _EXACT), 1e-2 * _EXACT * lag]
    )
    nodes = 0.5 - 0.5 * np.cos(np.pi * (np.arange(_DEGREE + 1) + 0.5) / (_DEGREE + 1))
    wanted = favour[:, None] * np.exp(1j * np.outer(theta, nodes))
    ends = np.stack([np.full(nodes.size, _EXACT), 1e-2 * _EXACT * nodes])
    targets = np.vstack([wanted.real, wanted.imag, ends])
    weights = np.linalg.lstsq(left, targets, rcond=1e-15)[0].T
    powers = np.vander(2 * nodes - 1, _DEGREE + 1, increasing=True)
    return np.ascontiguousarray(np.linalg.solve(powers, weights))


def weights_at(position: Floats) -> tuple[npt.NDArray[np.int64], Floats]:
    """First sample (n,) and weights (n, TAPS) that read a function at `position` (n,) [samples]."""
    whole = np.floor(position)
    powers = np.vander(2 * (position - whole) - 1, _DEGREE + 1, increasing=True)
    return whole.astype(np.int64) - BEFORE, np.asarray(powers @ coefficients())


@compiled(inline="always")
def _weigh(t, coefficient, weight):  # type: ignore[no-untyped-def]
    """weight[j] = sum over k of coefficient[k, j] t^k."""
    for j in range(TAPS):
        weight[j] = coefficient[_DEGREE, j]
    for k in range(_DEGREE - 1, -1, -1):
        for j in range(TAPS):
            weight[j] = weight[j] * t + coefficient[k, j]


@compiled()
def spread(position, light, coefficient, first, weight, out):  # type: ignore[no-untyped-def]
    """Add light (n,) at `position` (n,) [samples] to even samples; out[0] is sample `first`.

    `weight` (TAPS,) is for its own use.
    """
    for b in range(position.size):
        whole = np.floor(position[b])
        _weigh(2.0 * (position[b] - whole) - 1.0, coefficient, weight)
        n = int(whole) - BEFORE - first
        for j in range(TAPS):
            out[n + j] += light[b] * weight[j]


@compiled()
def gather(position, light, coefficient, first, weight, out):  # type: ignore[no-untyped-def]
    """`spread` for each row of position (n, p): light (p,), out[i, 0] at first[i]."""
    for i in range(position.shape[0]):
        spread(position[i], light, coefficient, first[i], weight, out[i])


@compiled()
def spread_nodes(position, low, high, bounds, k0, k1, first, coefficient, weight, out):  # type: ignore[no-untyped-def]
    """Put the light of nodes k0 .. k1 - 1 on even samples; row k - k0 of out begins at its `first`.

    Bins bounds[k] .. bounds[k + 1] - 1 give `low` to node k and `high` to node k + 1.
    """
    for k in range(max(k0 - 1, 0), min(k1, bounds.size - 1)):
        for b in range(bounds[k], bounds[k + 1]):
            whole = np.floor(position[b])
            _weigh(2.0 * (position[b] - whole) - 1.0, coefficient, weight)
            n = int(whole) - BEFORE
            if k >= k0:
                m = n - first[k - k0]
                for j in range(TAPS):
                    out[k - k0, m + j] += low[b] * weight[j]
            if k + 1 < k1:
                m = n - first[k + 1 - k0]
                for j in range(TAPS):
                    out[k + 1 - k0, m + j] += high[b] * weight[j]
