"""wavesim study: many scenes from one file, recorded in one file."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_json, labelled, stem, width
from wavesim.cli.options import PLATES, Whole, examples, json_option, writable
from wavesim.errors import OutputError
from wavesim.results import Column, Listing
from wavesim.text import length, shutter

if TYPE_CHECKING:
    from wavesim.ensemble import Plan, Progress, Run, Summary
    from wavesim.ensemble.running import Estimate
    from wavesim.ensemble.summary import NumberSummary


@click.command(
    short_help="Expose and measure many scenes: sweeps and random draws.",
    epilog=examples(
        "wavesim study scenes/studies/slit_chart.toml --dry-run",
        "wavesim study scenes/studies/slit_chart.toml -o slit_chart.h5",
    ),
)
@click.argument("study_file", metavar="STUDY")
@click.option("-o", "output", metavar="FILE.h5|FOLDER", help="Write the study here.")
@click.option(
    "--workers", type=Whole(1, 1024), help="Processes; default the cores of this machine."
)
@click.option("--cluster", metavar="ADDRESS", help="Use the workers of a running dask scheduler.")
@click.option("--figures", is_flag=True, help="Draw what fits the study beside it, too.")
@click.option("--member", type=Whole(0, 10_000_000), help="Print this member's scene and stop.")
@click.option("--dry-run", is_flag=True, help="Say members, time and size; compute one of them.")
@json_option
def command(
    study_file: str,
    output: str | None,
    workers: int | None,
    cluster: str | None,
    figures: bool,
    member: int | None,
    dry_run: bool,
    as_json: bool,
) -> None:
    """Run STUDY: a base scene, what varies, and what is recorded of each member.

    STUDY is a study file (.toml). Writes one HDF5 file. Interrupted or killed, the same command
    goes on where it stopped; nothing that was finished is lost or computed twice.
    """
    from wavesim.ensemble import estimate, load_plan, run_study

    plan = load_plan(study_file)
    target = _target(output, study_file)
    if member is not None:
        click.echo(_member_scene(plan, member), nl=False)
        return
    if dry_run:
        _tell_estimate(plan, estimate(plan, target, workers=workers), as_json=as_json)
        return
    with _progress(plan.table.title or stem(study_file)) as show:
        run = run_study(plan, target, workers=workers, cluster=cluster, progress=show)
    drawn = _drawn(target) if figures else []
    _tell(plan, run, drawn, as_json=as_json)


def _target(output: str | None, study_file: str) -> Path:
    """The file to write: as named, in the folder named, or the study's name here."""
    name = f"{stem(study_file)}.h5"
    path = Path(output) if output else Path(name)
    if path.suffix.lower() not in PLATES:
        if not path.suffix:
            _folder(path)
        path /= name
    return writable(path, PLATES)


def _folder(path: Path) -> None:
    try:
        path.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"cannot be made: {error.strerror}",
            file=path,
            expected="a folder that can be written to",
        ) from None


def _member_scene(plan: Plan, member: int) -> str:
    from wavesim.ensemble.members import Design
    from wavesim.errors import InputError

    design = Design(plan)
    if member >= design.count:
        raise InputError(
            "is not a member of this study",
            key="--member",
            value=member,
            expected=f"0 to {design.count - 1:,}",
        )
    return design.scene(member).text


@contextmanager
def _progress(what: str) -> Iterator[Callable[[Progress], None] | None]:
    """A bar with the time left on a terminal; nothing in a pipe."""
    if not sys.stderr.isatty():
        yield None
        return
    from rich.console import Console
    from rich.markup import escape
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn
    from rich.progress import Progress as Bar

    from wavesim.results import printable

    with Bar(
        TextColumn(escape(printable(what))),
        BarColumn(),
        MofNCompleteColumn(),
        TextColumn("{task.fields[left]}"),
        console=Console(stderr=True),
    ) as bar:
        task = bar.add_task("", total=None, left="")
        yield lambda p: bar.update(
            task,
            completed=p.done,
            total=p.members,
            left="" if math.isnan(p.left_s) else f"{shutter(p.left_s)} left",
        )


def _tell_estimate(plan: Plan, found: Estimate, *, as_json: bool) -> None:
    if as_json:
        echo_json(
            {
                "members": found.members,
                "done": found.done,
                "member_seconds": found.member_s,
                "workers": found.workers,
                "seconds": found.seconds,
                "bytes": found.bytes,
            }
        )
        return
    workers = f"{found.workers} process{'' if found.workers == 1 else 'es'}"
    rows = [
        ("study", plan.table.title or stem(plan.name)),
        ("members", f"{found.members:,}, of which {found.done:,} are done"),
        (
            "time",
            f"{shutter(found.member_s)} a member: about {shutter(max(found.seconds, 1))} in "
            f"{workers}",
        ),
        ("size", f"at most {_bytes(found.bytes)}"),
    ]
    click.echo(labelled(rows))


def _bytes(size: int) -> str:
    for unit, factor in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if size >= factor:
            return f"{size / factor:.3g} {unit}"
    return f"{size} bytes"


def _drawn(target: Path) -> list[Path]:
    from wavesim.figures.ensembles import save_all

    return save_all(target, target.parent, target.stem)


def _tell(plan: Plan, run: Run, drawn: list[Path], *, as_json: bool) -> None:
    from wavesim.ensemble import summarise
    from wavesim.ensemble.summary import read_members

    members = read_members(run.file)
    found = summarise(members, plan.table.report)
    if as_json:
        echo_json(
            {
                "members": run.members,
                "done": run.members - run.failed,
                "failed": run.failed,
                "computed": run.computed,
                "file": run.file,
                "figures": drawn,
                "summary": _record(found),
            }
        )
        return
    rows = [("study", plan.table.title or stem(plan.name))]
    failed = f", {run.failed:,} failed" if run.failed else ""
    again = f", {run.computed:,} of them now" if run.computed < run.members else ""
    rows.append(("members", f"{run.members:,}{again}{failed}"))
    rows += [("failed", text) for text in _failures(members.failures)]
    click.echo(labelled(rows))
    _tables(found)
    rows = [
        ("yield", f"{y.fraction:.1%} +- {y.error:.1%} of the members have {y.number} {y.limit}")
        for y in found.yields
    ]
    rows += [("worst", _worst(number)) for number in found.numbers if number.worst]
    rows.append(("written", ", ".join(str(path) for path in (run.file, *drawn))))
    rows += [("caution", text) for text in _cautions(plan)]
    click.echo(labelled(rows))


def _failures(messages: tuple[str, ...]) -> list[str]:
    """Each message once, with the number of members that have it and the first of them."""
    found: dict[str, list[int]] = {}
    for index, text in enumerate(messages):
        if text:
            found.setdefault(text, []).append(index)
    return [
        f"{len(which):,} (member {which[0]} first): {text}"
        for text, which in list(found.items())[:3]
    ]


def _tables(found: Summary) -> None:
    if found.numbers:
        quantiles = [f"{100 * p:g} %" for p, _ in found.numbers[0].quantiles]
        rows = [
            (
                n.name,
                _shown(n.mean, n.unit),
                _shown(n.deviation, n.unit),
                *(_shown(v, n.unit) for _, v in n.quantiles),
            )
            for n in found.numbers
        ]
        _print("all members", ("number", "mean", "deviation", *quantiles), rows)
    if found.sensitivities:
        total = any(math.isfinite(s.total) for s in found.sensitivities)
        head = (
            "number",
            "key",
            "rank correlation",
            "fraction of variance",
            *(("with interactions",) if total else ()),
        )
        lines = [
            (
                s.number,
                s.key,
                f"{s.rank_correlation:+.3f}",
                f"{s.share:.3f}",
                *((f"{s.total:.3f}",) if total else ()),
            )
            for s in found.sensitivities
        ]
        _print("what they depend on", head, lines)


def _print(title: str, head: Sequence[str], rows: Sequence[tuple[str, ...]]) -> None:
    columns = tuple(Column(name) for name in head)
    click.echo("\n" + Listing(title, columns, tuple(rows)).text(width()) + "\n")


def _worst(number: NumberSummary) -> str:
    listed = ", ".join(f"member {k} ({_shown(v, number.unit)})" for k, v in number.worst)
    return f"{number.name}: {listed}"


def _shown(value: float, unit: str) -> str:
    if not math.isfinite(value):
        return "-"
    if unit == "m":
        return length(value) if value >= 0 else f"-{length(-value)}"
    return f"{value:.4g} {unit}".strip()


def _cautions(plan: Plan) -> tuple[str, ...]:
    from wavesim import light

    return light.cautions(plan.scene.source)


def _record(found: Summary) -> dict[str, object]:
    from dataclasses import asdict

    return asdict(found)
