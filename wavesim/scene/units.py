"""Text with a unit -> a number in SI units and the name of its dimension.

The units that people write on a bench are read here by a table; everything else goes to pint,
which takes 0.3 s to start and so is imported only then. Both agree (tested).

The decimal text is read exactly, multiplied by the unit's exact factor and rounded once: a length
is the same to the last bit whether it is written in nm, um, mm, cm or m.
"""

from __future__ import annotations

import difflib
import re
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from functools import cache, lru_cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pint import UnitRegistry

LONGEST_TEXT = 80  # characters of a quantity; pint's own reader is not meant for more
_LARGEST_POWER = 400  # of ten, in a number as written; a float holds up to 308

_NUMBER = r"[+-]?(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]+)?"
_QUANTITY = re.compile(rf"({_NUMBER})(?:\s*/\s*({_NUMBER}))?\s*(.*)", re.DOTALL)
_UNIT_WORD = r"[^\W\d_]+(?:_[^\W\d_]+)*(?:\s*(?:\^|\*\*)\s*-?[1-9]|[²³])?"
_UNIT = re.compile(rf"(?:/\s*)?{_UNIT_WORD}(?:(?:\s*[*/·]\s*|\s+){_UNIT_WORD}){{0,5}}")
_SPOKEN_COUNT = re.compile(  # catalogues print 600 l/mm and 600 gr/mm
    r"^(?:l(?:ines?)?|gr?(?:ooves?)?|rulings?|slits?)\s*(?=/)|^per\s+(?=\w)"
)
_BARE_POWER = re.compile(r"(?<=[^\W\d_])(-?[12])$")  # mm-1, cd/m2
_AMBIGUOUS = {"grad": "degrees or gon"}


class UnitError(ValueError):
    """The text is not a number with a known unit; the message says why."""


@dataclass(frozen=True)
class Measured:
    """A number in the SI unit of its dimension: "length", "angle" ..."""

    value: float
    dimension: str


def _units(dimension: str, factors: dict[str, str | Fraction]) -> dict[str, tuple[str, Fraction]]:
    return {unit: (dimension, Fraction(factor)) for unit, factor in factors.items()}


SI_UNITS = {
    "length": "m", "angle": "rad", "time": "s", "temperature": "K", "pressure": "Pa", "power": "W",
    "lines per length": "/m", "luminance": "cd/m^2", "illuminance": "lx", "fraction": "",
}  # fmt: skip

_INCH_M = Fraction("0.0254")  # exact, international yard and pound agreement of 1959
_PI = Fraction("3.14159265358979323846264338327950288419716939937510")

FAST_UNITS: dict[str, tuple[str, Fraction]] = {
    **_units(
        "length",
        {
            "m": "1", "cm": "1e-2", "mm": "1e-3", "um": "1e-6", "µm": "1e-6", "μm": "1e-6",
            "micron": "1e-6", "nm": "1e-9", "pm": "1e-12", "fm": "1e-15", "km": "1e3",
            "angstrom": "1e-10", "Å": "1e-10", "inch": _INCH_M, "in": _INCH_M,
        },
    ),
    **_units(
        "time",
        {
            "s": "1", "ms": "1e-3", "us": "1e-6", "µs": "1e-6", "μs": "1e-6", "min": "60",
            "h": "3600",
        },
    ),
    **_units(
        "angle",
        {
            "rad": "1", "mrad": "1e-3", "urad": "1e-6", "µrad": "1e-6", "μrad": "1e-6",
            "deg": _PI / 180, "degree": _PI / 180, "degrees": _PI / 180, "°": _PI / 180,
            "arcmin": _PI / 10_800, "arcsec": _PI / 648_000,
        },
    ),
    **_units("temperature", {"K": "1"}),
    **_units(
        "pressure",
        {
            "Pa": "1", "hPa": "100", "kPa": "1e3", "MPa": "1e6", "mbar": "100", "bar": "1e5",
            "atm": "101325",
        },
    ),
    **_units(
        "power", {"W": "1", "mW": "1e-3", "uW": "1e-6", "µW": "1e-6", "μW": "1e-6", "kW": "1e3"}
    ),
    **_units(
        "lines per length",
        {
            "/m": "1", "/cm": "1e2", "/mm": "1e3", "/um": "1e6", "/µm": "1e6", "/μm": "1e6",
            "/inch": 1 / _INCH_M, "/in": 1 / _INCH_M,
        },
    ),
    **_units("luminance", {"cd/m^2": "1", "cd/m**2": "1", "cd/m²": "1", "kcd/m^2": "1e3"}),
    **_units("illuminance", {"lx": "1", "klx": "1e3", "lux": "1"}),
    **_units("fraction", {"%": "1e-2", "percent": "1e-2", "ppm": "1e-6"}),
}  # fmt: skip
_CELSIUS = {"degC", "°C"}
_ZERO_CELSIUS_K = Fraction("273.15")  # exact


@lru_cache(maxsize=1024)
def measure(text: str) -> Measured:
    """Read "40 um", "1/30 s", "600 / mm", "15 degC" ... into SI.

    Raises
    ------
    UnitError
        No number, no unit, an unknown unit, or a number that is not finite.
    """
    number, unit = _split(text)
    if unit in _CELSIUS:
        return Measured(_rounded(number + _ZERO_CELSIUS_K), "temperature")
    known = FAST_UNITS.get(_tight(unit))
    if known is not None:
        return Measured(_rounded(number * known[1]), known[0])
    return _measure_with_pint(number, unit)


def _split(text: str) -> tuple[Fraction, str]:
    text = text.strip().replace("−", "-")
    if len(text) > LONGEST_TEXT:
        raise UnitError("is too long for a number with a unit")
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise UnitError(_no_number(text))
    number = _ratio(_exact(match[1]), _exact(match[2] or "1"))
    unit = _SPOKEN_COUNT.sub(lambda m: "/" if m[0].startswith("per") else "", match[3].strip())
    unit = _BARE_POWER.sub(r"^\1", unit)
    if not unit:
        raise UnitError("has no unit")
    if unit in _AMBIGUOUS:
        raise UnitError(f'has a unit that may be {_AMBIGUOUS[unit]}, "{unit}"')
    if re.match(r",[0-9]", unit):
        raise UnitError("has a decimal comma where a point belongs")
    return number, unit


def _exact(digits: str) -> Fraction:
    """A decimal number as written; one below all floats is zero."""
    number = Decimal(digits)
    if number and number.adjusted() > _LARGEST_POWER:
        raise UnitError("is too large a number")
    return Fraction(number) if number.adjusted() >= -_LARGEST_POWER else Fraction(0)


def _ratio(top: Fraction, bottom: Fraction) -> Fraction:
    if bottom == 0:
        raise UnitError("divides by zero")
    return top / bottom


def _rounded(exact: Fraction) -> float:
    """The nearest float."""
    try:
        return float(exact)
    except OverflowError:
        raise UnitError("is too large a number") from None


def _no_number(text: str) -> str:
    if re.match(r"[+-]?(nan|inf)", text, re.IGNORECASE):
        return "is not a finite number"
    return "does not begin with a number" if text else "is empty"


def _tight(unit: str) -> str:
    return re.sub(r"\s*([/^]|\*\*)\s*", r"\1", unit)


def _measure_with_pint(number: Fraction, unit: str) -> Measured:
    if _UNIT.fullmatch(unit) is None:
        raise UnitError("has a unit that cannot be read" + _nearest(unit))
    registry = _registry()
    expression = f"1{unit}" if unit.startswith("/") else unit
    try:
        root = registry.Quantity(number, registry.parse_units(expression)).to_root_units()
        value = Fraction(root.magnitude)
        base = {unit: float(power) for unit, power in root.unit_items()}  # type: ignore[arg-type]
    except Exception as error:  # over what is no unit its parser raises what it comes upon
        raise UnitError(f'has an unknown unit "{unit}"{_nearest(unit)}') from error
    if frozenset(base.items()) not in _DIMENSIONS:  # MM, molar, is meant for mm
        raise UnitError(f'has an unknown unit "{unit}"{_nearest(unit)}')
    name, scale = _DIMENSIONS[frozenset(base.items())]
    return Measured(_rounded(value * scale), name)


_GRAM_TO_KG = Fraction(1, 1000)
_ONE = Fraction(1)
_DIMENSIONS: dict[frozenset[tuple[str, float]], tuple[str, Fraction]] = {
    frozenset(powers.items()): (name, factor)
    for name, factor, powers in (
        ("length", _ONE, {"meter": 1}),
        ("area", _ONE, {"meter": 2}),
        ("volume", _ONE, {"meter": 3}),
        ("time", _ONE, {"second": 1}),
        ("frequency", _ONE, {"second": -1}),
        ("speed", _ONE, {"meter": 1, "second": -1}),
        ("angle", _ONE, {"radian": 1}),
        ("solid angle", _ONE, {"radian": 2}),
        ("temperature", _ONE, {"kelvin": 1}),
        ("mass", _GRAM_TO_KG, {"gram": 1}),
        ("pressure", _GRAM_TO_KG, {"gram": 1, "meter": -1, "second": -2}),
        ("energy", _GRAM_TO_KG, {"gram": 1, "meter": 2, "second": -2}),
        ("power", _GRAM_TO_KG, {"gram": 1, "meter": 2, "second": -3}),
        ("lines per length", _ONE, {"meter": -1}),
        ("luminance", _ONE, {"candela": 1, "meter": -2}),
        ("illuminance", _ONE, {"candela": 1, "radian": 2, "meter": -2}),
        ("electric current", _ONE, {"ampere": 1}),
        ("luminous intensity", _ONE, {"candela": 1}),
        ("fraction", _ONE, {}),
    )
}


def _nearest(unit: str) -> str:
    tight = _tight(unit)
    near = [known for known in FAST_UNITS if known.casefold() == tight.casefold()]
    near = near or difflib.get_close_matches(tight, FAST_UNITS, n=1, cutoff=0.5)
    return f' (did you mean "{near[0]}"?)' if near else ""


@cache
def _registry() -> UnitRegistry[Fraction]:
    """Pint's registry with exact factors.

    Without pint's own cache on disk: it saves 0.1 s, is a pickle, and once cut short it would
    refuse every later unit.
    """
    import pint

    return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, non_int_type=Fraction)
