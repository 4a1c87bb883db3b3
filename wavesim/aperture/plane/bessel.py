"""The Airy amplitude 2 J1(x) / x without importing a library of special functions.

Below x = 32 a table of polynomials, one for each unit of x, made from Miller's downward
recurrence (Abramowitz & Stegun 9.12); above, Hankel's asymptotic series (DLMF 10.17.3). Both
are right to 1e-15 of the value at zero (tests/test_plane_elements.py, against mpmath).
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from numba import njit

from wavesim.aperture.elements import Floats

_PIECES = 32
_DEGREE = 14
_FAST = {"cache": True, "nogil": True, "error_model": "numpy", "fastmath": {"contract"}}


def airy(x: Floats) -> Floats:
    """2 J1(x) / x, equal to 1 at zero; same shape as `x`."""
    flat = np.ascontiguousarray(x, dtype=np.float64).ravel()
    out = np.empty_like(flat)
    _airy_many(flat, table(), out)
    return out.reshape(np.shape(x))


@lru_cache(maxsize=1)
def table() -> Floats:
    """(32, 15) coefficients of t^k, t from -1 to 1 over each unit of x."""
    node = np.cos(np.pi * (np.arange(_DEGREE + 1) + 0.5) / (_DEGREE + 1))
    x = np.arange(_PIECES)[:, None] + (node + 1) / 2
    values = _by_recurrence(x)
    basis = np.polynomial.chebyshev.chebvander(node, _DEGREE)
    series = np.linalg.solve(basis, values.T)
    return np.stack(
        [np.resize(np.polynomial.chebyshev.cheb2poly(c), _DEGREE + 1) for c in series.T]
    )


def _by_recurrence(x: Floats) -> Floats:
    """2 J1(x) / x by J_{k-1} = (2 k / x) J_k - J_{k+1} from k = 100, normalised to J0 + 2 sum J_2k."""
    above, here = np.zeros_like(x), np.full_like(x, 1e-290)
    total = np.zeros_like(x)
    first = here
    for k in range(100, 0, -1):
        above, here = here, (2 * k / x) * here - above
        with np.errstate(over="raise"):
            grown = np.abs(here) > 1e200
            above, here = (
                np.where(grown, above * 1e-200, above),
                np.where(grown, here * 1e-200, here),
            )
            total = np.where(grown, total * 1e-200, total)
        if k == 2:
            first = here
        if k % 2 == 1:
            total = total + (2 * here if k > 1 else here)
    return np.asarray(2 * first / (x * total))


@njit(inline="always", **_FAST)
def airy_one(x, c):  # type: ignore[no-untyped-def]
    """2 J1(x) / x for one x >= 0."""
    if x < 32.0:
        j = int(x)
        t = 2.0 * (x - j) - 1.0
        value = c[j, 14]
        for k in range(13, -1, -1):
            value = value * t + c[j, k]
        return value
    # a_k(1) of DLMF 10.17.1, terms below 1e-16 left out
    p = 1.0
    q = 0.0
    term = 1.0
    for k in range(1, 13):
        term *= (4.0 - (2.0 * k - 1.0) ** 2) / (k * 8.0 * x)
        if k % 2 == 1:
            q += term if k % 4 == 1 else -term
        else:
            p += -term if k % 4 == 2 else term
    chi = x - 0.75 * math.pi
    return 2.0 / x * math.sqrt(2.0 / (math.pi * x)) * (p * math.cos(chi) - q * math.sin(chi))


@njit(**_FAST)
def _airy_many(x, c, out):  # type: ignore[no-untyped-def]
    for i in range(x.size):
        out[i] = airy_one(abs(x[i]), c)
