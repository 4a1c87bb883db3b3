"""Scene files and texts -> `Scene`."""

from __future__ import annotations

import difflib
import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

from pydantic import BaseModel, ValidationError

from wavesim.errors import SceneError
from wavesim.inputs import bytes_text, open_regular, read_most
from wavesim.scene.messages import translated
from wavesim.scene.model import Scene
from wavesim.scene.quantities import FROM_FILE
from wavesim.scene.syntax import refusal

LARGEST_FILE = 2**20  # bytes
_OTHER_KINDS = {
    b"\x89HDF": "a plate file (HDF5)", b"\x89PNG": "a picture", b"\xff\xd8\xff": "a picture",
    b"II*\0": "a picture", b"MM\0*": "a picture",
}  # fmt: skip
_AS_SHIPPED = "TOML, as in the shipped scenes"
_DEEPEST = 40  # parts of a dotted key; memory goes with their square
_PART = r"""(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')"""
_DEEP_KEY = re.compile(
    rf"(?:^|[{{,\[])[ \t]*+{_PART}(?:[ \t]*+\.[ \t]*+{_PART}){{{_DEEPEST}}}", re.MULTILINE
)
FILE_FIELDS = ("file", "phase_file", "reflectance_file", "material_file")


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
    return from_tables(_toml(text, file), file=file).with_text(text)


def from_tables(data: dict[str, object], *, file: str | None = None) -> Scene:
    """A scene from the tables of a scene file, as TOML reads them; it has no text.

    Raises
    ------
    SceneError
        The tables are not those of a scene; the message says where.
    """
    try:
        return Scene.model_validate(data, by_alias=True, by_name=False, context=FROM_FILE)
    except ValidationError as error:
        raise translated(error, Scene, data, file=file) from None


def _find_files(scene: Scene, name: str) -> None:
    """Refuse a scene whose tables or pictures are not there, before any work is done."""
    for key, wanted in named_files(scene):
        if not _is_file(scene.folder / wanted):
            raise SceneError(
                "names a file that does not exist",
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
    expected = "a scene file; long lists belong in tables"
    if "\0" not in name and not Path(name).exists():
        expected = _neighbour(Path(name)) or "a scene file"
    with open_regular(Path(name), SceneError, expected) as stream:
        content = read_most(stream, LARGEST_FILE + 1, Path(name), SceneError, expected)
    for beginning, kind in _OTHER_KINDS.items():
        if content.startswith(beginning):
            raise SceneError(
                f"is {kind}, not a scene file", file=name, expected="a scene file (.toml)"
            )
    if len(content) > LARGEST_FILE:
        raise SceneError(f"is larger than {bytes_text(LARGEST_FILE)}", file=name, expected=expected)
    return content


def _neighbour(path: Path) -> str | None:
    """The scene in the same folder whose name is nearest."""
    try:
        names = [scene.name for scene in path.parent.glob("*.toml")]
    except (OSError, ValueError):
        return None
    near = difflib.get_close_matches(path.name, names, n=1, cutoff=0.75)
    return f"did you mean {path.with_name(near[0])}?" if near else None


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
    for match in _DEEP_KEY.finditer(text):
        line = text.count("\n", 0, match.start()) + 1
        problem = f"has a key of more than {_DEEPEST} parts"
        raise SceneError(problem, file=file, key=f"line {line}", expected=_AS_SHIPPED)
    try:
        return tomllib.loads(text)
    except RecursionError:
        problem = "nests lists or tables too deeply"
    except tomllib.TOMLDecodeError as error:
        raise refusal(error, text, file) from None
    except ValueError:  # Python reads no more than 4300 digits
        problem = "holds a number of thousands of digits"
    raise SceneError(problem, file=file, expected=_AS_SHIPPED)
