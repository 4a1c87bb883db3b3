"""Slips of TOML's grammar -> the line, what is wrong with it, and how it would be right."""

from __future__ import annotations

import re
import tomllib

from wavesim.errors import SceneError
from wavesim.scene.messages import shown_text

_PLACE = re.compile(r"(.*) \(at (?:line (\d+), column \d+|end of document)\)", re.DOTALL)
_BARE = re.compile(r"""([\w-]+)\s*=\s*([^\s"'\[{][^"'\[\]{},#]*)""")  # a key and what has no quotes
_SCALAR = re.compile(r"[-+]?[0-9][0-9_.eE+-]*|true|false|[-+]?(inf|nan)")
_LONGEST = 80  # letters of a line written out
_AS_SHIPPED = "TOML, as in the shipped scenes"


def refusal(error: tomllib.TOMLDecodeError, text: str, file: str | None) -> SceneError:
    """The error of a text that is no TOML, in the words of someone who writes scenes."""
    position = _PLACE.fullmatch(str(error))
    if position is None or position[2] is None:
        return SceneError(f"is not TOML: {error}", file=file, expected=_AS_SHIPPED)
    line = text.split("\n")[int(position[2]) - 1].strip()
    problem, expected = (
        _twice(position[1]) or _slip(line) or (f"is not TOML: {position[1]}", _AS_SHIPPED)
    )
    return SceneError(
        problem, file=file, key=f"line {position[2]}", value=shown_text(line), expected=expected
    )


def _twice(reason: str) -> tuple[str, str] | None:
    if reason.startswith("Cannot overwrite"):
        return "gives a key a second time", "each key once"
    if reason.startswith("Cannot declare"):
        return "opens a table a second time", "each table once; [[...]] for each item of a list"
    return None


def _slip(line: str) -> tuple[str, str] | None:
    """The usual slips."""
    if re.search("[“”„‘’«»]", line):
        return "has typographic quotes", 'straight ones: "40 um"'
    if line.startswith("[") and line.count("[") != line.count("]"):
        return "has brackets that do not match", "[table], or [[list]] for an item of a list"
    if line.endswith(";"):
        return "ends with a semicolon", "nothing after the value"
    colon = re.fullmatch(r"([\w.-]+)\s*:\s*([^\s=][^=]*)", line)
    if colon:
        expected = f"{colon[1]} = {colon[2]}"
        return "has a colon where an equals sign belongs", _brief(expected, "key = value")
    for key, value in _BARE.findall(line):
        if not _SCALAR.fullmatch(value.strip()):
            expected = f'{key} = "{value.strip()}"'
            return "has a text without quotes", _brief(expected, 'quotes about it: key = "text"')
    return None


def _brief(expected: str, general: str) -> str:
    """The line as it would be right, or in general where it is too long to be read."""
    return expected if len(expected) <= _LONGEST else general
