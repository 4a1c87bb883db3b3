"""The types of arrays that stages hand to one another."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Complexes = npt.NDArray[np.complex128]
Indices = npt.NDArray[np.intp]
Flags = npt.NDArray[np.bool_]
