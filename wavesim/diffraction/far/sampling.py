"""The interference function on an even grid of u, by non-uniform FFTs."""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np

from wavesim.aperture.combs import Comb
from wavesim.arrays import Complexes
from wavesim.diffraction.far.exact import turn
from wavesim.threads import each

TOLERANCE = 1e-12  # of the peak amplitude; power errs by at most 7e-24 of its peak
_BLOCK = 1 << 20  # samples per transform: bounds the memory of many orders


def sampled(
    comb: Comb,
    centre_m: float,
    start_per_m: float,
    step_per_m: float,
    count: int,
    tolerance: float = TOLERANCE,
) -> Complexes:
    """sum_j w_j exp(-2 pi i u (x_j - centre)) at u = start + k step, k = 0 .. count-1.

    Cost: one FFT of twice `count` and one spreading of the positions per block of a million
    samples; two blocks run side by side, each in one thread, so that the result does not depend
    on the number of cores.
    """
    out = np.empty(count, dtype=np.complex128)
    x = comb.position_m - centre_m
    angle = 2 * np.pi * step_per_m * x

    def fill(first: int, last: int) -> None:
        from finufft import nufft1d1

        n = last - first
        middle = start_per_m + (first + n // 2) * step_per_m
        weight = turn(comb.weight, x, middle)
        nufft1d1(angle, weight, n, out=out[first:last], isign=-1, eps=tolerance, nthreads=1)

    in_blocks(fill, count)
    return out


def in_blocks(work: Callable[[int, int], None], count: int, *, block: int = _BLOCK) -> None:
    """Call work(first, last) over 0 .. count in blocks (two at least), two at a time."""
    parts = max(2, -(-count // block)) if count > 4096 else 1
    edges = np.linspace(0, count, parts + 1).astype(int)
    each(lambda ends: work(*ends), list(pairwise(edges.tolist())), most=2)
