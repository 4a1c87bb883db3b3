"""Scenes that differ in one value, and their plates on one scale of exposure."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Sequence
from dataclasses import replace

from wavesim.errors import InputError, SceneError, positive
from wavesim.plate import Plate
from wavesim.scene import Scene, parse

Value = str | int | float | bool
_KEY = "a key of the scene with the tables about it, such as aperture.count"


def varied(
    scene: Scene, key: str, values: Sequence[Value], *, file: str | None = None
) -> list[Scene]:
    """The scene once for each value of one key.

    Parameters
    ----------
    key : dotted, as in the file: "aperture.count", "bench.turn", "aperture.defects.0.amplitude"
    values : as in the file: numbers, or texts with their units
    file : name that messages give

    Raises
    ------
    InputError
        No value, a scene without its text, or a key that leads nowhere.
    SceneError
        A value that the scene does not take.
    """
    if not values:
        raise InputError("needs at least one value", key=key, expected="values to vary it over")
    if not scene.text:
        raise InputError("was not read from a file, so no key of it can be varied", key=key)
    return [
        parse(_with(scene.text, key, value, file), file=file).beside(scene.folder)
        for value in values
    ]


def together(plates: Sequence[Plate]) -> list[Plate]:
    """The plates exposed for one time: the shortest of theirs, which burns none of them out more.

    Exposures scale with the time; nothing is computed again.
    """
    time = min(plate.exposure_s for plate in plates)
    return [at_time(plate, time) for plate in plates]


def at_time(plate: Plate, time_s: float) -> Plate:
    """The same plate exposed for another time [s].

    Raises
    ------
    InputError
        A time that is not positive.
    """
    longer = positive("time_s", time_s) / plate.exposure_s
    return replace(plate, xyz=plate.xyz * longer, exposure_s=time_s)


def _with(text: str, key: str, value: Value, file: str | None) -> str:
    """TOML text with one value changed."""
    whole, parts = tomllib.loads(text), key.split(".")
    data: object = whole
    for part in parts[:-1]:
        if isinstance(data, dict) and not part.isdigit():
            data = data.setdefault(part, {})
        elif isinstance(data, list) and part.isdigit() and int(part) < len(data):
            data = data[int(part)]
        else:
            raise SceneError("leads nowhere in this scene", file=file, key=key, expected=_KEY)
    if not isinstance(data, dict):
        raise SceneError("leads nowhere in this scene", file=file, key=key, expected=_KEY)
    data[parts[-1]] = value
    if key == "exposure.time":
        data.pop("over", None)  # counts from the automatic time
    return _toml(whole)


def _toml(data: dict[str, object]) -> str:
    """A scene's data as TOML, tables in one line each."""
    return "".join(f"{json.dumps(key)} = {_inline(value)}\n" for key, value in data.items())


def _inline(value: object) -> str:
    match value:
        case dict():
            inner = (f"{json.dumps(key)} = {_inline(item)}" for key, item in value.items())
            return "{ " + ", ".join(inner) + " }"
        case list():
            return "[ " + ", ".join(_inline(item) for item in value) + " ]"
        case str():
            return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
        case bool():
            return "true" if value else "false"
        case _:
            return repr(value)
