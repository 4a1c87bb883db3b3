"""Scene files and texts -> `Scene`."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel, ValidationError

from wavesim.errors import SceneError
from wavesim.scene.messages import translated
from wavesim.scene.model import Scene
from wavesim.scene.quantities import FROM_FILE

LARGEST_FILE = 2**20  # bytes
FILE_FIELDS = ("file", "phase_file", "reflectance_file")


def load(path: str | Path) -> Scene:
    """Read a scene file.

    Tables and pictures that the scene names are looked for in the file's folder. In a fresh
    process import and reading take about 0.2 s, half of it pydantic's own start; from then on
    1 ms a scene. Rare units (furlongs) wake pint, 0.4 s more.

    Raises
    ------
    SceneError
        The file is missing, no UTF-8 text, no TOML, or not a scene; the message says where.
    """
    name = str(path)
    scene = parse(_text(_content(name), name), file=name)
    scene = scene.beside(Path(name).absolute().parent)
    _find_files(scene, name)
    return scene


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


def _find_files(scene: Scene, name: str) -> None:
    """Refuse a scene whose tables or pictures are not there, before any work is done."""
    for key, wanted in named_files(scene):
        if not _is_file(scene.folder / wanted):
            raise SceneError(
                "names a file that is not there",
                file=name,
                key=key,
                value=wanted,
                expected=f"the name of a file in {scene.folder}, or its full path",
            )


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except OSError:  # a name that is too long, a folder that may not be searched
        return False


def named_files(value: object, key: str = "") -> Iterator[tuple[str, str]]:
    """Key and name of every table or picture of a scene; names are relative to its folder."""
    if isinstance(value, tuple):
        for number, item in enumerate(value):
            yield from named_files(item, f"{key}[{number}]")
    elif isinstance(value, BaseModel):
        for name, field in type(value).model_fields.items():
            inner, inner_key = getattr(value, name), f"{key}.{field.alias}".lstrip(".")
            if isinstance(inner, str) and name in FILE_FIELDS:
                yield inner_key, inner
            else:
                yield from named_files(inner, inner_key)


def _content(name: str) -> bytes:
    try:
        with Path(name).open("rb") as stream:
            content = stream.read(LARGEST_FILE + 1)
    except FileNotFoundError:
        raise SceneError("there is no such file", file=name, expected="a scene file") from None
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
