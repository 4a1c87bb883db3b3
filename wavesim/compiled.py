"""Compiled loops: numba's `njit`, kept on disk and fetched from there without its compiler.

Before numba looks into its cache it makes itself ready to compile: it imports its versions of
all of numpy's functions, and scipy's linear algebra with them (0.4 s, where fetching a kernel
takes 5 ms). Here it looks first, and makes ready when nothing is found.

A kernel gains by this only if it is plain loops over arrays that its caller made: one that calls
`np.zeros`, `np.searchsorted` or `np.dot` has numba import its own versions of them all the same.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from typing import Any

from numba import njit
from numba.core.caching import FunctionCache, NullCache
from numba.core.runtime import rtsys

# "contract" alone: a * b + c in one rounding, no other licence
_USUAL = {"nogil": True, "error_model": "numpy", "fastmath": {"contract"}}


def compiled(**options: object) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """`numba.njit` with our usual options where `options` say nothing else, cached on disk."""

    def decorated(function: Callable[..., Any]) -> Callable[..., Any]:
        kernel = njit(**{**_USUAL, **options})(function)
        kernel._cache = _Kept(function)
        return kernel  # type: ignore[no-any-return]

    return decorated


class _Kept:
    """numba's cache of one function, opened when the function is first called."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self._function = function

    @cached_property
    def _cache(self) -> Any:
        try:
            return FunctionCache(self._function)
        except RuntimeError:  # no folder can be written: compiled anew in every process
            return NullCache()

    def load_overload(self, sig: object, target_context: object) -> object:
        """The compiled function for a signature, or None: numba then makes ready by itself."""
        if isinstance(self._cache, NullCache):
            return None
        try:
            fetch, guard = self._cache._load_overload, self._cache._guard_against_spurious_io_errors
        except AttributeError:  # a numba of other inner ways: slower, and right
            return self._cache.load_overload(sig, target_context)
        rtsys.initialize(target_context)  # the memory of arrays, which compiled code links to
        with guard():
            return fetch(sig, target_context)
        return None

    def __getattr__(self, name: str) -> Any:
        return getattr(self._cache, name)
