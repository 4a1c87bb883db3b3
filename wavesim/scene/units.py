"""Text with a unit -> a number in SI units and the name of its dimension.

The units that people write on a bench are read here by a table; everything else goes to pint,
which takes 0.4 s to start (1 s the first time) and so is imported only then. Both agree (tested).
"""

from __future__ import annotations

import difflib
import math
import re
from dataclasses import dataclass
from functools import cache
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pint import UnitRegistry

LONGEST_TEXT = 80  # characters of a quantity; pint's own reader is not meant for more

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
    """The text is no number with a known unit; the message says why."""


@dataclass(frozen=True)
class Measured:
    """A number in the SI unit of its dimension: "length", "angle" ..."""

    value: float
    dimension: str


def _units(dimension: str, factors: dict[str, float]) -> dict[str, tuple[str, float]]:
    return {unit: (dimension, factor) for unit, factor in factors.items()}


_INCH_M = 0.0254  # exact, international yard and pound agreement of 1959

FAST_UNITS: dict[str, tuple[str, float]] = {
    **_units(
        "length",
        {
            "m": 1.0, "cm": 1e-2, "mm": 1e-3, "um": 1e-6, "µm": 1e-6, "μm": 1e-6, "micron": 1e-6,
            "nm": 1e-9, "pm": 1e-12, "fm": 1e-15, "km": 1e3, "angstrom": 1e-10, "Å": 1e-10,
            "inch": _INCH_M, "in": _INCH_M,
        },
    ),
    **_units(
        "time", {"s": 1.0, "ms": 1e-3, "us": 1e-6, "µs": 1e-6, "μs": 1e-6, "min": 60.0, "h": 3600.0}
    ),
    **_units(
        "angle",
        {
            "rad": 1.0, "mrad": 1e-3, "urad": 1e-6, "µrad": 1e-6, "μrad": 1e-6,
            "deg": math.pi / 180, "degree": math.pi / 180, "degrees": math.pi / 180,
            "°": math.pi / 180,
            "arcmin": math.pi / 10_800, "arcsec": math.pi / 648_000,
        },
    ),
    **_units("temperature", {"K": 1.0}),
    **_units(
        "pressure",
        {
            "Pa": 1.0, "hPa": 100.0, "kPa": 1e3, "MPa": 1e6, "mbar": 100.0, "bar": 1e5,
            "atm": 101_325.0,
        },
    ),
    **_units("power", {"W": 1.0, "mW": 1e-3, "uW": 1e-6, "µW": 1e-6, "μW": 1e-6, "kW": 1e3}),
    **_units(
        "lines per length",
        {
            "/m": 1.0, "/cm": 1e2, "/mm": 1e3, "/um": 1e6, "/µm": 1e6, "/μm": 1e6,
            "/inch": 1 / _INCH_M, "/in": 1 / _INCH_M,
        },
    ),
    **_units("luminance", {"cd/m^2": 1.0, "cd/m**2": 1.0, "cd/m²": 1.0, "kcd/m^2": 1e3}),
    **_units("illuminance", {"lx": 1.0, "klx": 1e3, "lux": 1.0}),
    **_units("fraction", {"%": 1e-2, "percent": 1e-2, "ppm": 1e-6}),
}  # fmt: skip
_CELSIUS = {"degC", "°C"}
_ZERO_CELSIUS_K = 273.15  # exact


def measure(text: str) -> Measured:
    """Read "40 um", "1/30 s", "600 / mm", "15 degC" ... into SI.

    Raises
    ------
    UnitError
        No number, no unit, an unknown unit, or a number that is not finite.
    """
    number, unit = _split(text)
    if unit in _CELSIUS:
        return Measured(number + _ZERO_CELSIUS_K, "temperature")
    known = FAST_UNITS.get(_tight(unit))
    if known is not None:
        return Measured(_scaled(number, known[1]), known[0])
    return _measure_with_pint(number, unit)


def _scaled(number: float, factor: float) -> float:
    """number * factor, dividing by a whole number where one fits: "20 um" is then 2e-05 itself."""
    divisor = round(1 / factor)
    return number / divisor if abs(divisor * factor - 1) < 1e-12 else number * factor


def _split(text: str) -> tuple[float, str]:
    text = text.strip().replace("−", "-")
    if len(text) > LONGEST_TEXT:
        raise UnitError("is too long for a number with a unit")
    match = _QUANTITY.fullmatch(text)
    if match is None:
        raise UnitError(_no_number(text))
    number = _finite(float(match[1]), float(match[2] or 1.0))
    unit = _SPOKEN_COUNT.sub(lambda m: "/" if m[0].startswith("per") else "", match[3].strip())
    unit = _BARE_POWER.sub(r"^\1", unit)
    if not unit:
        raise UnitError("has no unit")
    if unit in _AMBIGUOUS:
        raise UnitError(f'has a unit that may be {_AMBIGUOUS[unit]}, "{unit}"')
    if re.match(r",[0-9]", unit):
        raise UnitError("has a decimal comma where a point belongs")
    return number, unit


def _finite(top: float, bottom: float) -> float:
    if bottom == 0:
        raise UnitError("divides by zero")
    value = top / bottom
    if not math.isfinite(value):
        raise UnitError("is too large a number")
    return value


def _no_number(text: str) -> str:
    if re.match(r"[+-]?(nan|inf)", text, re.IGNORECASE):
        return "is not a finite number"
    return "does not begin with a number" if text else "is empty"


def _tight(unit: str) -> str:
    return re.sub(r"\s*([/^]|\*\*)\s*", r"\1", unit)


def _measure_with_pint(number: float, unit: str) -> Measured:
    if _UNIT.fullmatch(unit) is None:
        raise UnitError("has a unit that cannot be read" + _nearest(unit))
    from pint.errors import PintError

    registry = _registry()
    expression = f"1{unit}" if unit.startswith("/") else unit
    try:
        units = registry.parse_units(expression)
        root = registry.Quantity(number, units).to_root_units()
        value = float(root.magnitude)
        base = {unit: float(power) for unit, power in root.unit_items()}  # type: ignore[arg-type]
    except (
        PintError,
        ValueError,
        TypeError,
        AttributeError,
        ArithmeticError,
        SyntaxError,
    ) as error:
        raise UnitError(f'has an unknown unit "{unit}"{_nearest(unit)}') from error
    if not math.isfinite(value):
        raise UnitError("is too large a number")
    if frozenset(base.items()) not in _DIMENSIONS:  # MM, molar, is meant for mm
        raise UnitError(f'has an unknown unit "{unit}"{_nearest(unit)}')
    name, scale = _DIMENSIONS[frozenset(base.items())]
    return Measured(value * scale, name)


_GRAM_TO_KG = 1e-3
_DIMENSIONS: dict[frozenset[tuple[str, float]], tuple[str, float]] = {
    frozenset(powers.items()): (name, factor)
    for name, factor, powers in (
        ("length", 1.0, {"meter": 1}),
        ("area", 1.0, {"meter": 2}),
        ("volume", 1.0, {"meter": 3}),
        ("time", 1.0, {"second": 1}),
        ("frequency", 1.0, {"second": -1}),
        ("speed", 1.0, {"meter": 1, "second": -1}),
        ("angle", 1.0, {"radian": 1}),
        ("solid angle", 1.0, {"radian": 2}),
        ("temperature", 1.0, {"kelvin": 1}),
        ("mass", _GRAM_TO_KG, {"gram": 1}),
        ("pressure", _GRAM_TO_KG, {"gram": 1, "meter": -1, "second": -2}),
        ("energy", _GRAM_TO_KG, {"gram": 1, "meter": 2, "second": -2}),
        ("power", _GRAM_TO_KG, {"gram": 1, "meter": 2, "second": -3}),
        ("lines per length", 1.0, {"meter": -1}),
        ("luminance", 1.0, {"candela": 1, "meter": -2}),
        ("illuminance", 1.0, {"candela": 1, "radian": 2, "meter": -2}),
        ("electric current", 1.0, {"ampere": 1}),
        ("luminous intensity", 1.0, {"candela": 1}),
        ("fraction", 1.0, {}),
    )
}


def _nearest(unit: str) -> str:
    tight = _tight(unit)
    near = [known for known in FAST_UNITS if known.casefold() == tight.casefold()]
    near = near or difflib.get_close_matches(tight, FAST_UNITS, n=1, cutoff=0.5)
    return f', perhaps "{near[0]}"' if near else ""


@cache
def _registry() -> UnitRegistry[float]:
    """Pint's registry, from its disk cache when there is one (half the time to start)."""
    import pint

    try:
        import platformdirs

        folder = platformdirs.user_cache_path("wavesim") / "units"
        folder.mkdir(parents=True, exist_ok=True)
        return pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=str(folder))
    except OSError:  # no writable home: start without the cache
        return pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
