"""A band-limited function sampled as sparsely as it may be, and read on a finer grid.

The power |A|^2 of an aperture of width W is a sum of waves exp(-2 pi i u lag) with lags up to W.
Samples at a rate r fold a lag onto r - lag: those up to L are known where r is W + L or more. A
discrete Fourier transform, a window over lags that is one up to where they are wanted and falls to
nothing at L, and a transform back to a longer grid give the function on that grid; what its ends
do not match in the circle is felt no further than the window's own transform reaches.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Complexes, Floats

_KAISER = 18.0  # shape of the window's fall: 1e-9 of the power is left beyond its reach
_WHOLE = 2 / 3  # of the longest lag: shorter ones are kept whole
_REACH = math.hypot(_KAISER, math.pi) / math.pi  # of 1 / (the fall): half of its transform
_POINTS = 2049  # of the fall
_WORTH = 0.7  # of the wanted samples: more are computed one by one


def resampled(
    power: Callable[[float, float, int], Floats],
    width_m: float,
    start_per_m: float,
    step_per_m: float,
    count: int,
    *,
    longest_m: float | None = None,
) -> Floats:
    """Samples (count,) of a function of u that holds lags up to `width_m`, on an even grid.

    Error: 2e-8 of the largest value nearby, where all lags are wanted.

    Parameters
    ----------
    power : called with start, step and number of the samples that it is to compute
    longest_m : [m] no lag above this is kept, and all below two thirds of it; by default all are
    """
    longest = width_m / _WHOLE if longest_m is None else longest_m
    reach = _REACH / ((1 - _WHOLE) * longest)
    beyond = math.ceil(reach / step_per_m) + 1  # grid points at either end
    size = fast_size(count + 2 * beyond)
    period = size * step_per_m
    sparse = fast_size(math.ceil(period * (width_m + longest)) + 2)
    if longest_m is None and sparse > _WORTH * count:
        return power(start_per_m, step_per_m, count)
    samples = power(start_per_m - beyond * step_per_m, period / sparse, sparse)
    lags = np.arange(min(int(longest * period) + 2, size // 2 + 1))
    spectrum = _at_lags(np.fft.rfft(samples), sparse, lags)
    spectrum *= window(lags / period, longest) * (size / sparse)
    return np.asarray(np.fft.irfft(spectrum, size)[beyond : beyond + count])


def _at_lags(half: Complexes, size: int, lags: NDArray[np.intp]) -> Complexes:
    """A transform of `size` real samples, beyond its middle too, where it mirrors itself.

    Cut off at its middle, the window would end in a step, and what the ends do not match would
    be felt everywhere (5e-4 of a running integral).
    """
    found = half[np.minimum(lags, size - lags)]
    return np.asarray(np.where(lags > size // 2, np.conj(found), found))


def fast_size(least: int) -> int:
    """A size not below `least` that transforms quickly, a multiple of 16."""
    return min(16 * m << max(0, math.ceil(math.log2(least / (16 * m)))) for m in (1, 3, 5, 9, 15))


def window(lag_m: Floats, longest_m: float) -> Floats:
    """One up to two thirds of the longest lag, nothing above it, in between the running integral
    of a Kaiser window."""
    t = (lag_m / longest_m - _WHOLE) / (1 - _WHOLE)
    return np.asarray(np.interp(t, np.linspace(0.0, 1.0, _POINTS), _fall()))


@lru_cache(maxsize=1)
def _fall() -> Floats:
    rise = np.cumsum(np.kaiser(_POINTS, _KAISER))
    return np.asarray(1.0 - rise / rise[-1])
