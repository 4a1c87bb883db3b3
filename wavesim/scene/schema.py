"""JSON Schema of the scene file; a scene as plain SI values and back."""

from __future__ import annotations

from pydantic import BaseModel, ValidationError

from wavesim.scene.aperture import Grating, Ruled
from wavesim.scene.messages import tables_of, translated
from wavesim.scene.model import Scene
from wavesim.scene.quantities import Quantity, show

_DERIVED = "derived"  # key of what follows from the values


def json_schema() -> dict[str, object]:
    """JSON Schema (draft 2020-12) of a scene file: keys, kinds, units, meanings, examples.

    An editor that knows it completes scene files and marks wrong keys while they are written.
    """
    schema = Scene.model_json_schema(by_alias=True, mode="validation")
    models = {model.__name__: model for model in tables_of(Scene)}
    for name, table in {"Scene": schema, **schema["$defs"]}.items():
        if name in models:
            _tidy(table, models[name])
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        **schema,
        "title": "wavesim scene",
        "description": "A scene file, TOML",
    }


def _tidy(table: dict[str, object], model: type[BaseModel]) -> None:
    """Drop what TOML has no word for (null, SI defaults) and what only repeats."""
    table.pop("title", None)
    keys = {field.alias or name: field for name, field in model.model_fields.items()}
    properties = table["properties"]
    if not isinstance(properties, dict):
        return
    for key, entry in properties.items():
        entry.pop("title", None)
        default = entry.pop("default", None)
        measure = next((m for m in keys[key].metadata if isinstance(m, Quantity)), None)
        if "const" in entry and key in ("kind", "profile"):
            table["required"] = sorted({key, *table.get("required", ())})  # type: ignore[misc]
        elif measure is not None and isinstance(default, float):
            entry["description"] += f" (default {show(default, measure.dimension)})"
        elif isinstance(default, (str, bool, int, float)):
            entry["default"] = default
        _without_null(entry)


def _without_null(entry: dict[str, object]) -> None:
    choices = entry.get("anyOf")
    if not isinstance(choices, list):
        return
    left = [choice for choice in choices if choice != {"type": "null"}]
    for choice in left:
        _without_null(choice)
    if len(left) > 1:
        entry["anyOf"] = left
    else:
        del entry["anyOf"]
        entry.update({key: value for key, value in left[0].items() if key not in entry})


def resolved(scene: Scene) -> dict[str, object]:
    """The scene as JSON-able SI values by field name, and under "derived" what follows."""
    return {**scene.model_dump(mode="json", by_alias=False), _DERIVED: _derived(scene)}


def _derived(scene: Scene) -> dict[str, float | int]:
    bench, plate, aperture = scene.bench, scene.plate, scene.aperture
    values: dict[str, float | int] = {
        "alpha_rad": bench.alpha_rad,
        "camera_axis_rad": bench.camera_axis_rad,
        "camera_focal_m": bench.camera_focal_m,
        "pixels_x": plate.pixels_x,
        "pixels_y": plate.pixels_y,
        "white_exposure_lx_s": scene.exposure.white_exposure_lx_s,
    }
    if isinstance(aperture, Ruled):
        values["rulings"] = aperture.rulings
    if isinstance(aperture, Grating):
        values["pitch_m"] = aperture.mean_pitch_m
    return values


def from_resolved(values: dict[str, object], *, text: str = "") -> Scene:
    """The scene that `resolved` described; `text` is the TOML it was once read from.

    Raises
    ------
    SceneError
        The values are not those of a scene.
    """
    given = {key: value for key, value in values.items() if key != _DERIVED}
    try:
        scene = Scene.model_validate(given, by_alias=False, by_name=True)
    except ValidationError as error:
        raise translated(error, Scene, given, python=True) from None
    return scene.with_text(text)
