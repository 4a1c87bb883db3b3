"""wavesim sheet: several plates on one labelled sheet, on one scale."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
    PLATE_ENDINGS,
    Progress,
    check_apart,
    check_ending,
    check_output,
    echo_json,
    json_option,
    progress,
)

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate
    from wavesim.scene import Scene


@click.command(
    short_help="Draw several plates on one labelled sheet.",
    epilog="Example: wavesim sheet scenes/slits_001.toml scenes/slits_002.toml "
    "scenes/slits_005.toml -o series.png",
)
@click.argument("names", metavar="SCENE...", nargs=-1, required=True)
@click.option(
    "-o", "output", metavar="FILE", type=click.Path(path_type=Path), default=Path("sheet.png"),
    show_default=True, help="Write here: .png, .pdf or .svg.",
)  # fmt: skip
@click.option("--title", default="", help="Title above the sheet.")
@click.option(
    "--size", type=click.Choice(["page", "slide", "web"]), default="page", show_default=True,
    help="For paper, projector or screen.",
)  # fmt: skip
@json_option
def command(names: tuple[str, ...], output: Path, title: str, size: str, as_json: bool) -> None:
    """Draw several plates on one labelled sheet, on one scale.

    Each SCENE is a scene file, exposed first, or a plate file (.h5) exposed before.
    """
    check_ending(output, (".png", ".pdf", ".svg"))
    check_output(output)
    for name in names:
        check_apart(output, name, scene_named(name))
    with progress("sheet") as show:
        plates = [plate_named(name, show) for name in names]
        show("figure")
        from wavesim.figures import save, sheet

        save(sheet(plates, title=title, size=size), output)
    if as_json:
        rows = [{"file": n, "title": p.scene.title} for n, p in zip(names, plates, strict=True)]
        echo_json({"sheet_file": str(output), "plates": rows})
    else:
        click.echo(f"{len(plates)} plate{'' if len(plates) == 1 else 's'} on {output}")


def scene_named(name: str) -> Scene:
    """The scene of a plate file, or the one that a scene file holds."""
    from wavesim.scene import load
    from wavesim.store import load_scene

    return load_scene(name) if Path(name).suffix.lower() in PLATE_ENDINGS else load(name)


def plate_named(name: str, show: Progress) -> ExposedPlate:
    """A plate file read back, or a scene exposed."""
    from wavesim.lightpath import expose, open_plate
    from wavesim.scene import load

    show(name)
    if Path(name).suffix.lower() in PLATE_ENDINGS:
        return open_plate(name)
    return expose(load(name))
