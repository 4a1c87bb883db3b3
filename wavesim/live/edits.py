"""Values of a scene file changed by their keys, in its tables and in its text.

The tables serve each frame; the text is written when somebody reads it, and keeps its comments.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Any

from wavesim.errors import SceneError

_PART = re.compile(r"([A-Za-z_0-9]+)((?:\[[0-9]+\])*)")
_SHORT_FORMS = {"beam": "diameter"}  # beam = "40 mm" stands for beam = { diameter = "40 mm" }
_DEEPEST = 8

Given = str | int | float | bool


def steps_of(path: str) -> tuple[str | int, ...]:
    """ "aperture.defects[0].amplitude" -> ("aperture", "defects", 0, "amplitude").

    Raises
    ------
    SceneError
        This is not a key of a scene file.
    """
    steps: list[str | int] = []
    for part in path.split("."):
        found = _PART.fullmatch(part)
        if found is None or len(steps) > _DEEPEST:
            raise SceneError(
                "is not a key of a scene file", key=path[:80], expected="aperture.width"
            )
        steps.append(found[1])
        steps += [int(number) for number in re.findall("[0-9]+", found[2])]
    return tuple(steps)


def put(tables: Any, path: str, value: Given | None) -> None:
    """Set the key in the tables (plain ones or a TOML document's); None takes it out.

    Raises
    ------
    SceneError
        There is not a table of that name to hold the key.
    """
    *way, last = steps_of(path)
    place = tables
    for step in way:
        place = _inner(place, step, path)
    try:
        if value is None:
            place.pop(last, None)
        else:
            place[last] = value
    except (TypeError, AttributeError, IndexError, KeyError):
        raise _missing(path) from None


def _inner(place: Any, step: str | int, path: str) -> Any:
    try:
        if isinstance(step, str) and step not in place:
            place[step] = {}
        if isinstance(place[step], str) and step in _SHORT_FORMS:
            place[step] = {_SHORT_FORMS[str(step)]: place[step]}
        return place[step]
    except (TypeError, KeyError, IndexError):
        raise _missing(path) from None


def _missing(path: str) -> SceneError:
    return SceneError("has no table to stand in", key=path, expected="a key of this scene")


def rewritten(text: str, edits: Iterable[tuple[str, Given | None]]) -> str:
    """The scene's text with values changed; comments, order and spacing stay as they are."""
    import tomlkit

    document = tomlkit.parse(text)
    for path, value in edits:
        put(document, path, value)
    return tomlkit.dumps(document)
