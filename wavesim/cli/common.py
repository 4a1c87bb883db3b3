"""What the commands share: scenes and plates by name, progress, words and JSON on the terminal."""

from __future__ import annotations

import json
import re
import shutil
import sys
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim import results
from wavesim.cli.options import PLATES
from wavesim.errors import OutputError, one_line

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate
    from wavesim.plate import Plate
    from wavesim.scene import Scene, Source

Progress = Callable[[str], None]

_UNPRINTABLE = re.compile(r"[^\x20-\x7e\n]")
_LONGEST_TITLE = 60  # letters beside the sign of progress


def echo_json(value: object) -> None:
    """Print `value` as JSON; not-a-number becomes null, a path its text."""
    text = json.dumps(_plain(value), indent=2, ensure_ascii=False, allow_nan=False)
    click.echo(_UNPRINTABLE.sub(_escaped, text) if not text.isascii() else text)


def _escaped(found: re.Match[str]) -> str:
    """A character as JSON writes it in ASCII, if it might steer a terminal."""
    return found[0] if found[0].isprintable() else json.dumps(found[0])[1:-1]


def _plain(value: object) -> object:
    match value:
        case float():
            return value if abs(value) < float("inf") else None
        case Path():
            return str(value)
        case dict():
            return {str(key): _plain(item) for key, item in value.items()}
        case list() | tuple():
            return [_plain(item) for item in value]
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

    def shown(text: str) -> str:
        return escape(one_line(text, _LONGEST_TITLE))

    with Console(stderr=True).status(shown(what)) as status:
        yield lambda stage: status.update(f"{shown(what)}: {shown(stage)}")


def _quiet(stage: str) -> None:
    """Take no notice of a stage."""


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
        raise OutputError(f"is {name}, which is an input file", file=path, expected="another name")
    from wavesim.scene import named_files

    for scene in scenes:
        for key, wanted in named_files(scene):
            if _same(path, scene.folder / wanted):
                problem = f"is read by {name} as {key}"
                raise OutputError(problem, file=path, value=wanted, expected="another name")


def _same(first: Path, second: Path) -> bool:
    try:
        return first.samefile(second)
    except OSError:  # no such file any more
        return False


def scene_named(name: str, *outputs: Path | None) -> Scene:
    """The scene that a scene file or a plate file holds; `outputs` are to be written and apart."""
    from wavesim.scene import load
    from wavesim.store import load_scene

    scene = load_scene(name) if is_plate(name) else load(name)
    positions = set()
    for path in (path for path in outputs if path is not None):
        check_apart(path, name, scene)
        if path.absolute() in positions:
            raise OutputError("would be written twice", file=path, expected="a name for each")
        positions.add(path.absolute())
    return scene


def plate_named(name: str, scene: Scene, show: Progress) -> ExposedPlate:
    """A plate file read back, or its scene exposed."""
    from wavesim.lightpath import expose, open_plate

    show(name)
    return open_plate(name) if is_plate(name) else expose(scene)


def is_plate(name: str) -> bool:
    """Whether a file's name says that it holds a plate."""
    return Path(name).suffix.lower() in PLATES


def stem(scene_file: str) -> str:
    """Name of a scene file without folder and ending, for naming what is made of it."""
    return Path(scene_file).stem or "plate"


def name_of(scene: Scene, scene_file: str) -> str:
    """The scene's title, or its file's name."""
    return scene.title or stem(scene_file)


def labelled(rows: Sequence[tuple[str, str]]) -> str:
    """Rows of a label and a text, the texts wrapped and aligned."""
    return results.labelled([results.Sentence(*row) for row in rows], width())


def cautions(plates: Sequence[Plate]) -> list[tuple[str, str]]:
    """Rows of the plates' cautions for the eyes, each once."""
    return [
        ("caution", text) for text in dict.fromkeys(t for p in plates for t in p.report.cautions)
    ]


def print_result(
    found: results.Result, *more: tuple[str, str], source: Source | None = None
) -> None:
    """Print a result's sentences and tables, and rows of a label and a text after them.

    Last comes the caution for the eyes that the `source` asks for, unless the result has said it.
    """
    parts = [*found.report(), *(results.Sentence(*row) for row in more)]
    printed = {part.text for part in parts if isinstance(part, results.Sentence)}
    unsaid = (text for text in cautions_for(source) if text not in printed)
    print_parts([*parts, *(results.Sentence("caution", text) for text in unsaid)])


def echo_result(found: results.Result, source: Source, **fields: object) -> None:
    """Print a result as JSON, with the cautions that the `source` asks for and further fields."""
    echo_json({**fields, **found.record(), "cautions": cautions_for(source)})


def cautions_for(source: Source | None) -> tuple[str, ...]:
    """What to tell for the eyes about a source; nothing without one."""
    if source is None:
        return ()
    from wavesim import light

    return light.cautions(source)


def print_parts(parts: Iterable[results.Sentence | results.Listing]) -> None:
    """Print sentences and tables as wide as the terminal."""
    click.echo(results.paragraphs(parts, width()))


def width() -> int:
    """Columns of the terminal; 80 in a pipe or a file."""
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else results.WIDTH
