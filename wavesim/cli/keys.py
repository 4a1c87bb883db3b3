"""wavesim keys: every key of a scene or study file, for people."""

from __future__ import annotations

import difflib
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_json, width
from wavesim.cli.options import Output, examples, json_option
from wavesim.errors import InputError

if TYPE_CHECKING:
    from pydantic import BaseModel

    from wavesim.scene.reference import KeyTable


@click.command(
    short_help="Explain the keys of a scene or study file.",
    epilog=examples(
        "wavesim keys aperture.pitch",
        "wavesim keys source.filters",
        "wavesim keys --study record.numbers",
        "wavesim keys --markdown -o KEYS.md",
    ),
)
@click.argument("key", required=False)
@click.option("--study", is_flag=True, help="The keys of a study file instead.")
@click.option("--markdown", is_flag=True, help="All keys, as a page of Markdown.")
@click.option("-o", "output", type=Output(".md"), help="File for the page.")
@json_option
def command(
    key: str | None, study: bool, markdown: bool, output: Path | None, as_json: bool
) -> None:
    """Explain the keys of a scene or study file: meaning, unit, limits, default, example.

    KEY is a key (pitch, aperture.pitch) or a table (source.slit); without it all tables are
    listed. `wavesim schema` gives those of a scene for editors.
    """
    from wavesim.scene import Scene, reference

    if study:
        from wavesim.ensemble.plan import StudyTable
    model: type[BaseModel] = StudyTable if study else Scene
    what = "study" if study else "scene"
    if markdown or output is not None:
        if key is not None:
            raise click.UsageError("--markdown lists all keys; omit KEY")
        _page(_study_page(model) if study else reference.markdown(), output)
        return
    tables = reference.reference(model) if key is None else reference.matching(key, model)
    if not tables:
        raise _unknown(str(key), what, reference.reference(model))
    if as_json:
        echo_json([asdict(table) for table in tables])
    else:
        click.echo("\n\n".join(_text(table, full=key is not None) for table in tables))


def _page(text: str, output: Path | None) -> None:
    from wavesim.files import replacing

    if output is None:
        click.echo(text, nl=False)
        return
    with replacing(output) as temporary:
        temporary.write_text(text, encoding="utf-8")


def _study_page(model: type[BaseModel]) -> str:
    """The page of study files, with the numbers that can be recorded."""
    from wavesim.ensemble.numbers import NUMBERS
    from wavesim.scene.reference import markdown

    page = markdown(model, "study", "wavesim keys --study", "scenes/studies/KEYS.md")
    rows = [f"| `{name}` | {number.unit} | {number.meaning} |" for name, number in NUMBERS.items()]
    heading = [
        "## Numbers that can be recorded",
        "",
        "| name | unit | meaning |",
        "| --- | --- | --- |",
    ]
    return "\n".join([page, *heading, *rows]) + "\n"


def _unknown(key: str, what: str, tables: tuple[KeyTable, ...]) -> InputError:
    names = {key.name for table in tables for key in table.keys}
    names |= {f"{table.name}.{key.name}" for table in tables for key in table.keys if table.name}
    names |= {table.name for table in tables}
    near = difflib.get_close_matches(key, sorted(names - {""}), 1)
    usual = "aperture.pitch" if what == "scene" else "vary.values"
    expected = f'did you mean "{near[0]}"?' if near else f"a key such as {usual}"
    return InputError(f"is not a key of a {what} file", key="KEY", value=key, expected=expected)


def _text(table: KeyTable, *, full: bool) -> str:
    from wavesim.results import Column, Listing, Sentence, labelled

    title = table.heading + (f" with {table.condition}" if table.condition else "")
    if not full:
        columns = (Column("key"), Column("meaning", wraps=True), Column("example"))
        rows = tuple((key.name, key.meaning, key.example[:30]) for key in table.keys)
        return Listing(f"{title}: {table.meaning}".rstrip(": "), columns, rows).text(width())
    parts = []
    for key in table.keys:
        rows_ = [("key", f"{key.name} in {title}"), ("meaning", key.meaning),
                 ("values", key.values), ("default", key.default), ("example",
                 f"{key.name} = {key.example}" if key.example else "")]  # fmt: skip
        parts.append(labelled([Sentence(*row) for row in rows_ if row[1]], width()))
    return "\n\n".join(parts)
