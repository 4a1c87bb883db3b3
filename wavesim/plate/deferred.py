"""Arrays of a result that are computed when they are first looked at."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar, cast

from wavesim.arrays import Floats

_C = TypeVar("_C", bound=type)


def deferred(*names: str) -> Callable[[_C], _C]:
    """Let fields of a dataclass be given as `later(function)`, which is called at the first look.

    What few ask for and takes long is handed on from result to result (`raw`) at no cost.
    """

    def decorated(cls: _C) -> _C:
        for name in names:
            setattr(cls, name, _Deferred(name))
        return cls

    return decorated


def later(make: Callable[[], Floats]) -> Floats:
    """A field that `make`() finds when it is first read."""
    return cast(Floats, make)


def raw(instance: object, name: str) -> Any:
    """A field as it was given: its value, or the function that makes it."""
    return vars(instance)[name]


class _Deferred:
    """The array of a field; once made it cannot be written to."""

    def __init__(self, name: str) -> None:
        self._name = name

    def __get__(self, instance: object, owner: type | None = None) -> Any:
        if instance is None:
            return self
        value = vars(instance)[self._name]
        if callable(value):
            value = value()
            value.flags.writeable = False
            vars(instance)[self._name] = value
        return value

    def __set__(self, instance: object, value: Any) -> None:
        vars(instance)[self._name] = value
