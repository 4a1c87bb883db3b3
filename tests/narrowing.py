"""Values of which a test knows more than their declared type says."""

from __future__ import annotations

from typing import TypeVar

T = TypeVar("T")


def known(value: T | None) -> T:
    """The value, which is not None."""
    assert value is not None
    return value


def of_kind(kind: type[T], value: object) -> T:
    """The value, which is of that class."""
    assert isinstance(value, kind)
    return value
