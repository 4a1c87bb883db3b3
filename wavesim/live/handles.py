"""Handles of a bench: what of a scene can be turned by hand, made from the scene's schema.

    for handle in handles_of(scene):
        print(handle.path, handle.text, handle.help)

Name, unit, limits and help are those of the scene's own fields; nothing is listed twice.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wavesim.constants import VISIBLE_HI_M, VISIBLE_LO_M
from wavesim.scene import Scene, Span
from wavesim.scene.quantities import MOST_RULINGS, Plain, Quantity, show, units_shown

STATIONS = (
    "source", "filter", "slit", "collimator", "aperture", "errors", "camera", "plate", "exposure",
)  # fmt: skip
_STATION_OF = (  # the first beginning that fits
    ("source.filters", "filter"), ("source.slit", "slit"), ("source.disc", "slit"),
    ("source", "source"), ("bench.collimator", "collimator"),
    ("bench.source_distance", "collimator"), ("bench.beam", "collimator"),
    ("bench.air", "collimator"), ("bench.incidence", "aperture"), ("bench.turn", "aperture"),
    ("bench", "camera"), ("aperture.defects", "errors"), ("aperture", "aperture"),
    ("plate", "plate"), ("exposure", "exposure"),
)  # fmt: skip
_ALWAYS = ("bench.defocus", "exposure.time", "exposure.over", "exposure.speed", "plate.centre")
_TAGS = ("kind", "profile", "schema", "mounting")  # other keys depend on these
_WIDE = 10.0  # a slider reaches from a tenth of the value to ten times it
_NARROW = 200.0  # limits closer than this ratio are the slider's own
_TURN_RAD = math.radians(10.0)  # of a slider for angles to either side
_MOST_HANDLES = 120
_PATH_ERROR_M = 1e-7
_LESS_TURNED = ("height", "outline", "seed", "air", "reflectance")  # these stand below the others
_RATIOS = (
    ("aperture.width", "aperture.pitch"),
    ("aperture.groove.width", "aperture.pitch"),
    ("aperture.inner", "aperture.outer"),
)

Value = float | int | bool | str | None


@dataclass(frozen=True)
class Handle:
    """One value of a scene that a hand can turn.

    Attributes
    ----------
    path : key in the scene file, dotted ("aperture.defects[0].amplitude")
    station : where on the bench it stands, one of `STATIONS`
    name : the key in words
    help : what it is, from the scene's schema
    kind : "quantity" (with a unit), "number", "whole", "choice", "flag", "ratio", or "note":
        what stands there, to be changed in the scene's text
    value : SI number, choice or flag; None where the program decides
    text : the value as a scene file gives it ("40 um")
    low, high : the slider's ends; the number field takes all that the scene takes
    logarithmic : whether equal steps of the slider are equal ratios
    dimension : of a quantity: "length", "angle" ...
    choices : what may be chosen
    """

    path: str
    station: str
    name: str
    help: str
    kind: str
    value: Value
    text: str
    low: float = 0.0
    high: float = 1.0
    logarithmic: bool = False
    dimension: str = ""
    choices: tuple[str, ...] = ()

    def record(self) -> dict[str, object]:
        """As JSON has it; units with their SI sizes, the largest first."""
        units = [[size, unit] for size, unit in units_shown(self.dimension)]
        return {**vars(self), "units": units}


def handles_of(scene: Scene) -> tuple[Handle, ...]:
    """All handles of a scene, from the source to the plate."""
    found = [
        Handle(f"{key}.kind", _station(key), "kind", what, "note", kind, kind)
        for key, what, kind in (
            ("source", "Kind of source", scene.source.kind),
            ("aperture", "Kind of aperture", scene.aperture.kind),
        )
    ]
    for key in ("source", "bench", "aperture", "plate", "exposure"):
        found += _of_table(getattr(scene, key), key)
    found += _ratios(found)
    order = {station: number for number, station in enumerate(STATIONS)}
    last = [handle.name in _LESS_TURNED for handle in found]
    numbered = sorted(range(len(found)), key=lambda k: (order[found[k].station], last[k], k))
    return tuple(found[k] for k in numbered[:_MOST_HANDLES])


def ratio_keys(path: str) -> tuple[str, str]:
    """The two keys of a ratio handle's path, "aperture.width : aperture.pitch"."""
    upper, _, lower = path.partition(" : ")
    return upper, lower


def _of_table(table: BaseModel, prefix: str) -> Iterator[Handle]:
    for name, field in type(table).model_fields.items():
        value, key = getattr(table, name), f"{prefix}.{field.alias or name}"
        if isinstance(value, BaseModel):
            if name in table.model_fields_set:
                yield from _of_table(value, key)
        elif isinstance(value, tuple):
            for number, item in enumerate(value):
                if isinstance(item, BaseModel):
                    yield from _of_table(item, f"{key}[{number}]")
        elif name in table.model_fields_set or key in _ALWAYS:
            handle = _handle(key, field, value)
            if handle is not None:
                yield handle


def _handle(key: str, field: FieldInfo, value: object) -> Handle | None:
    last = key.rpartition(".")[2]
    if last in _TAGS:
        return None
    text = field.description or ""
    base = (key, _station(key), last.replace("_", " "), text[:1].upper() + text[1:])
    if isinstance(value, bool):
        return Handle(*base, "flag", value, "true" if value else "false")
    choices = _choices(field)
    if value in choices:
        return Handle(*base, "choice", str(value), str(value), choices=choices)
    if isinstance(value, Span):
        return _of_span(base, value)
    measure = measure_of(field)
    if isinstance(measure, Quantity):
        return _quantity(base, measure, value, _example(field, measure))
    if isinstance(measure, Plain) and isinstance(value, (int, float)):
        return _number(base, measure, value)
    return None


def _station(key: str) -> str:
    return next(station for start, station in _STATION_OF if key.startswith(start))


def _choices(field: FieldInfo) -> tuple[str, ...]:
    """Texts that the field takes, also where it may be left out or be a number."""
    for part in _parts(field):
        if get_origin(part) is Literal:
            return tuple(str(choice) for choice in get_args(part))
    return ()


def measure_of(field: FieldInfo) -> Quantity | Plain | None:
    """The reader of a field's values, also where the field may be left out."""
    found = [m for m in field.metadata if isinstance(m, Quantity | Plain)]
    for part in _parts(field):
        found += [m for m in getattr(part, "__metadata__", ()) if isinstance(m, Quantity | Plain)]
    return found[0] if found else None


def _parts(field: FieldInfo) -> Iterator[object]:
    """A field's annotation and all that it is made of."""
    waiting: list[object] = [field.annotation]
    while waiting:
        part = waiting.pop()
        yield part
        if get_origin(part) is not Literal:
            waiting += get_args(part)


_Base = tuple[str, str, str, str]


def _of_span(base: _Base, span: Span) -> Handle:
    if span.length_m is not None:
        low, high = span.length_m / _WIDE, span.length_m * _WIDE
        text = show(span.length_m, "length")
        return Handle(*base, "quantity", span.length_m, text, low, high, True, "length")
    value = span.rulings or 1.0
    named = (*base[:3], f"{base[3]} (here as a number of rulings)")
    return Handle(*named, "number", value, f"{value:g}", value / _WIDE, value * _WIDE, True)


def _quantity(base: _Base, measure: Quantity, value: object, example: float) -> Handle:
    dimension = measure.dimension
    if not isinstance(value, float):  # left to the program
        return Handle(*base, "quantity", None, "auto", 1e-4, 10.0, True, dimension)
    low, high, logarithmic = _reach(measure, value, example)
    text = show(value, dimension) if value else _nothing(example, dimension)
    return Handle(*base, "quantity", value, text, low, high, logarithmic, dimension)


def _nothing(example: float, dimension: str) -> str:
    """Zero with the unit that suits what is usual there."""
    return f"0 {show(example, dimension).partition(' ')[2]}".rstrip()


def _reach(measure: Quantity, value: float, example: float) -> tuple[float, float, bool]:
    """The slider's ends, and whether it is logarithmic, for a quantity of that value.

    `example` [SI] is of the size that the key usually has.
    """
    low, high = measure.low, measure.high
    if measure.dimension == "length" and _is_wavelength(low, high, value):
        return VISIBLE_LO_M, VISIBLE_HI_M, False
    if measure.dimension == "angle":
        span = max(_TURN_RAD, 2 * abs(value)) if high > 0.6 else max(5 * abs(value), 1e-5)
        return max(low, value - span), min(high, value + span), False
    if high - low <= 1.0 or (low > 0 and high / low < _NARROW):
        return low, high, False
    if value > 0 and low >= 0 and not (low == 0 and measure.example == "4 nm"):
        return max(low, value / _WIDE), min(high, value * _WIDE), True
    span = max(5 * abs(value), 10 * example)
    return max(low, 0.0 if low == 0 else -span), min(high, span), False


def _is_wavelength(low: float, high: float, value: float) -> bool:
    return VISIBLE_LO_M <= value <= VISIBLE_HI_M and low >= 1e-8 and high <= 1e-4


def _example(field: FieldInfo, measure: Quantity) -> float:
    """[SI] of the field's own example, or of its kind's."""
    from wavesim.scene.units import UnitError
    from wavesim.scene.units import measure as read

    for text in (*(field.examples or ()), measure.example):
        try:
            return abs(read(str(text)).value)
        except UnitError:  # "0.25 waves", which a path error alone can read
            continue
    return _PATH_ERROR_M


def _number(base: _Base, measure: Plain, value: float) -> Handle:
    text = f"{value:.10g}"
    low, high = measure.low, measure.high
    if measure.whole:
        if base[2] == "seed":
            return Handle(*base, "whole", value, text, 0, 999)
        top = min(high, MOST_RULINGS, max(20, 10 * value))
        return Handle(*base, "whole", value, text, max(low, 1), top, value >= 10)
    if math.isfinite(low) and math.isfinite(high) and high - low <= 20:
        if abs(value) <= 1e-2 * high < 1:  # a drift: parts in a hundred thousand
            span = max(5 * abs(value), 1e-5)
            return Handle(*base, "number", value, text, max(low, -span), min(high, span))
        return Handle(*base, "number", value, text, low, high)
    if low > 0 and value > 0:
        top = min(high, value * _WIDE)
        return Handle(*base, "number", value, text, max(low, value / _WIDE), top, True)
    span = max(12.0, 2 * abs(value))
    return Handle(*base, "number", value, text, max(low, -span), min(high, span))


def _ratios(found: list[Handle]) -> list[Handle]:
    by_path = {handle.path: handle for handle in found}
    made = []
    for upper, lower in _RATIOS:
        a, b = by_path.get(upper), by_path.get(lower)
        if a is None or b is None or not isinstance(a.value, float) or not b.value:
            continue
        ratio = a.value / float(b.value)
        text = f"{a.name} over {b.name}; lock it to change both together"
        made.append(
            Handle(
                f"{upper} : {lower}", a.station, f"{a.name} : {b.name}",
                text[0].upper() + text[1:], "ratio", ratio, f"{ratio:.4g}", 0.02, 1.0,
            )
        )  # fmt: skip
    return made
