"""A scene with some of its values changed, named and written as in the file."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping
from functools import lru_cache
from typing import TYPE_CHECKING, Any, cast

from wavesim.errors import InputError, SceneError
from wavesim.scene.base import Value, toml_key

if TYPE_CHECKING:
    from wavesim.scene.model import Scene

_EXPECTED = "a key of the scene with the tables that hold it, such as aperture.count"
_SHORT_FORMS = {"beam": "diameter"}  # beam = "40 mm" stands for beam = { diameter = "40 mm" }
_DEEPEST = 9  # tables within tables


def changed(scene: Scene, changes: Mapping[str, Value], *, file: str | None = None) -> Scene:
    """The scene with the values at dotted keys replaced, checked as a scene again.

    Parameters
    ----------
    changes : key -> value as in the file: {"aperture.count": 7, "aperture.width": "50 um"};
        items of lists are numbered from 0: "aperture.defects.0.amplitude"
    file : name that messages give

    Raises
    ------
    SceneError
        A key that leads nowhere, or a value that the scene does not take.
    """
    import tomli_w

    from wavesim.scene.reading import parse

    data = _written(scene)
    if data is None:
        return _changed_values(scene, changes, file)
    for key, value in changes.items():
        put(data, key, value, file=file)
        if dotted(key) == "exposure.time":
            data["exposure"].pop("over", None)  # counts from the automatic time
    return parse(tomli_w.dumps(data), file=file).beside(scene.folder)


def dotted(key: str) -> str:
    """A key in its dotted form: aperture__count and defects[0].period too."""
    return re.sub(r"\[(\d+)\]", r".\1", key.replace("__", "."))


def value_at(scene: Scene, key: str) -> object:
    """The value at a dotted key, in SI units where it has one.

    Raises
    ------
    InputError
        There is no such key.
    """
    values = _resolved(scene)
    for part in dotted(key).split("."):
        values = _step(values, part, key)
    return values


def _written(scene: Scene) -> dict[str, Any] | None:
    """The file's own tables; None where the scene was built or altered in Python."""
    if not scene.text or _read(scene.text) != scene:
        return None
    return tomllib.loads(scene.text)


@lru_cache(maxsize=32)
def _read(text: str) -> Scene:
    """The scene of a text; a search changes the same one again and again."""
    from wavesim.scene.reading import parse

    return parse(text)


def put(tables: Any, key: str, value: Value | None, *, file: str | None = None) -> None:
    """Set a dotted key in a scene's tables (plain ones or a TOML document's); None takes it out.

    Tables that are not there are made, items of lists are not; a short form that stands for a
    table (beam = "40 mm") becomes that table.

    Raises
    ------
    SceneError
        No table of this scene can hold the key.
    """
    *path, last = dotted(key).split(".")
    table = tables
    for part in path[:_DEEPEST]:
        table = _inner(table, part)
    if not isinstance(table, dict) or len(path) > _DEEPEST:
        raise SceneError("leads nowhere in this scene", file=file, key=key[:80], expected=_EXPECTED)
    if value is None:
        table.pop(last, None)
    else:
        table[last] = value


def _inner(table: Any, part: str) -> Any:
    """The table or list under a name or number; None where there can be none."""
    if isinstance(table, list) and part.isdecimal() and int(part) < len(table):
        return table[int(part)]
    if not isinstance(table, dict) or part.isdecimal():
        return None
    if part in _SHORT_FORMS and isinstance(table.get(part), str):
        table[part] = {_SHORT_FORMS[part]: table[part]}
    return table.setdefault(part, {})


def _resolved(scene: Scene) -> Any:
    from wavesim.scene.schema import resolved

    return resolved(scene)


def _changed_values(scene: Scene, changes: Mapping[str, Value], file: str | None) -> Scene:
    """The same by way of the scene's values, for one that no text describes."""
    from wavesim.scene.schema import from_resolved

    values = _resolved(scene)
    for key, value in changes.items():
        *path, last = dotted(key).split(".")
        table: Any = values
        for part in path:
            table = _step(table, part, key, file)
        table[_name(table, last)] = value
        if dotted(key) == "exposure.time":
            table["over"] = 0.0
    return from_resolved(cast("dict[str, object]", values)).beside(scene.folder)


def _step(table: Any, part: str, key: str, file: str | None = None) -> Any:
    if isinstance(table, list) and part.isdigit() and int(part) < len(table):
        return table[int(part)]
    if isinstance(table, dict) and _name(table, part) in table:
        return table[_name(table, part)]
    known = [toml_key(str(k)) for k in table if k != "derived"] if isinstance(table, dict) else []
    expected = _EXPECTED if not known or "aperture" in known else f"one of {', '.join(known)}"
    raise InputError("is not a key of this scene", file=file, key=key, expected=expected)


def _name(table: Any, part: str) -> str:
    """The field of a key: "pitch" -> "pitch_m"."""
    if not isinstance(table, dict):
        return part
    return next((str(k) for k in table if toml_key(str(k)) == part), part)
