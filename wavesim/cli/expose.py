"""wavesim expose: a scene becomes a plate file and a picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
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
from wavesim.errors import InputError

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate


@click.command(
    epilog=examples(
        "wavesim expose scenes/slits_005.toml",
        "wavesim expose scenes/grating_600.toml -o sun.h5 --png sun.png",
    )
)
@click.argument("scene_file", metavar="SCENE")
@click.option("-o", "output", type=Output(*PLATES), help="Write the plate here.")
@click.option("--png", type=Output(".png"), help="Write its picture here.")
@json_option
def command(scene_file: str, output: Path | None, png: Path | None, as_json: bool) -> None:
    """Expose SCENE: compute what its bench leaves on its plate.

    SCENE is a scene file (.toml). Writes what -o and --png name; with neither, SCENE's name with
    .h5 and .png in the current folder. What was there is replaced when the new file is complete,
    not before.
    """
    if is_plate(scene_file) and Path(scene_file).is_file():
        raise InputError("is a plate already", file=scene_file, expected="a scene file (.toml)")
    if output is None and png is None:
        output = writable(Path(stem(scene_file) + ".h5"), PLATES)
        png = writable(Path(stem(scene_file) + ".png"), (".png",))
    written = [path for path in (output, png) if path is not None]
    scene = scene_named(scene_file, *written)
    with progress(name_of(scene, scene_file)) as show:
        from wavesim.lightpath import expose

        plate = expose(scene, progress=show)
        _write(plate, output, png)
        from wavesim.study.plate_summary import PlateSummary

        found = PlateSummary(plate)
    if as_json:
        echo_json({"scene_file": scene_file, **found.record(), "plate_file": output,
                   "picture_file": png})  # fmt: skip
    else:
        click.echo(labelled([("plate", name_of(scene, scene_file))]))
        print_result(found, ("written", ", ".join(str(path) for path in written)))


def _write(plate: ExposedPlate, output: Path | None, png: Path | None) -> None:
    if output is not None:
        plate.save(output)
    if png is not None:
        plate.save_png(png)
