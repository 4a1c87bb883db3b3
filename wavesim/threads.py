"""Sharing rows of work between threads."""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor

import numpy as np

_FEW = 16  # rows not worth a second thread


def in_threads(work: Callable[[slice], object], count: int) -> None:
    """Call work(slice) on parts of 0 .. count, one for each processor.

    For kernels that release the interpreter lock and whose rows do not depend on one another,
    so that the result is the same to the bit for any number of threads.
    """
    parts = min(os.cpu_count() or 1, 8) if count >= _FEW else 1
    edges = np.linspace(0, count, parts + 1).astype(int).tolist()
    if parts == 1:
        work(slice(0, count))
        return
    with ThreadPoolExecutor(max_workers=parts) as pool:
        list(pool.map(work, map(slice, edges[:-1], edges[1:])))
