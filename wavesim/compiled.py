"""Compiled loops: numba's `njit`, kept on disk and fetched from there without its compiler.

Before numba looks into its cache it makes itself ready to compile: it imports its versions of
all of numpy's functions, and scipy's linear algebra with them (0.4 s, where fetching a kernel
takes 5 ms). Here it looks first, and makes ready when nothing is found.

A kernel gains by this only if it is plain loops over arrays that its caller made: one that calls
`np.zeros`, `np.searchsorted` or `np.dot` has numba import its own versions of them all the same.

A file of the cache that is cut short, damaged, of another program or open to other users' writing
is a miss: the kernel is compiled and stored anew. Where it cannot be stored the run goes on.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import stat
from collections.abc import Callable
from contextlib import suppress
from functools import cached_property
from pathlib import Path
from typing import Any

from numba import njit
from numba.core.caching import FunctionCache, IndexDataCacheFile, NullCache
from numba.core.runtime import rtsys

from wavesim.files import report_full_disk

# "contract" alone: a * b + c in one rounding, no other licence
_USUAL = {"nogil": True, "error_model": "numpy", "fastmath": {"contract"}}


def compiled(**options: object) -> Callable[[Callable[..., Any]], Callable[..., Any]]:
    """`numba.njit` with our usual options where `options` say nothing else, cached on disk."""

    def decorated(function: Callable[..., Any]) -> Callable[..., Any]:
        kernel = njit(**{**_USUAL, **options})(function)
        kernel._cache = _Stored(function)
        return kernel  # type: ignore[no-any-return]

    return decorated


class _Sealed(IndexDataCacheFile):  # type: ignore[misc]
    """numba's files of one function, each with a digest that is checked before it is read."""

    _SEAL = 32  # bytes at the end

    def _load_index(self) -> dict[Any, str]:
        content = self._unsealed(self._index_path)
        if content is None:
            return {}
        version, stamp, overloads = pickle.loads(content)
        fresh = (version, stamp) == (self._version, self._source_stamp)
        return dict(overloads) if fresh else {}

    def _save_index(self, overloads: dict[Any, str]) -> None:
        self._seal(self._index_path, (self._version, self._source_stamp, overloads))

    def _load_data(self, name: str) -> Any:
        content = self._unsealed(self._data_path(name))
        return None if content is None else pickle.loads(content)

    def _save_data(self, name: str, data: object) -> None:
        self._seal(self._data_path(name), data)

    def _seal(self, path: str, data: object) -> None:
        content = self._dump(data)
        with self._open_for_write(path) as stream:
            stream.write(content + hashlib.sha256(content).digest())

    def _unsealed(self, path: str) -> bytes | None:
        """What a file holds; None where there is none, or one that is not to be trusted."""
        if not _ours(Path(path)):
            return None
        whole = Path(path).read_bytes()
        content, seal = whole[: -self._SEAL], whole[-self._SEAL :]
        return content if hashlib.sha256(content).digest() == seal else None


def _ours(path: Path) -> bool:
    """Whether a regular file is there that this user, the package's owner or root alone may write.

    What numba stores is code, which runs when it is read.
    """
    owners = {0, Path(__file__).stat().st_uid}
    if hasattr(os, "geteuid"):
        owners.add(os.geteuid())
    try:
        states = path.stat(), path.parent.stat()
    except OSError:
        return False
    safe = all(s.st_uid in owners and not s.st_mode & stat.S_IWOTH for s in states)
    return safe and stat.S_ISREG(states[0].st_mode)


class _Stored:
    """numba's cache of one function, opened when the function is first called."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self._function = function

    @cached_property
    def _cache(self) -> Any:
        try:
            cache = FunctionCache(self._function)
        except Exception:  # no folder can be written: compiled anew in every process
            return NullCache()
        with suppress(AttributeError):  # a numba of other inner ways: as it does it
            usual = cache._cache_file
            base = usual._index_name.removesuffix(".nbi")
            cache._cache_file = _Sealed(usual._cache_path, base, usual._source_stamp)
        return cache

    def load_overload(self, sig: object, target_context: object) -> object:
        """The compiled function for a signature, or None: numba then makes ready by itself."""
        if isinstance(self._cache, NullCache):
            return None
        try:
            fetch = self._cache._load_overload
        except AttributeError:  # a numba of other inner ways: slower, and right
            fetch = self._cache.load_overload
        rtsys.initialize(target_context)  # the memory of arrays, which compiled code links to
        try:
            return fetch(sig, target_context)
        except Exception:  # whatever is wrong with a file, it is a miss
            with suppress(Exception):
                self._cache.flush()
        return None

    def save_overload(self, sig: object, data: object) -> None:
        """Store a compiled function, if it can be stored."""
        try:
            self._cache.save_overload(sig, data)
        except Exception as error:
            path = getattr(self._cache, "cache_path", Path(__file__).parent)
            report_full_disk("compiled kernels", Path(path), error)

    def __getattr__(self, name: str) -> Any:
        return getattr(self._cache, name)
