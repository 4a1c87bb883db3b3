"""The Airy amplitude 2 J1(x) / x without importing a library of special functions.

Below x = 32 a table of polynomials, two for each unit of x, made from Miller's downward
recurrence (Abramowitz & Stegun 9.12); above, Hankel's asymptotic series (DLMF 10.17.3). Both
are right to 1e-15 of the value at zero (tests/test_plane_elements.py, against mpmath).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from wavesim.arrays import Floats
from wavesim.compiled import compiled

_PIECES = 64
_DEGREE = 10


def airy_of_square(x2: Floats) -> Floats:
    """2 J1(x) / x of x^2 >= 0, overwriting `x2` where it is an array of its own."""
    flat = np.ascontiguousarray(x2).reshape(-1)
    _airy_squares(flat, table())
    return flat.reshape(np.shape(x2))


@lru_cache(maxsize=1)
def table() -> Floats:
    """(64, 11) coefficients of t^k, t from -1 to 1 over each half unit of x."""
    node = np.cos(np.pi * (np.arange(_DEGREE + 1) + 0.5) / (_DEGREE + 1))
    x = np.arange(_PIECES)[:, None] / 2 + (node + 1) / 4
    values = _by_recurrence(x)
    basis = np.polynomial.chebyshev.chebvander(node, _DEGREE)
    series = np.linalg.solve(basis, values.T)
    out = np.zeros((_PIECES, _DEGREE + 1))
    for row, c in zip(out, series.T, strict=True):
        powers = np.polynomial.chebyshev.cheb2poly(c)
        row[: powers.size] = powers
    return out


def _by_recurrence(x: Floats) -> Floats:
    """J_{k-1} = (2 k / x) J_k - J_{k+1} from k = 100 down, normalised by J0 + 2 sum J_2k = 1."""
    above, below = np.zeros_like(x), np.full_like(x, 1e-290)
    total = np.zeros_like(x)
    first = below
    for k in range(100, 0, -1):
        above, below = below, (2 * k / x) * below - above
        with np.errstate(over="raise"):
            grown = np.abs(below) > 1e200
            above, below = (
                np.where(grown, above * 1e-200, above),
                np.where(grown, below * 1e-200, below),
            )
            total = np.where(grown, total * 1e-200, total)
        if k == 2:
            first = below
        if k % 2 == 1:
            total = total + (2 * below if k > 1 else below)
    return np.asarray(2 * first / (x * total))


@compiled(inline="always")
def airy_one(x, c):  # type: ignore[no-untyped-def]
    """2 J1(x) / x for one x >= 0."""
    if x < 32.0:
        j = np.uint64(2.0 * x)
        t = 2.0 * (2.0 * x - j) - 1.0
        tt = t * t
        high = c[j, 4] + tt * (c[j, 6] + tt * (c[j, 8] + tt * c[j, 10]))
        even = c[j, 0] + tt * (c[j, 2] + tt * high)
        odd = c[j, 1] + tt * (c[j, 3] + tt * (c[j, 5] + tt * (c[j, 7] + tt * c[j, 9])))
        return even + t * odd
    # a_k(1) of DLMF 10.17.1, terms below 1e-16 left out
    p = 1.0
    q = 0.0
    term = 1.0
    for k in range(1, 13):
        if abs(term) < 1e-17:
            break
        term *= (4.0 - (2.0 * k - 1.0) ** 2) / (k * 8.0 * x)
        if k % 2 == 1:
            q += term if k % 4 == 1 else -term
        else:
            p += -term if k % 4 == 2 else term
    chi = x - 0.75 * math.pi
    return 2.0 / x * math.sqrt(2.0 / (math.pi * x)) * (p * math.cos(chi) - q * math.sin(chi))


@compiled()
def _airy_squares(x2, c):  # type: ignore[no-untyped-def]
    for i in range(x2.size):
        x2[i] = airy_one(math.sqrt(x2[i]), c)
