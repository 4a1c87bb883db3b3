"""One line of the table, and how it is timed."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import dataclass


@dataclass(frozen=True)
class Row:
    """What was measured, against what, and what was to be reached."""

    what: str
    measured: str
    against: str
    reach: str
    met: bool


def median_seconds(work: Callable[[], object], runs: int = 7) -> float:
    """Median wall time of a call once warm [s]."""
    work()
    times = []
    for _ in range(runs):
        begin = time.perf_counter()
        work()
        times.append(time.perf_counter() - begin)
    return statistics.median(times)


def taken_in_turn(
    first: Callable[[], object], second: Callable[[], object], runs: int = 7
) -> tuple[float, float]:
    """Medians of two calls timed alternately, so that a drifting machine hits both alike [s]."""
    first()
    second()
    times: tuple[list[float], list[float]] = ([], [])
    for _ in range(runs):
        for work, seconds in zip((first, second), times, strict=True):
            begin = time.perf_counter()
            work()
            seconds.append(time.perf_counter() - begin)
    return statistics.median(times[0]), statistics.median(times[1])
