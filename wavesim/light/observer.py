"""Standard observers: colour-matching functions by name.

Sources: ISO/CIE 11664-1 (CIE 1931, 2 degrees, and CIE 1964, 10 degrees) and CIE 170-2:2015 (from
cone fundamentals, 2 and 10 degrees), 1 nm tables as colour-science 0.4.7 carries them.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wavesim.errors import one_of
from wavesim.light.shipped import DATA, curves

OBSERVERS = ("cie1931_2deg", "cie1964_10deg", "cie2015_2deg", "cie2015_10deg")


@cache
def observer(name: str = "cie1931_2deg") -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Colour-matching functions x, y, z of an observer at 1 nm from 360 to 830 nm.

    The CIE 2015 functions are zero below 390 nm, where the CIE gives none. Only the CIE 1931
    observer's y makes photometric lux.

    Returns
    -------
    wavelength_m : (471,) array [m]
        In air. The arrays are shared between callers and cannot be written to.
    cmf : (471, 3) array [1]
        x, y and z.

    Raises
    ------
    InputError
        An unknown name; the message lists those there are.
    """
    one_of("observer", name, OBSERVERS, "observer")
    return curves(DATA / f"{name}.csv")


def cie1931() -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The CIE 1931 2-degree observer; y is V(lambda), the luminous efficiency."""
    return observer()


def colour_matching(wavelength_m: ArrayLike) -> NDArray[np.float64]:
    """x, y and z (..., 3) of CIE 1931 at any air wavelengths (...) [m]."""
    return straight_between(*cie1931(), wavelength_m)


def straight_between(
    table_m: NDArray[np.float64], curves_at: NDArray[np.float64], wavelength_m: ArrayLike
) -> NDArray[np.float64]:
    """Curves (n, c) at any wavelengths (...): straight between points, zero beyond the ends."""
    position = np.asarray(wavelength_m, dtype=np.float64)
    return np.stack(
        [np.interp(position, table_m, curve, 0.0, 0.0) for curve in curves_at.T], axis=-1
    )
