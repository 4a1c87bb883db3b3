"""The CIE 1931 2-degree standard observer.

Source: ISO/CIE 11664-1, the 1 nm table as colour-science 0.4.7 carries it.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wavesim.light.shipped import DATA, curves


@lru_cache(maxsize=1)
def cie1931() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Colour-matching functions x, y, z at 1 nm from 360 to 830 nm.

    Returns
    -------
    wavelength_m : (471,) array [m]
        In air. The arrays are shared between callers and cannot be written to.
    cmf : (471, 3) array [1]
        x, y and z. y is V(lambda), the luminous efficiency.
    """
    return curves(DATA / "cie1931_2deg.csv")


def colour_matching(wavelength_m: ArrayLike) -> NDArray[np.float64]:
    """x, y and z (..., 3) at any air wavelengths (...) [m]: the table read as straight between
    its whole nanometres, and zero beyond its ends."""
    (table_m, cmf), at = cie1931(), np.asarray(wavelength_m, dtype=np.float64)
    return np.stack([np.interp(at, table_m, curve, 0.0, 0.0) for curve in cmf.T], axis=-1)
