"""Parameters of tests: some for every day, the others for the whole suite."""

from __future__ import annotations

from collections.abc import Collection, Iterable
from typing import Any

import pytest


def slow_beyond(everyday: int, values: Iterable[Any]) -> list[Any]:
    """All values, those after the first few marked slow."""
    return _marked(enumerate(values), range(everyday))


def slow_but(everyday: Collection[Any], values: Iterable[Any]) -> list[Any]:
    """All values, those that are not among the everyday ones marked slow."""
    return _marked(((value, value) for value in values), everyday)


def _marked(keyed: Iterable[tuple[Any, Any]], everyday: Collection[Any]) -> list[Any]:
    slow = pytest.mark.slow
    return [v if k in everyday else pytest.param(*_parts(v), marks=slow) for k, v in keyed]


def _parts(value: Any) -> tuple[Any, ...]:
    """The values of several names are a tuple."""
    return value if isinstance(value, tuple) else (value,)
