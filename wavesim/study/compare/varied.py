"""A scene with one value changed, named as in the scene file."""

from __future__ import annotations

from typing import Any

from wavesim.errors import InputError
from wavesim.scene import Scene, from_resolved, resolved
from wavesim.scene.base import toml_key

_UNITS = ("m", "rad", "K", "Pa", "s", "W", "lx")


def with_value(scene: Scene, key: str, value: float) -> Scene:
    """The scene with the value at a dotted key replaced, checked as a scene again.

    Parameters
    ----------
    key : "aperture.pitch", "source.filters.0.width" ... as in the file
    value : [SI]; whole where the key asks for a whole number

    Raises
    ------
    InputError
        There is no such key, it holds no number, or the scene refuses the value.
    """
    values: dict[str, Any] = resolved(scene)
    place: Any = values
    parts = key.split(".")
    for depth, part in enumerate(parts[:-1]):
        place = _step(place, part, ".".join(parts[: depth + 1]))
    name = _name(place, parts[-1], key)
    old = place[name]
    if isinstance(old, bool) or not isinstance(old, (int, float)):
        raise InputError(
            "holds no number to vary", key=key, value=old, expected="a key with a number given"
        )
    place[name] = round(value) if isinstance(old, int) else float(value)
    return from_resolved(values).beside(scene.folder)


def unit_of(scene: Scene, key: str) -> str:
    """Unit of the value at a dotted key, "" for plain numbers."""
    place: Any = resolved(scene)
    parts = key.split(".")
    for depth, part in enumerate(parts[:-1]):
        place = _step(place, part, ".".join(parts[: depth + 1]))
    suffix = str(_name(place, parts[-1], key)).rpartition("_")[2]
    return suffix if suffix in _UNITS else ""


def _step(place: Any, part: str, key: str) -> Any:
    if isinstance(place, list):
        if part.isdigit() and int(part) < len(place):
            return place[int(part)]
        raise InputError(
            "is not in the list", key=key, value=part, expected=f"0 to {len(place) - 1}"
        )
    return place[_name(place, part, key)]


def _name(place: Any, part: str, key: str) -> str | int:
    if isinstance(place, list):
        return int(part) if part.isdigit() else part
    known = {} if not isinstance(place, dict) else {toml_key(str(k)): str(k) for k in place}
    if part in known:
        return known[part]
    if isinstance(place, dict) and part in place:
        return part
    raise InputError(
        "is no key of this scene", key=key,
        expected=_expected(known),
    )  # fmt: skip


def _expected(known: dict[str, str]) -> str:
    if not known:
        return "a table"
    if "aperture" in known:  # the scene itself
        return "a key and the tables about it, such as aperture.pitch"
    return "one of " + ", ".join(key for key in known if key != "derived")
