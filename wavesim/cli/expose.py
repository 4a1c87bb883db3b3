"""wavesim expose: a scene becomes a plate file and a picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
    check_apart,
    echo_json,
    is_plate,
    labelled,
    name_of,
    print_result,
    progress,
    scene_named,
    stem,
)
from wavesim.cli.options import PLATES, Output, examples, json_option, writable
from wavesim.errors import InputError, OutputError
from wavesim.store.layout import PRECISIONS
from wavesim.text import size

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate
    from wavesim.scene import Scene
    from wavesim.study.plate_summary import PlateSummary


@click.command(
    epilog=examples(
        "wavesim expose scenes/slits_005.toml",
        "wavesim expose scenes/grating_600.toml -o sun.h5 --png sun.png",
        "wavesim expose scenes/slits_001.toml scenes/slits_002.toml --folder .",
    )
)
@click.argument("scene_files", metavar="SCENE...", nargs=-1, required=True)
@click.option("-o", "output", type=Output(*PLATES), help="Plate file to write, for a single scene.")
@click.option("--png", type=Output(".png"), help="Picture to write, for a single scene.")
@click.option(
    "--folder", metavar="FOLDER", help="Folder for plates and pictures, named after their scenes."
)
@click.option(
    "--precision",
    type=click.Choice(PRECISIONS),
    default="auto",
    show_default=True,
    help="Numbers in the plate file: double keeps every bit; single is accurate to 6e-8 at half "
    "the size; auto is single from 64 MB on.",
)
@json_option
def command(
    scene_files: tuple[str, ...],
    output: Path | None,
    png: Path | None,
    folder: str | None,
    precision: str,
    as_json: bool,
) -> None:
    """Expose SCENE: compute what its bench puts on the plate.

    SCENE is a scene file (.toml). Writes the files named by -o and --png; without them, SCENE's
    name with .h5 and .png in the current folder or in --folder. An existing file is replaced only
    when the new one is complete. Several scenes are all read before the first is exposed, and
    share what they have in common; with --json they make one object with a list "plates".
    """
    jobs = _jobs(scene_files, output, png, folder)
    expose = _exposing(len(jobs))
    records = []
    for job in jobs:
        found = _expose(job, expose, precision)
        if as_json:
            records.append({"scene_file": job.scene_file, **found.record(),
                            "plate_file": job.output, "picture_file": job.png})  # fmt: skip
        else:
            click.echo(labelled([("plate", name_of(job.scene, job.scene_file))]))
            print_result(found, ("written", ", ".join(map(str, job.files))))
    if as_json:
        echo_json(records[0] if len(records) == 1 else {"plates": records})


@dataclass(frozen=True)
class _Job:
    """A scene and the files that are made of it."""

    scene_file: str
    scene: Scene
    output: Path | None
    png: Path | None

    @property
    def files(self) -> list[Path]:
        """What is written."""
        return [path for path in (self.output, self.png) if path is not None]


def _jobs(
    scene_files: tuple[str, ...], output: Path | None, png: Path | None, folder: str | None
) -> list[_Job]:
    """All scenes read, and the names of all files judged, before any work is done."""
    named = output is not None or png is not None
    if named and len(scene_files) > 1:
        raise OutputError(
            f"names one file, and there are {len(scene_files)} scenes",
            file=output or png, expected="--folder, or one scene",
        )  # fmt: skip
    if named and folder is not None:
        raise OutputError(
            "cannot be combined with -o and --png, which name files",
            file=folder,
            expected="one of them",
        )
    jobs: list[_Job] = []
    for scene_file in scene_files:
        if is_plate(scene_file) and Path(scene_file).is_file():
            raise InputError(
                "is already a plate file", file=scene_file, expected="a scene file (.toml)"
            )
        plate, picture = output, png
        if not named:
            base = Path(folder or "") / stem(scene_file)
            plate = writable(base.with_name(base.name + ".h5"), PLATES)
            picture = writable(base.with_name(base.name + ".png"), (".png",))
        files = [path for path in (plate, picture) if path is not None]
        scene = scene_named(scene_file, *files)
        _refuse_twice(jobs, files)
        jobs.append(_Job(scene_file, scene, plate, picture))
    for job in jobs:
        for path in job.files:
            for other in jobs:
                check_apart(path, other.scene_file, other.scene)
    return jobs


def _refuse_twice(jobs: list[_Job], files: list[Path]) -> None:
    taken = {path.absolute() for job in jobs for path in job.files}
    for path in files:
        if path.absolute() in taken:
            raise OutputError(
                "would be written twice", file=path, expected="scenes of different names"
            )


def _exposing(count: int) -> Callable[..., ExposedPlate]:
    """One exposure, or a path that remembers what several have in common."""
    from wavesim import lightpath

    return lightpath.expose if count == 1 else lightpath.LightPath().expose


def _expose(job: _Job, expose: Callable[..., ExposedPlate], precision: str) -> PlateSummary:
    with progress(name_of(job.scene, job.scene_file)) as show:
        plate = expose(job.scene, progress=show)
        if job.output is not None:
            from wavesim.store import most_bytes

            show(f"writing {job.output}, up to {size(most_bytes(plate, precision=precision))}")
            plate.save(job.output, precision=precision)
        if job.png is not None:
            plate.save_png(job.png)
        from wavesim.study.plate_summary import PlateSummary

        return PlateSummary(plate)
