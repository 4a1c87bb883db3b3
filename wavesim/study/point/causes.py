"""What extinguishes a stretch of wavelengths at a point: source, single element or interference."""

from __future__ import annotations

import math

import numpy as np

from wavesim.arrays import Floats
from wavesim.study.formulas import interference_factor
from wavesim.study.ruling import Ruling

_DARK_SOURCE = 1e-3  # of the most that it sends: below, the source itself is dark
_ELEMENT_DARK = 0.02  # of the element's most: there it sends (almost) nothing itself
_PASSES = 0.5  # of the interference factor's peak: here the rulings together are not dark


def cause_of(
    path_difference: Floats, wavelength_m: Floats, ruled: Ruling | None, sent: Floats
) -> tuple[str, tuple[int, ...]]:
    """The cause of a dark stretch, and the orders that are missing in it.

    Light at a point is source x element's envelope x interference factor. A stretch is the
    source's where that sends nothing; the element's where the interference factor alone would
    let light through; else it is dark between the maxima of interference.

    Parameters
    ----------
    path_difference : (n,) of neighbouring rulings, in wavelengths
    sent : (n,) light of the source over its most
    """
    if sent.max() < _DARK_SOURCE:
        return "source", ()
    if ruled is None:
        return "", ()
    if ruled.count == 1:
        return "element", ()
    low, high = float(path_difference.min()), float(path_difference.max())
    orders = [m for m in range(math.ceil(low), math.floor(high) + 1) if m]
    wavelengths = [float(np.interp(m, path_difference[::-1], wavelength_m[::-1])) for m in orders]
    missing = [
        m for m, w in zip(orders, wavelengths, strict=True) if element_dark(ruled, float(m), w)
    ]
    passes = interference_factor(path_difference, ruled.count).max() > _PASSES
    cause = "element" if orders or passes else "interference"
    return cause, tuple(missing)


def element_dark(ruled: Ruling, path_difference: float, wavelength_m: float) -> bool:
    """Whether the envelope is dark in that direction at that wavelength."""
    if not math.isfinite(path_difference):
        return False
    every = np.arange(-1000, 1001) / 200.0
    efficiency = float(ruled.efficiency(path_difference, wavelength_m))
    most = float(np.max(ruled.efficiency(every, wavelength_m)))
    return efficiency < _ELEMENT_DARK * most
