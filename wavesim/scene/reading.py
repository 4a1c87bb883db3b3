"""Scene files and texts -> `Scene`."""

from __future__ import annotations

import tomllib
from pathlib import Path

from pydantic import ValidationError

from wavesim.errors import SceneError
from wavesim.scene.messages import translated
from wavesim.scene.model import Scene
from wavesim.scene.quantities import FROM_FILE

LARGEST_FILE = 2**20  # bytes


def load(path: str | Path) -> Scene:
    """Read a scene file.

    Tables and pictures that the scene names are looked for in the file's folder.

    Raises
    ------
    SceneError
        The file is missing, no UTF-8 text, no TOML, or not a scene; the message says where.
    """
    name = str(path)
    scene = parse(_text(_content(name), name), file=name)
    return scene.beside(Path(name).parent)


def parse(text: str, *, file: str | None = None) -> Scene:
    """Read a scene from TOML text; `file` is the name that messages give.

    Raises
    ------
    SceneError
        The text is no TOML or not a scene; the message says where.
    """
    data = _toml(text, file)
    try:
        scene = Scene.model_validate(data, by_alias=True, by_name=False, context=FROM_FILE)
    except ValidationError as error:
        raise translated(error, Scene, data, file=file) from None
    return scene.with_text(text)


def _content(name: str) -> bytes:
    try:
        with Path(name).open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise SceneError(f"cannot be read: {reason}", file=name, expected="a scene file") from None
    if len(content) > LARGEST_FILE:
        raise SceneError(
            "is larger than 1 MiB", file=name, expected="a scene file; long lists belong in tables"
        )
    return content


def _text(content: bytes, name: str) -> str:
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = content.count(b"\n", 0, error.start) + 1
        raise SceneError(
            f"is not UTF-8 text: byte 0x{content[error.start]:02x} in line {line}",
            file=name,
            expected="a TOML file saved as UTF-8",
        ) from None


def _toml(text: str, file: str | None) -> dict[str, object]:
    try:
        return tomllib.loads(text)
    except RecursionError:
        problem = "nests lists or tables too deeply"
    except tomllib.TOMLDecodeError as error:
        problem = f"is not TOML: {error}"
    except ValueError:  # Python reads no more than 4300 digits
        problem = "holds a number of thousands of digits"
    raise SceneError(problem, file=file, expected="TOML, as in the shipped scenes")
