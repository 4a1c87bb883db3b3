"""Standard observers by name."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wavesim.errors import one_of
from wavesim.light.observer import cie1931
from wavesim.light.shipped import curves

Array = NDArray[np.float64]

# ISO/CIE 11664-1, and CIE 170-2:2015 (cone-fundamental based, tabled from 390 nm)
OBSERVERS = ("cie1931_2deg", "cie1964_10deg", "cie2015_2deg", "cie2015_10deg")


@cache
def observer(name: str = "cie1931_2deg") -> tuple[Array, Array]:
    """Wavelengths (471,) [m], 360 to 830 nm by 1 nm in air, and x, y, z (471, 3) [1].

    The CIE 2015 functions are zero below 390 nm, where the CIE gives none. Only the CIE 1931
    observer makes photometric lux; with another the picture is for comparison.

    Raises
    ------
    InputError
        An unknown name; the message lists those there are.
    """
    if name == "cie1931_2deg":
        return cie1931()
    one_of("observer", name, OBSERVERS, "observer")
    return curves(Path(__file__).parent / "data" / f"{name}.csv")
