"""How a study of many equal pieces of work is carried out: here, or by other processes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from typing import Protocol, TypeVar

Given = TypeVar("Given")
Found = TypeVar("Found")


class Mapping(Protocol):
    """As the builtin `map`: results in the order of the items, an item's error raised in turn."""

    def __call__(
        self, function: Callable[[Given], Found], items: Iterable[Given], /
    ) -> Iterator[Found]:
        """Yield function(item) of each item."""


def in_turn(function: Callable[[Given], Found], items: Iterable[Given], /) -> Iterator[Found]:
    """One after the other in this process, each when its result is asked for."""
    return map(function, items)
