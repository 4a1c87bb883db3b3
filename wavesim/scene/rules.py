"""Rules that several tables of a scene share: keys that exclude or need each other, sizes that fit.

Each raises a `PydanticCustomError` that names the key to change.
"""

from __future__ import annotations

import math
from collections.abc import Mapping

from pydantic_core import PydanticCustomError

from wavesim.scene.quantities import show, validation_error

SLACK = 1e-9  # relative; spares lengths that differ by rounding alone


def not_both(choices: Mapping[str, object]) -> None:
    """Refuse the second of two keys where both are given; None is not given."""
    first, second = choices
    if choices[first] is not None and choices[second] is not None:
        raise validation_error(
            f"cannot be combined with {first}",
            key=second,
            expected=f"{first} or {second}, not both",
        )


def exactly_one(choices: Mapping[str, object], example: str) -> None:
    """Refuse two keys where both are given, or neither."""
    not_both(choices)
    first, second = choices
    if choices[first] is None and choices[second] is None:
        raise validation_error(f"is missing, and so is {second}", key=first, expected=example)


def both_or_none(choices: Mapping[str, object], example: str) -> bool:
    """Whether two keys that need each other are given; refuses one alone."""
    missing = [key for key, value in choices.items() if value is None]
    if len(missing) == 1:
        (given,) = choices.keys() - set(missing)
        raise validation_error(f"is missing: {given} needs it", key=missing[0], expected=example)
    return not missing


def size_error(
    key: str, length_m: float, problem: str, other_m: float, expected: str
) -> PydanticCustomError:
    """The error that a length does not fit another; `problem` leads up to the other."""
    return validation_error(
        f"{problem} {show(other_m, 'length')}",
        key=key,
        value=show(length_m, "length"),
        expected=expected,
    )


def fitting(length_m: float, step_m: float) -> int:
    """How many whole steps fit: "60 mm" / "10 um" is 6000 although the floats divide to less."""
    return math.floor(length_m / step_m * (1 + SLACK))
