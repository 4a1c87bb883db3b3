"""Phases of many cycles, kept to the last bit.

A grating of 100 mm at u = 1e6 / m holds 1e5 cycles; rounding u once turns its edges by 1e-11
of a cycle, too much for an amplitude that should hold to 1e-12. Here sums and products carry
their rounding error along (Dekker 1971, Numerische Mathematik 18, 224) until whole cycles are
taken off.
"""

from __future__ import annotations

import math

import numpy as np

from wavesim.arrays import Complexes, Floats
from wavesim.compiled import compiled

_SPLIT = 134217729.0  # 2**27 + 1, Dekker's constant for 53-bit numbers


# fastmath off, "contract" too: these kernels live on the exact order of operations
@compiled(inline="always", fastmath=False)
def _two_product(a, b):  # type: ignore[no-untyped-def]
    """a * b as rounded product and its error."""
    p = a * b
    x = _SPLIT * a
    ah = x - (x - a)
    al = a - ah
    y = _SPLIT * b
    bh = y - (y - b)
    bl = b - bh
    return p, ((ah * bh - p) + ah * bl + al * bh) + al * bl


@compiled(inline="always", fastmath=False)
def _cycle(u_hi, u_lo, x):  # type: ignore[no-untyped-def]
    """(u_hi + u_lo) * x less its whole cycles."""
    p, e = _two_product(u_hi, x)
    return (p - np.rint(p)) + (e + u_lo * x)


@compiled(fastmath=False)
def turned(weight, position, u_hi, u_lo, out):  # type: ignore[no-untyped-def]
    """out_j = w_j exp(-2 pi i u x_j), phases exact to a rounding of one cycle."""
    for j in range(position.size):
        a = -2.0 * math.pi * _cycle(u_hi, u_lo, position[j])
        out[j] = weight[j] * complex(math.cos(a), math.sin(a))


@compiled(fastmath=False)
def direct_sum(weight, position, u_hi, u_lo, out):  # type: ignore[no-untyped-def]
    """out_k = sum_j w_j exp(-2 pi i u_k x_j) with compensated summation."""
    for k in range(u_hi.size):
        re = 0.0
        im = 0.0
        re_lost = 0.0
        im_lost = 0.0
        for j in range(position.size):
            a = -2.0 * math.pi * _cycle(u_hi[k], u_lo[k], position[j])
            term = weight[j] * complex(math.cos(a), math.sin(a))
            y = term.real - re_lost
            t = re + y
            re_lost = (t - re) - y
            re = t
            y = term.imag - im_lost
            t = im + y
            im_lost = (t - im) - y
            im = t
        out[k] = complex(re, im)


def frequency(sine_in: float, sine_out: Floats, wavelength_m: float) -> tuple[Floats, Floats]:
    """u = (sine_in + sine_out) / wavelength [1/m] as a double and the rest that it lacks.

    Exact to about 1e-32 relative: the sum by Knuth's two-sum, the quotient by one Newton step.
    """
    total = sine_in + sine_out
    part = total - sine_in
    rest = (sine_in - (total - part)) + (sine_out - part)
    hi = total / wavelength_m
    back, lost = _products(hi, wavelength_m)
    lo = ((total - back) - lost + rest) / wavelength_m
    return hi, lo


def _products(a: Floats, b: float) -> tuple[Floats, Floats]:
    p = a * b
    ah = _SPLIT * a - (_SPLIT * a - a)
    bh = _SPLIT * b - (_SPLIT * b - b)
    al = a - ah
    bl = b - bh
    return p, ((ah * bh - p) + ah * bl + al * bh) + al * bl


def turn(weight: Complexes, position_m: Floats, u_hi: float, u_lo: float = 0.0) -> Complexes:
    """Weights seen from the frequency u: w_j exp(-2 pi i u x_j), shape (n,)."""
    out = np.empty(position_m.size, dtype=np.complex128)
    turned(weight, position_m, u_hi, u_lo, out)
    return out
