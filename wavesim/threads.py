"""Sharing rows of work between threads, and keeping forks out of work that holds locks."""

from __future__ import annotations

import importlib
import os
import sys
import threading
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import ThreadPoolExecutor, wait
from contextlib import AbstractContextManager, contextmanager, nullcontext
from functools import lru_cache
from typing import TypeVar

import numpy as np

_FEW = 16  # rows not worth a second thread
_MOST = 8  # threads that work at a time
_I = TypeVar("_I")
_R = TypeVar("_R")
_alone = threading.local()


@contextmanager
def one_thread() -> Iterator[None]:
    """Work of this thread is not shared out further: many do such work at once already."""
    before = getattr(_alone, "alone", False)
    _alone.alone = True
    try:
        yield
    finally:
        _alone.alone = before


def in_threads(work: Callable[[slice], object], count: int, *, few: int = _FEW) -> None:
    """Call work(slice) on parts of 0 .. count, one for each processor.

    For kernels that release the interpreter lock and whose rows do not depend on one another,
    so that the result is the same to the bit for any number of threads. Less than `few` rows are
    not worth a second thread.
    """
    parts = 1 if count < few else workers()
    edges = np.linspace(0, count, parts + 1).astype(int).tolist()
    each(work, list(map(slice, edges[:-1], edges[1:])))


def each(work: Callable[[_I], _R], items: Sequence[_I], *, most: int = _MOST) -> list[_R]:
    """[work(item) for item in items], by this thread and others, `most` of them at a time.

    For work that releases the interpreter lock. The threads are kept for the next call. Work
    that shares itself out again does so on its own thread alone.
    """
    results: dict[int, _R] = {}
    waiting = iter(range(len(items)))

    def take() -> None:
        with one_thread():
            for k in waiting:
                results[k] = work(items[k])

    others = [_pool().submit(take) for _ in range(min(workers(), most, len(items)) - 1)]
    try:
        take()
    finally:
        for _ in waiting:  # nothing is begun any more where work failed
            pass
        wait([other for other in others if not other.cancel()])
    for other in others:
        if not other.cancelled():
            other.result()
    return [results[k] for k in range(len(items))]


def workers() -> int:
    """Threads that work of this thread is shared out to."""
    return 1 if getattr(_alone, "alone", False) else min(os.cpu_count() or 1, _MOST)


@lru_cache(maxsize=1)
def _pool() -> ThreadPoolExecutor:
    return ThreadPoolExecutor(max_workers=_MOST, thread_name_prefix="wavesim")


class _OneBlasThread:
    """Linear algebra without threads of its own while any thread is inside; then as before."""

    def __init__(self) -> None:
        self.begin()

    def begin(self) -> None:
        """Nobody is inside."""
        self._lock = threading.Lock()
        self._inside = 0
        self._limit: AbstractContextManager[object] = nullcontext()

    def enter(self) -> None:
        from threadpoolctl import threadpool_limits

        importlib.import_module("scipy.linalg")  # a library loaded later would not be limited
        with self._lock:
            if not self._inside:
                self._limit = threadpool_limits(limits=1, user_api="blas")
                self._limit.__enter__()
            self._inside += 1

    def leave(self) -> None:
        with self._lock:
            self._inside -= 1
            if not self._inside:
                self._limit.__exit__(None, None, None)


_blas = _OneBlasThread()
if hasattr(os, "register_at_fork"):  # a child begins outside, whatever its parent was at
    os.register_at_fork(after_in_child=_blas.begin)


@contextmanager
def one_blas_thread() -> Iterator[None]:
    """Matrices are worked on by the calling thread alone, in numpy and scipy.

    For small matrices in many threads: with two threads to each, rigorous efficiencies take eight
    times as long. The limit is the process's while it lasts (threadpoolctl).
    """
    _blas.enter()
    try:
        yield
    finally:
        _blas.leave()


def _loaded(library: str) -> bool:
    """Whether a library has been imported to its end."""
    spec = getattr(sys.modules.get(library), "__spec__", None)
    return spec is not None and not getattr(spec, "_initializing", False)


class _Gate:
    """Lets work in, and forks only while no other thread is at work.

    A process forked while a thread compiles a kernel or plans a transform inherits the locks that
    this thread holds and nobody to release them: its own work would wait for ever.
    """

    def __init__(self) -> None:
        self._begin(Counter())
        self._ahead_of_h5py = _loaded("h5py")

    def _begin(self, inside: Counter[int]) -> None:
        self._free = threading.Condition()
        self._inside = inside  # depth of work of each thread
        self._forking = 0

    def watch_forks(self) -> None:
        """Wait before every fork, and before all handlers registered until now."""
        if hasattr(os, "register_at_fork"):
            os.register_at_fork(
                before=self.before_fork,
                after_in_parent=self.after_in_parent,
                after_in_child=self.after_in_child,
            )

    def enter(self) -> None:
        me = threading.get_ident()
        with self._free:
            while self._forking and not self._inside[me]:
                self._free.wait()
            self._inside[me] += 1
            if not self._forking and _loaded("h5py") and not self._ahead_of_h5py:
                # the last registered runs first: h5py locks itself before a fork, and work that
                # clears an array of its away would wait for that lock, and the fork for the work
                self._ahead_of_h5py = True
                self.watch_forks()

    def leave(self) -> None:
        me = threading.get_ident()
        with self._free:
            self._inside[me] -= 1
            if not self._inside[me]:
                del self._inside[me]
                self._free.notify_all()

    def before_fork(self) -> None:
        """Keep new work out, and wait for that of other threads to end."""
        me = threading.get_ident()
        with self._free:
            self._forking += 1
            while any(thread != me for thread in self._inside):
                self._free.wait()
        self._free.acquire()

    def after_in_parent(self) -> None:
        if not self._forking:  # registered while the fork had begun already
            return
        self._forking -= 1
        self._free.notify_all()
        self._free.release()

    def after_in_child(self) -> None:
        me = threading.get_ident()
        _pool.cache_clear()  # its threads are the parent's
        self._begin(Counter({me: self._inside[me]} if me in self._inside else {}))


_gate = _Gate()
_gate.watch_forks()


@contextmanager
def working() -> Iterator[None]:
    """Work that holds locks of libraries: a fork waits until it has ended in other threads."""
    _gate.enter()
    try:
        yield
    finally:
        _gate.leave()
