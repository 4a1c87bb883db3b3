"""wavesim study: many scenes from one file, recorded in one file."""

from __future__ import annotations

import math
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import cautions_for, echo_json, is_plate, labelled, print_result, stem
from wavesim.cli.options import (
    PLATES,
    Look,
    Whole,
    examples,
    json_option,
    look_options,
    writable,
)
from wavesim.files import make_folder
from wavesim.text import shutter

if TYPE_CHECKING:
    from wavesim.ensemble import Progress, StudyPlan
    from wavesim.ensemble.running import Estimate


@click.command(
    short_help="Expose and measure many scenes: sweeps and random draws.",
    epilog=examples(
        "wavesim study scenes/studies/slit_chart.toml --dry-run",
        "wavesim study scenes/studies/slit_chart.toml -o slit_chart.h5",
    ),
)
@click.argument("study_file", metavar="STUDY")
@click.option("-o", "output", metavar="FILE.h5|FOLDER", help="File or folder to write.")
@click.option(
    "--workers",
    type=Whole(1, 1024),
    help="Number of processes. Default: the number of cores of this machine.",
)
@click.option("--cluster", metavar="ADDRESS", help="Use the workers of a running dask scheduler.")
@click.option(
    "--figures", is_flag=True, help="Also draw the figures that suit the study, beside its file."
)
@look_options("page", needs="figures")
@click.option("--member", type=Whole(0, 10_000_000), help="Print this member's scene and stop.")
@click.option(
    "--dry-run",
    is_flag=True,
    help="Print the number of members, time and size, and compute one member.",
)
@json_option
def command(
    study_file: str,
    output: str | None,
    workers: int | None,
    cluster: str | None,
    figures: bool,
    member: int | None,
    dry_run: bool,
    look: Look,
    as_json: bool,
) -> None:
    """Run STUDY: a base scene, what varies, and what is recorded of each member.

    STUDY is a study file (.toml). Writes one HDF5 file. After an interruption the same command
    continues where it stopped; nothing that was finished is lost or computed twice. For a file
    that a study wrote (.h5), it prints the summary of all members again, or the scene of one
    member.
    """
    from wavesim.ensemble import estimate, load_plan, run_study
    from wavesim.ensemble.joined import plan_of
    from wavesim.ensemble.members import Design

    written = is_plate(study_file)
    plan = plan_of(study_file) if written else load_plan(study_file)
    if member is not None:
        click.echo(Design(plan).member(member).text, nl=False)
        return
    if written:
        _refuse_with_file(output, dry_run=dry_run)
        drawn = _drawn(Path(study_file), look) if figures else []
        _tell(plan, Path(study_file), {}, drawn, as_json=as_json)
        return
    target = _target(output, study_file)
    if dry_run:
        _tell_estimate(plan, estimate(plan, target, workers=workers), as_json=as_json)
        return
    with _progress(plan.table.title or stem(study_file)) as show:
        run = run_study(plan, target, workers=workers, cluster=cluster, progress=show)
    drawn = _drawn(target, look) if figures else []
    counts = {"members": run.members, "done": run.members - run.failed, "failed": run.failed}
    _tell(plan, run.file, {**counts, "computed": run.computed}, drawn, as_json=as_json)


def _refuse_with_file(output: str | None, *, dry_run: bool) -> None:
    for given, option in ((output, "-o"), (dry_run, "--dry-run")):
        if given:
            raise click.UsageError(f"{option} needs a study to run (.toml), not the result of one")


def _target(output: str | None, study_file: str) -> Path:
    """The file to write: as named, in the folder named, or the study's name here."""
    name = f"{stem(study_file)}.h5"
    path = Path(output) if output else Path(name)
    if path.suffix.lower() not in PLATES:
        if not path.suffix:
            make_folder(path)
        path /= name
    return writable(path, PLATES)


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


def _tell_estimate(plan: StudyPlan, found: Estimate, *, as_json: bool) -> None:
    cautions = cautions_for(plan.scene.source)
    if as_json:
        echo_json(
            {
                "members": found.members,
                "done": found.done,
                "member_seconds": found.member_s,
                "workers": found.workers,
                "seconds": found.seconds,
                "bytes": found.bytes,
                "cautions": cautions,
            }
        )
        return
    workers = f"{found.workers} process{'' if found.workers == 1 else 'es'}"
    rows = [
        ("study", plan.table.title or stem(plan.name)),
        ("members", f"{found.members:,}, of which {found.done:,} are finished"),
        (
            "time",
            f"{shutter(found.member_s)} a member: about {shutter(max(found.seconds, 1))} in "
            f"{workers}",
        ),
        ("size", f"at most {_bytes(found.bytes)}, twice that while the file is assembled"),
        *(("caution", text) for text in cautions),
    ]
    click.echo(labelled(rows))


def _bytes(size: int) -> str:
    for unit, factor in (("GB", 1e9), ("MB", 1e6), ("kB", 1e3)):
        if size >= factor:
            return f"{size / factor:.3g} {unit}"
    return f"{size} bytes"


def _drawn(target: Path, look: Look) -> list[Path]:
    from wavesim.figures.ensembles import save_all

    return save_all(target, target.parent, target.stem, size=look.of_figure())


def _tell(
    plan: StudyPlan, file: Path, counts: dict[str, int], drawn: list[Path], *, as_json: bool
) -> None:
    from wavesim.ensemble import summarise
    from wavesim.ensemble.recorded import profile_spread, read_members

    found = summarise(read_members(file), plan.table.report, profile_spread(file))
    if as_json:
        cautions = cautions_for(plan.scene.source)
        echo_json({**counts, "file": file, "figures": drawn, "summary": found.record(),
                   "cautions": cautions})  # fmt: skip
        return
    rows = []
    if counts and counts["computed"] < counts["members"]:
        rows.append(("computed", f"{counts['computed']:,} members in this run"))
    if counts or drawn:
        files = (file, *drawn) if counts else drawn
        rows.append(("written", ", ".join(str(path) for path in files)))
    print_result(found, *rows, source=plan.scene.source)
