"""A scene built in Python as the text of a scene file."""

from __future__ import annotations

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wavesim.live.handles import measure_of
from wavesim.scene import Scene, Span
from wavesim.scene.quantities import Quantity
from wavesim.scene.units import SI_UNITS


def scene_text(scene: Scene) -> str:
    """TOML that `wavesim.parse` reads as an equal scene; what is at its default is left out."""
    import tomli_w

    return tomli_w.dumps({"schema": 1, **_table(scene)})


def _table(table: BaseModel) -> dict[str, object]:
    written: dict[str, object] = {}
    for name, field in type(table).model_fields.items():
        value = getattr(table, name)
        tag = name in ("kind", "profile")
        if name == "schema_" or value is None or (value == field.default and not tag):
            continue
        written[field.alias or name] = _value(value, field)
    return written


def _value(value: object, field: FieldInfo) -> object:
    if isinstance(value, BaseModel):
        return _table(value)
    if isinstance(value, tuple | list):
        return [_value(item, field) for item in value]
    if isinstance(value, Span):
        return f"{value.length_m!r} m" if value.rulings is None else value.rulings
    measure = measure_of(field)
    if isinstance(value, float) and isinstance(measure, Quantity) and measure.needs_unit:
        return f"{value!r} {SI_UNITS[measure.dimension]}"
    return value
