"""Correlated colour temperature, and how far a source's white can be taken as white."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.colorimetry.spaces import xy_to_uv, xyz_to_xy
from wavesim.constants import BOLTZMANN_J_K, LIGHT_SPEED_M_S, PLANCK_J_S
from wavesim.errors import InputError
from wavesim.light.observer import cie1931

_COLDEST_K, _HOTTEST_K = 500.0, 1e6
_FULL_DUV, _NO_DUV = 0.02, 0.05  # CIE 15: no correlated temperature beyond 0.05
_FULL_K, _NO_K = 2300.0, 1800.0


def planckian_xy(temperature_K: ArrayLike) -> Floats:
    """Chromaticity (..., 2) of a black body, CIE 1931, 1 nm sums 360 to 830 nm in air."""
    wavelength_m, cmf = cie1931()
    temperature = np.asarray(temperature_K, dtype=np.float64)[..., None]
    c2 = PLANCK_J_S * LIGHT_SPEED_M_S / BOLTZMANN_J_K
    steepness = c2 / (wavelength_m * temperature)
    # exp(-s) / (1 - exp(-s)) scaled by its largest term, so that a cold body does not underflow
    shifted = steepness - steepness.min(axis=-1, keepdims=True)
    radiance = wavelength_m**-5.0 * 1e-32 * np.exp(-shifted) / -np.expm1(-steepness)
    return xyz_to_xy(radiance @ cmf)


def cct(xy: ArrayLike) -> tuple[float, float]:
    """Correlated colour temperature [K] and Duv of a chromaticity xy (2,).

    The black body whose CIE 1960 (u, v) lies nearest (CIE 15; Robertson, J. Opt. Soc. Am. 58,
    1528 (1968), by minimisation instead of his table). Duv is the distance, positive above
    the Planckian locus. CIE 15 gives it no meaning beyond |Duv| = 0.05: look at it.

    Raises
    ------
    InputError
        Not two finite numbers.
    """
    point = np.asarray(xy, dtype=np.float64)
    if point.shape != (2,) or not np.all(np.isfinite(point)):
        raise InputError("a chromaticity is two finite numbers", key="xy", value=xy)
    target = xy_to_uv(point)
    low, high = 1 / _HOTTEST_K, 1 / _COLDEST_K
    for _ in range(12):  # each round narrows the bracket 16 times
        mired = np.linspace(low, high, 33)
        distance = np.hypot(*(xy_to_uv(planckian_xy(1 / mired)) - target).T)
        best = int(np.argmin(distance))
        low, high = mired[max(best - 1, 0)], mired[min(best + 1, 32)]
        if high - low < 1e-12:
            break
    nearest = xy_to_uv(planckian_xy(1 / mired[best]))
    above = math.copysign(1.0, float(target[1] - nearest[1]))
    return float(1 / mired[best]), above * float(distance[best])


def balance_degree(white_xyz: ArrayLike) -> float:
    """How far an eye or a photographer would take this source for white, 0..1.

    1 for a white within 0.02 (CIE 1960 uv) of the black-body colours and above 2,300 K; 0 from
    0.05, the limit CIE 15 sets to the notion of a colour temperature, or below 1,800 K; linear
    between. So sodium, lasers and filtered light keep their colour. The inner limits are our
    own choice.
    """
    temperature_K, duv = cct(xyz_to_xy(white_xyz))
    near = (_NO_DUV - abs(duv)) / (_NO_DUV - _FULL_DUV)
    warm = (temperature_K - _NO_K) / (_FULL_K - _NO_K)
    return min(max(min(near, warm), 0.0), 1.0)
