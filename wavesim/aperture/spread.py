"""Elements that differ along the ruling, as an interpolation between a few of them.

If a parameter s (a width, a depth) varies from ruling to ruling, the amplitude of an element is
a smooth function of s at every wavelength and angle. With R Chebyshev points s_r over its range,

    E(s) = sum over r of  c_r(s) E(s_r)      (barycentric Lagrange form),

so N different elements are R combs at the same positions with weights c_r(s_j): R transforms
for all wavelengths. The error in amplitude is at most phase^R / (2^(R-1) R!), `phase` being half
the range of the phase that s spans.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from wavesim.aperture.combs import Comb
from wavesim.aperture.elements import Element
from wavesim.arrays import Complexes, Floats
from wavesim.errors import LimitError

TOLERANCE = 1e-8  # of an element's amplitude
_MOST = 40
_ALIKE = 1e-12  # relative difference that is rounding
_FEW = 8  # distinct elements that each get a comb of their own


def spread(
    make: Callable[[float], Element],
    value: Floats,
    position_m: Floats,
    weight: Complexes,
    phase_rad: float,
) -> tuple[Comb, ...]:
    """Combs for elements `make(value_j)` at `position_m`.

    Parameters
    ----------
    phase_rad : largest phase change per unit of `value` [rad per unit], over all rays that will
        be asked for

    Raises
    ------
    LimitError
        The elements differ by more than the interpolation can follow.
    """
    kinds, kind = np.unique(np.rint(value / np.abs(value).max() / _ALIKE), return_inverse=True)
    if kinds.size <= _FEW:
        chosen = [kind == k for k in range(kinds.size)]
        return tuple(
            Comb(make(float(value[which].mean())), position_m[which], weight[which])
            for which in chosen
        )
    count = points_needed(float(np.ptp(value)) / 2 * phase_rad)
    node, weights = chebyshev(value, count)
    return tuple(
        Comb(make(float(s)), position_m, weight * weight_of_node)
        for s, weight_of_node in zip(node, weights, strict=True)
    )


def points_needed(phase_rad: float) -> int:
    """Smallest R whose error phase^R / (2^(R-1) R!) is below `TOLERANCE`.

    Raises
    ------
    LimitError
        More than 40 points would be needed.
    """
    for count in range(2, _MOST + 1):
        error = count * math.log(max(phase_rad, 1e-300)) - (count - 1) * math.log(2)
        if error - math.lgamma(count + 1) < math.log(TOLERANCE):
            return count
    raise LimitError(
        f"the elements differ too much in phase, by {phase_rad / math.pi:.3g} wavelengths",
        key="aperture.defects",
        expected="smaller errors of width or depth",
    )


def chebyshev(value: Floats, count: int) -> tuple[Floats, Floats]:
    """(r,) Chebyshev points of the first kind over the values' range, and the values' (r, n)
    Lagrange weights at them."""
    lo, hi = float(value.min()), float(value.max())
    r = np.arange(count)
    node = (lo + hi) / 2 + (hi - lo) / 2 * np.cos(np.pi * (r + 0.5) / count)
    factor = (-1.0) ** r * np.sin(np.pi * (r + 0.5) / count)
    gap = value - node[:, None]
    hit = gap == 0
    gap[hit] = 1.0
    terms = factor[:, None] / gap
    weight_of_node = terms / terms.sum(axis=0)
    exact = hit.any(axis=0)
    weight_of_node[:, exact] = hit[:, exact] / hit[:, exact].sum(
        axis=0
    )  # equal values make equal points
    return node, np.asarray(weight_of_node)
