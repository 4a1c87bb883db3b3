"""JSON Schema of the file format; scenes as plain SI values and back."""

from __future__ import annotations

from pydantic import ValidationError

from wavesim.scene.messages import translated
from wavesim.scene.model import Scene


def json_schema() -> dict[str, object]:
    """JSON Schema of a scene file: keys, kinds, units, meanings and examples."""
    return Scene.model_json_schema(by_alias=True, mode="validation")


def resolved(scene: Scene) -> dict[str, object]:
    """The scene as JSON-able SI values, by field name."""
    return scene.model_dump(mode="json", by_alias=False)


def from_resolved(values: dict[str, object], *, text: str = "") -> Scene:
    """The scene that `resolved` described.

    Raises
    ------
    SceneError
        The values are not those of a scene.
    """
    try:
        scene = Scene.model_validate(values, by_alias=False, by_name=True)
    except ValidationError as error:
        raise translated(error, Scene, values, python=True) from None
    return scene.with_text(text)
