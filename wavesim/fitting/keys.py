"""Free keys of a scene: which are fitted, between which limits, and as which numbers.

A quantity above zero is searched as its logarithm, so that a factor of two is the same step for a
slit and for a focal length; a count is searched over whole numbers; all else as it is.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from typing import Any

from wavesim.ensemble.members import quantity, si
from wavesim.ensemble.plan import Value
from wavesim.errors import InputError, WavesimError
from wavesim.scene import Scene
from wavesim.scene.units import SI_UNITS, UnitError, measure

_RANGE = 2.5  # a value of the scene is searched from 1 / 2.5 to 2.5 times itself
_WHOLE = ("count", "sides")


@dataclass(frozen=True)
class FreeKey:
    """A key to fit.

    Attributes
    ----------
    key : dotted, as in the scene file
    start, low, high : [SI] the scene's value, and the range searched
    unit : SI unit, "" of plain numbers
    whole : whether only whole numbers are allowed
    logarithmic : whether it is searched as its logarithm
    """

    key: str
    start: float
    low: float
    high: float
    unit: str
    whole: bool

    @property
    def of_error(self) -> bool:
        """Whether it belongs to a ruling error."""
        return self.key.startswith("aperture.defects.")

    @property
    def is_error_period(self) -> bool:
        """Whether it is the period of one."""
        return self.of_error and self.key.endswith(".period")

    @property
    def logarithmic(self) -> bool:
        """Quantities above zero."""
        return self.low > 0 and not self.whole

    def inner(self, value: float) -> float:
        """The number that a search moves."""
        return math.log(value) if self.logarithmic else value

    def outer(self, number: float) -> float:
        """The key's value [SI] for such a number."""
        return math.exp(number) if self.logarithmic else number

    def as_in_file(self, value: float) -> Value:
        """A value [SI] as a scene file has it."""
        return round(value) if self.whole else quantity(float(value), self.unit)


def free_key(scene: Scene, text: str) -> FreeKey:
    """A free key from "aperture.width" or "aperture.width=20 um..60 um".

    Raises
    ------
    InputError
        The scene's file has no such key, it holds no number, or the range is none.
    """
    key, _, limits = (part.strip() for part in text.partition("="))
    given = _given(scene, key)
    start, unit = _number(key, given), _unit(given)
    last = key.rpartition(".")[2]
    whole = (isinstance(given, int) or last in _WHOLE) and last != "period"
    if limits:
        low, high = _limits(key, limits, unit)
    elif whole:
        low, high = max(1.0, math.floor(start / _RANGE)), math.ceil(start * _RANGE)
    elif start > 0:
        low, high = start / _RANGE, start * _RANGE
    else:
        raise InputError(
            "is zero or negative, so no range follows from it",
            key=key,
            value=given,
            expected=f'a range, such as "{key}=-1 mm..1 mm"',
        )
    return FreeKey(key, min(max(start, low), high), low, high, unit, whole)


def check_keys(scene: Scene, keys: tuple[FreeKey, ...]) -> None:
    """Refuse a key given twice, and a range whose ends the scene does not take.

    Raises
    ------
    InputError
        As said.
    """
    names = [key.key for key in keys]
    for name in names:
        if names.count(name) > 1:
            raise InputError("is free twice", key=name, expected="each key once")
    for key in keys:
        try:
            scene.but({key.key: key.as_in_file(key.start)})
        except WavesimError as error:
            raise InputError(f"cannot be varied: {error}", key=key.key) from None


def changed(scene: Scene, keys: tuple[FreeKey, ...], values: tuple[float, ...]) -> Scene:
    """The scene with values [SI] of its free keys."""
    named = {key.key: key.as_in_file(v) for key, v in zip(keys, values, strict=True)}
    return scene.but(named) if named else scene


def _given(scene: Scene, key: str) -> Any:
    node: Any = tomllib.loads(scene.text)
    for part in key.split("."):
        if isinstance(node, list) and part.isdigit() and int(part) < len(node):
            node = node[int(part)]
        elif isinstance(node, dict) and part in node:
            node = node[part]
        else:
            known = ", ".join(node) if isinstance(node, dict) else "numbers of its entries"
            raise InputError(
                "is not given in the scene, so there is no start value",
                key=key,
                value=part,
                expected=f"one of {known}",
            )
    return node


def _number(key: str, given: Any) -> float:
    if isinstance(given, bool) or not isinstance(given, str | int | float):
        raise InputError(
            "is not a number to fit",
            key=key,
            value=given,
            expected="a key with a number or a quantity",
        )
    found = si(given)
    if isinstance(found, str):
        raise InputError("is not a number to fit", key=key, value=given, expected="a quantity")
    return found


def _unit(given: Any) -> str:
    return SI_UNITS.get(measure(given).dimension, "") if isinstance(given, str) else ""


def _limits(key: str, text: str, unit: str) -> tuple[float, float]:
    ends = [part.strip() for part in text.split("..")]
    try:
        numbers = [measure(end).value if unit else float(end) for end in ends]
    except (UnitError, ValueError):
        numbers = []
    if len(numbers) != 2 or not numbers[0] < numbers[1]:
        raise InputError(
            "is not a range",
            key=key,
            value=text,
            expected="two increasing limits, such as 20 um..60 um"
            if unit
            else "two increasing limits, such as 2..9",
        )
    return numbers[0], numbers[1]
