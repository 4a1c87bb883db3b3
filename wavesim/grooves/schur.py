"""Schur forms beside one another: LAPACK's zgees, called without holding Python's lock.

`scipy.linalg.schur` holds it, since it may call a Python function back; threads then wait for one
another. The routine is the same, taken from `scipy.linalg.cython_lapack`.
"""

from __future__ import annotations

import ctypes
from functools import cache
from typing import Any

import numpy as np

from wavesim.arrays import Complexes
from wavesim.errors import ComputationError

_ARGUMENTS = 15  # arguments of zgees


@cache
def _zgees() -> Any:
    """The routine; its arguments are all pointers, its integers of 32 bits."""
    from scipy.linalg import cython_lapack

    capsule = cython_lapack.__pyx_capi__["zgees"]
    python = ctypes.pythonapi
    python.PyCapsule_GetName.restype = ctypes.c_char_p
    python.PyCapsule_GetName.argtypes = [ctypes.py_object]
    python.PyCapsule_GetPointer.restype = ctypes.c_void_p
    python.PyCapsule_GetPointer.argtypes = [ctypes.py_object, ctypes.c_char_p]
    address = python.PyCapsule_GetPointer(capsule, python.PyCapsule_GetName(capsule))
    return ctypes.CFUNCTYPE(None, *[ctypes.c_void_p] * _ARGUMENTS)(address)


def schur_form(matrix: Complexes) -> tuple[Complexes, Complexes]:
    """T upper triangular and Z unitary (n, n) with Z T Z^H the matrix, in Fortran's order.

    Raises
    ------
    ComputationError
        The iteration does not converge.
    """
    n = matrix.shape[0]
    triangle = np.array(matrix, dtype=np.complex128, order="F")
    vectors = np.empty((n, n), dtype=np.complex128, order="F")
    values, work = np.empty(n, dtype=np.complex128), np.empty(40 * n, dtype=np.complex128)
    real, flags = np.empty(n), np.empty(n, dtype=np.int32)
    size, length, chosen, info = (np.array([k], dtype=np.int32) for k in (n, work.size, 0, 0))
    letters = np.frombuffer(b"VN", dtype=np.uint8)  # with vectors, not sorted
    first: list[np.ndarray] = [letters[:1], letters[1:]]
    rest: list[np.ndarray] = [size, triangle, size, chosen, values, vectors, size, work, length]
    rest += [real, flags, info]
    no_choice = None
    _zgees()(*(a.ctypes.data for a in first), no_choice, *(a.ctypes.data for a in rest))
    if info[0]:
        raise ComputationError("the modes of the grooves were not found: an iteration failed")
    return triangle, vectors
