"""Where a function crosses zero."""

from __future__ import annotations

from collections.abc import Callable


def falling_root(function: Callable[[float], float], low: float, high: float) -> float:
    """Where a function that is above zero at `low` and not at `high` is zero [unit of those].

    By bisection to the last bit: some fifty calls, and no derivative.
    """
    for _ in range(200):
        middle = (low + high) / 2
        if middle in (low, high):
            break
        if function(middle) > 0:
            low = middle
        else:
            high = middle
    return (low + high) / 2
