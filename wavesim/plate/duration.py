"""How long work would take, asked before it is begun."""

from __future__ import annotations

import logging
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import TypeVar

from wavesim.errors import LimitError

_T = TypeVar("_T")

LONGEST_S = 1800.0  # half an hour of one core
ANNOUNCED_S = 60.0  # from which on an estimate is said before the work is done
_longest_s: ContextVar[float] = ContextVar("longest_s", default=LONGEST_S)
_announced: set[str] = set()  # of this process: members of a study say it once


def require_time(seconds: float, *, what: str, expected: str, key: str = "plate") -> None:
    """Refuse work that one core would be at for more than half an hour, or than `at_most` allows.

    More than a minute is announced, on standard error unless a program listens to the log.

    Raises
    ------
    LimitError
        With the estimate in its message.
    """
    if seconds > _longest_s.get():
        raise LimitError(f"would take about {_text(seconds)} {what}", key=key, expected=expected)
    announce(seconds, what, expected)


def announce(seconds: float, what: str, shorter: str) -> None:
    """Say once that work will take more than a minute, and what would shorten it."""
    if seconds > ANNOUNCED_S and what not in _announced:
        _announced.add(what)
        text = "wavesim: takes about %s %s; shorter with %s"
        logging.getLogger("wavesim").warning(text, _text(seconds), what, shorter)


def announced(items: Sequence[_T], what: str, shorter: str) -> Iterator[_T]:
    """The items of a series; the second tells how long all will take, and that is announced."""
    first_s = 0.0
    begin = time.perf_counter()
    for number, item in enumerate(items):
        spent_s = time.perf_counter() - begin
        if number == 1:
            first_s = spent_s
        elif number == 2:
            announce(first_s + (spent_s - first_s) * (len(items) - 1), what, shorter)
        yield item


@contextmanager
def at_most(seconds: float) -> Iterator[None]:
    """Let nothing in the block take longer; what follows in the same thread alone is judged."""
    token = _longest_s.set(min(seconds, _longest_s.get()))
    try:
        yield
    finally:
        _longest_s.reset(token)


def _text(seconds: float) -> str:
    if seconds < 120:
        return f"{seconds:.0f} seconds"
    if seconds < 7200:
        return f"{seconds / 60:.0f} minutes"
    if seconds < 200_000:
        return f"{seconds / 3600:.0f} hours"
    return f"{seconds / 86400:.3g} days"
