"""The kinds of value that a scene holds: lengths, angles, times ... as SI floats.

A file must give each with its unit ("40 um"). Python code may also give the SI number itself.
Every refusal is a `PydanticCustomError` whose context carries `problem` and `expected`, which
`wavesim.scene.messages` turns into one sentence.
"""

from __future__ import annotations

import math
import operator
import re
from dataclasses import dataclass
from typing import Annotated, SupportsIndex

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, PydanticCustomError, core_schema

from wavesim.constants import VISIBLE_HI_M, VISIBLE_LO_M
from wavesim.scene.units import Measured, UnitError, measure

FROM_FILE = {"file": True}  # validation context that marks a scene file

# for editors: a number, perhaps a fraction, then something that may be a unit
_UNIT_PATTERN = r"^\s*[-+−]?[0-9.][-+0-9.eE/ ]*\s*[A-Za-zµμÅ°%/].*$"


def validation_error(
    problem: str,
    *,
    expected: str | None = None,
    key: str | None = None,
    value: object = None,
    example: str | None = None,
) -> PydanticCustomError:
    """The error that validators raise.

    `key` (dotted) is relative to the model at hand; `value` stands for what was given, where
    that reads better; `example` within `expected` gives way to the field's own.
    """
    context: dict[str, object] = {"problem": problem, "expected": expected, "key": key}
    if value is not None:
        context["value"] = value
    if example is not None:
        context["example"] = example
    return PydanticCustomError("wavesim", "{problem}", context)


_ROUNDING = 1e-12  # of a limit, which units turned into others may miss it by


@dataclass(frozen=True)
class Quantity:
    """Reads a value of one dimension; limits are in SI and inclusive unless `above_low`."""

    dimension: str
    example: str
    low: float
    high: float
    above_low: bool = False

    def read(self, value: object, info: core_schema.ValidationInfo) -> float:
        """Any value -> SI float, or a validation error."""
        if isinstance(value, str):
            number = self._from_text(value)
        elif isinstance(value, bool) or not hasattr(value, "__float__"):
            raise self.refuse(f"is not {a(self.dimension)}")
        elif in_file(info) and self.needs_unit:
            raise self.refuse(f"is a bare number where {a(self.dimension)} with its unit belongs")
        else:
            number = _float(value)
        return self.within(number)

    @property
    def needs_unit(self) -> bool:
        """Whether a file must give a unit (a plain fraction need not)."""
        return self.dimension != "fraction"

    def refuse(self, problem: str) -> PydanticCustomError:
        """A validation error that ends with what would be right."""
        expected = f'{a(self.dimension)} such as "{self.example}"'
        if not self.needs_unit:
            expected = f'a number {self.range}, or "{self.example}"'
        return validation_error(problem, expected=expected, example=self.example)

    def _from_text(self, text: str) -> float:
        try:
            found = measure(text)
        except UnitError as error:
            raise self.refuse(str(error)) from None
        if found.dimension != self.dimension:
            problem = f"is {_what(found)} where {a(self.dimension)} belongs"
            raise self.refuse(problem)
        return found.value

    def within(self, number: float) -> float:
        """The number, or a validation error if it is out of range."""
        if not math.isfinite(number):
            raise self.refuse("is not a finite number")
        if number <= 0 < self.low or (number == 0 and self.above_low):
            raise self.refuse("is not above zero")
        if number < 0 == self.low:
            raise self.refuse("is negative")
        low, high = (limit * (1 + _ROUNDING * sign * math.copysign(1, limit))
                     for limit, sign in ((self.low, -1), (self.high, 1)))  # fmt: skip
        if number < low or (self.above_low and number <= self.low) or number > high:
            expected = f"{a(self.dimension)} {self.range}"
            if not self.needs_unit:
                expected += f', or a text such as "{self.example}"'
            raise validation_error("is out of range", expected=expected, example=self.example)
        return min(max(number, self.low), self.high)

    @property
    def range(self) -> str:
        """The allowed range in words."""
        low, high = show(self.low, self.dimension), show(self.high, self.dimension)
        return f"above zero, up to {high}" if self.above_low else f"from {low} to {high}"

    def __get_pydantic_core_schema__(
        self, _source: object, _handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_before_validator_function(
            self.read, core_schema.float_schema()
        )

    def __get_pydantic_json_schema__(
        self, _schema: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        text: JsonSchemaValue = {
            "type": "string",
            "pattern": _UNIT_PATTERN,
            "examples": [self.example],
        }
        if self.needs_unit:
            return text
        number: JsonSchemaValue = {"type": "number", "minimum": self.low, "maximum": self.high}
        return {"anyOf": [number, text]}


def in_file(info: core_schema.ValidationInfo) -> bool:
    """Whether the value comes from a scene file rather than from Python code."""
    return bool(info.context and info.context.get("file"))


def a(noun: str) -> str:
    """The noun with its article."""
    if noun == "lines per length":
        return "a number of lines per length"
    return f"{'an' if noun[0] in 'aeiou' else 'a'} {noun}"


def _what(found: Measured) -> str:
    if found.dimension == "fraction":
        return "a plain number"
    return a(found.dimension)


def _float(value: object) -> float:
    try:
        return float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return math.nan


_SHOWN: dict[str, tuple[tuple[float, str], ...]] = {
    "length": ((1e3, "km"), (1.0, "m"), (1e-3, "mm"), (1e-6, "um"), (1e-9, "nm"), (1e-12, "pm")),
    "angle": ((math.pi / 180, "deg"), (math.pi / 10_800, "arcmin"), (math.pi / 648_000, "arcsec")),
    "time": ((1.0, "s"), (1e-3, "ms"), (1e-6, "us")),
    "lines per length": ((1e3, "/ mm"), (1.0, "/ m")),
    "temperature": ((1.0, "K"),),
    "pressure": ((1e3, "kPa"), (1.0, "Pa")),
    "power": ((1.0, "W"), (1e-3, "mW"), (1e-6, "uW")),
    "luminance": ((1.0, "cd/m^2"),),
    "illuminance": ((1.0, "lx"),),
}


def units_shown(dimension: str) -> tuple[tuple[float, str], ...]:
    """SI size and name of the units in which a dimension is shown, the largest first."""
    return _SHOWN.get(dimension, ())


def show(value: float, dimension: str) -> str:
    """An SI value with a unit that suits its size, for messages."""
    if value == 0 or dimension not in _SHOWN:
        return f"{value:g}"
    units = _SHOWN[dimension]
    factor, unit = next((u for u in units if abs(value) >= u[0] * 0.9999), units[-1])
    return f"{value / factor:.6g} {unit}"


_LONGEST_M = 1e13  # a hundred times the distance of the Sun; keeps squares far from overflow
_SHORTEST_M = 1e-24

Length = Annotated[float, Quantity("length", "40 um", _SHORTEST_M, _LONGEST_M)]
LengthOrZero = Annotated[float, Quantity("length", "4 nm", 0.0, _LONGEST_M)]
Offset = Annotated[float, Quantity("length", "-90 um", -_LONGEST_M, _LONGEST_M)]
Wavelength = Annotated[float, Quantity("length", "589 nm", 10e-9, 100e-6)]
VisibleWavelength = Annotated[float, Quantity("length", "632.8 nm", VISIBLE_LO_M, VISIBLE_HI_M)]
GRAZING_RAD = math.pi / 2 * (1 - 1e-9)
Tilt = Annotated[float, Quantity("angle", "15 deg", -GRAZING_RAD, GRAZING_RAD)]
Angle = Annotated[float, Quantity("angle", "15 deg", -2 * math.pi, 2 * math.pi)]
Phase = Annotated[float, Quantity("angle", "90 deg", -1e6, 1e6)]
Time = Annotated[float, Quantity("time", "1/30 s", 1e-12, 1e12)]
Temperature = Annotated[float, Quantity("temperature", "5772 K", 1.0, 1e7)]
AirTemperature = Annotated[float, Quantity("temperature", "20 degC", 173.15, 373.15)]
Pressure = Annotated[float, Quantity("pressure", "101.325 kPa", 0.0, 1e7)]
Power = Annotated[float, Quantity("power", "1 mW", 0.0, 1e6, above_low=True)]
Density = Annotated[float, Quantity("lines per length", "600 / mm", 1e-3, 1e9)]
Luminance = Annotated[float, Quantity("luminance", "5000 cd/m^2", 0.0, 1e15, above_low=True)]
Illuminance = Annotated[float, Quantity("illuminance", "100 klx", 0.0, 1e12, above_low=True)]
Fraction = Annotated[float, Quantity("fraction", "50 %", 0.0, 1.0)]
Transmittance = Annotated[float, Quantity("fraction", "90 %", 0.0, 1.0, above_low=True)]


@dataclass(frozen=True)
class Plain:
    """Reads a number that has no unit, whole or not; limits are inclusive."""

    low: float = -math.inf
    high: float = math.inf
    whole: bool = False

    def read(self, value: object) -> float:
        """Any value -> number, or a validation error."""
        number = self._number(value)
        if not self.low <= number <= self.high:  # NaN compares false
            raise validation_error("is out of range", expected=self.expected)
        return number

    def _number(self, value: object) -> float:
        if not isinstance(value, (bool, str)):
            if isinstance(value, SupportsIndex):
                return operator.index(value)
            if not self.whole and hasattr(value, "__float__"):
                return _float(value)
        noun = "a whole number" if self.whole else "a number"
        if isinstance(value, str) and re.fullmatch(r"\s*[-+]?[0-9][0-9.]*\s*", value):
            raise validation_error(
                "is a number in quotes", expected=f"{self.expected}, without quotes"
            )
        raise validation_error(f"is not {noun}", expected=self.expected)

    @property
    def expected(self) -> str:
        """What would be right, in words."""
        noun = "a whole number" if self.whole else "a number without a unit"
        low, high = (f"{limit:,.12g}" for limit in (self.low, self.high))
        if math.isinf(self.low):
            return noun if math.isinf(self.high) else f"{noun}, at most {high}"
        return (
            f"{noun}, at least {low}" if math.isinf(self.high) else f"{noun} from {low} to {high}"
        )

    def __get_pydantic_core_schema__(
        self, _source: object, _handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        inner = core_schema.int_schema() if self.whole else core_schema.float_schema()
        return core_schema.no_info_before_validator_function(self.read, inner)

    def __get_pydantic_json_schema__(
        self, _schema: CoreSchema, _handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        limits = {"minimum": self.low, "maximum": self.high}
        return {
            "type": "integer" if self.whole else "number",
            **{name: limit for name, limit in limits.items() if math.isfinite(limit)},
        }


MOST_RULINGS = 10_000_000

Count = Annotated[int, Plain(1, MOST_RULINGS, whole=True)]
Seed = Annotated[
    int,
    Plain(0, 2**63 - 1, whole=True),
    Field(description="number that fixes the random draw"),
]
Index = Annotated[float, Plain(1.0, 5.0)]  # refractive index of a groove's material
