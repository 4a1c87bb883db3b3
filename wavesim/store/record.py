"""Frozen dataclasses as JSON and back, exactly.

Python writes a float with the digits that read back to the same bits, and NaN and the infinities
by name, so the record returns as it went.
"""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Mapping, Sequence
from dataclasses import fields, is_dataclass

import numpy as np

_MOST_INTEGER = 2**53  # beyond, an integer is not one of our floats

T = typing.TypeVar("T")
Plain = None | bool | int | float | str | list["Plain"] | dict[str, "Plain"]


def dumps(value: object) -> str:
    """JSON text of a dataclass, or of numbers, strings, arrays, lists and mappings of them."""
    return json.dumps(plain(value), indent=1, ensure_ascii=False)


def plain(value: object) -> Plain:
    """The same content in dicts, lists, strings and numbers only."""
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, np.ndarray | np.generic):
        return plain(value.tolist())
    if isinstance(value, int | float):
        return value
    if is_dataclass(value):
        return {field.name: plain(getattr(value, field.name)) for field in fields(value)}
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, Sequence):
        return [plain(item) for item in value]
    raise TypeError(f"a {type(value).__name__} has no place in a record")


def build(kind: type[T], value: object) -> T:
    """The value of type `kind` that `plain` made `value` of.

    Raises ValueError where they do not fit.
    """
    return typing.cast(T, _build(kind, value))


def _build(kind: object, value: object) -> object:
    origin, arguments = typing.get_origin(kind), typing.get_args(kind)
    if origin in (typing.Union, types.UnionType):
        return _first_that_fits(arguments, value)
    if isinstance(kind, type) and is_dataclass(kind):
        return _dataclass(kind, value)
    if origin is tuple:
        return _tuple(arguments, value)
    if isinstance(origin, type) and issubclass(origin, Mapping):
        key, item = arguments
        return {_build(key, k): _build(item, v) for k, v in _mapping(value).items()}
    if origin is np.ndarray:
        return np.array(value, dtype=np.float64)
    return _leaf(kind, value)


def _dataclass(kind: type, value: object) -> object:
    content, hints = _mapping(value), typing.get_type_hints(kind)
    names = {field.name for field in fields(kind) if field.init}
    if unknown := set(content) - names:
        raise ValueError(f"unknown entry {sorted(unknown)[0]!r} in a {kind.__name__}")
    parts = {name: _build(hints[name], content[name]) for name in names if name in content}
    try:
        return kind(**parts)
    except TypeError as error:  # a field without default is missing
        raise ValueError(str(error)) from error


def _tuple(arguments: tuple[object, ...], value: object) -> tuple[object, ...]:
    if not isinstance(value, list):
        raise ValueError(f"a list was expected, not {value!r:.40}")
    if arguments[-1] is Ellipsis:
        return tuple(_build(arguments[0], item) for item in value)
    if len(arguments) != len(value):
        raise ValueError(f"{len(arguments)} entries were expected, not {len(value)}")
    return tuple(_build(kind, item) for kind, item in zip(arguments, value, strict=True))


def _first_that_fits(kinds: tuple[object, ...], value: object) -> object:
    for kind in kinds:
        try:
            return _build(kind, value)
        except ValueError:
            continue
    raise ValueError(f"{value!r:.40} is not one of {kinds}")


def _mapping(value: object) -> Mapping[str, object]:
    if not isinstance(value, dict):
        raise ValueError(f"a mapping was expected, not {value!r:.40}")
    return value


def _leaf(kind: object, value: object) -> object:
    if kind is float and isinstance(value, int | float) and not isinstance(value, bool):
        if abs(value) > _MOST_INTEGER and isinstance(value, int):
            raise ValueError(f"{value!r:.40} is too large a number")
        return value
    if kind is types.NoneType and value is None:
        return None
    if isinstance(kind, type) and type(value) is kind:
        return value
    raise ValueError(f"{value!r:.40} does not fit {kind}")
