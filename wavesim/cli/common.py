"""What the commands share: options, progress, checked outputs, quantities in plain words."""

from __future__ import annotations

import json
import os
import sys
import textwrap
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.errors import OutputError
from wavesim.files import refuse_no_file

if TYPE_CHECKING:
    from wavesim.scene import Scene

json_option = click.option(
    "--json", "as_json", is_flag=True, help="Print one JSON object instead of sentences."
)

Progress = Callable[[str], None]

PLATE_ENDINGS = (".h5", ".hdf5", ".nxs")
_WIDTH = 88
_LABEL = 12


def echo_json(value: object) -> None:
    """Print `value` as JSON; not-a-number becomes null."""
    click.echo(json.dumps(_finite(value), indent=2, ensure_ascii=False, allow_nan=False))


def _finite(value: object) -> object:
    match value:
        case float():
            return value if abs(value) < float("inf") else None
        case dict():
            return {str(key): _finite(item) for key, item in value.items()}
        case list() | tuple():
            return [_finite(item) for item in value]
        case _:
            return value


@contextmanager
def progress(what: str) -> Iterator[Progress]:
    """Show on a terminal which stage is at work on `what`; nothing in a pipe."""
    if not sys.stderr.isatty():
        yield _quiet
        return
    from rich.console import Console
    from rich.markup import escape

    with Console(stderr=True).status(escape(what)) as status:
        yield lambda stage: status.update(f"{escape(what)}: {escape(stage)}")


def _quiet(stage: str) -> None:
    """Take no notice of a stage."""


def check_output(path: Path) -> None:
    """Refuse, before any work is done, a name that cannot be written.

    Raises
    ------
    OutputError
        The folder is missing or read-only, or the name is a folder or a device.
    """
    folder = path.absolute().parent
    if not folder.is_dir():
        raise OutputError(f"there is no folder {folder}", file=path, expected="an existing folder")
    refuse_no_file(path)
    if not os.access(folder, os.W_OK | os.X_OK):
        raise OutputError(f"the folder {folder} is read-only", file=path, expected="another folder")


def check_apart(path: Path, name: str, *scenes: Scene) -> None:
    """Refuse to write over the file `name` that is read, or a table or picture of its scenes.

    Raises
    ------
    OutputError
        `path` is one of them, under whatever name.
    """
    if not path.exists():
        return
    if _same(path, Path(name)):
        raise OutputError(f"is {name}, which is read", file=path, expected="another name")
    from wavesim.scene import named_files

    for scene in scenes:
        for key, wanted in named_files(scene):
            if _same(path, scene.folder / wanted):
                problem = f"is read by {name} as {key}"
                raise OutputError(problem, file=path, value=wanted, expected="another name")


def _same(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:  # no such file any more
        return False


def check_ending(path: Path, endings: Sequence[str]) -> None:
    """Refuse a name that says another kind of file than is written.

    Raises
    ------
    OutputError
        The name has none of the endings.
    """
    if path.suffix.lower() not in endings:
        right = f"a name that ends in {' or '.join(endings)}"
        raise OutputError("has the wrong ending", file=path, value=path.suffix, expected=right)


def stem(scene_file: str) -> str:
    """Name of a scene file without folder and ending, for naming what is made of it."""
    return Path(scene_file).stem or "plate"


def name_of(scene: Scene, scene_file: str) -> str:
    """The scene's title, or its file's name."""
    return scene.title or stem(scene_file)


def labelled(rows: Sequence[tuple[str, str]]) -> str:
    """Rows of a label and a text, the texts wrapped and aligned."""
    return "\n".join(
        textwrap.fill(
            printable(text),
            _WIDTH,
            initial_indent=f"{label:<{_LABEL}}",
            subsequent_indent=" " * _LABEL,
            break_long_words=False,
            break_on_hyphens=False,
        )
        for label, text in rows
    )


def printable(text: str) -> str:
    """Text in which nothing can steer a terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)
