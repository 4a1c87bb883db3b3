"""The types of arrays that stages hand to one another, and arrays that none may change."""

from __future__ import annotations

from typing import Any

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Indices = npt.NDArray[np.intp]
Integers = npt.NDArray[np.int64]
Offsets = npt.NDArray[np.int32]  # of characters in one text
Flags = npt.NDArray[np.bool_]
Picture = npt.NDArray[np.uint8 | np.uint16]  # as it is written
Samples = npt.NDArray[Any]  # of a picture as it is read or given: whole numbers or floats


def frozen(values: Floats) -> Floats:
    """The same numbers, shared, in an array that cannot be written to."""
    view = values.view()
    view.flags.writeable = False
    return view
