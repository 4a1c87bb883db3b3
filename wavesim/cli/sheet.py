"""wavesim sheet: several plates on one labelled sheet, on one scale."""

from __future__ import annotations

from pathlib import Path

import click

from wavesim.cli.common import cautions, echo_json, labelled, plate_named, progress, scene_named
from wavesim.cli.options import FIGURES, Look, examples, figure_options, json_option


@click.command(
    short_help="Draw several plates on one labelled sheet.",
    epilog=examples(
        "wavesim sheet scenes/slits_001.toml scenes/slits_002.toml \\\n"
        "    scenes/slits_005.toml -o series.png"
    ),
)
@click.argument("names", metavar="SCENE...", nargs=-1, required=True)
@figure_options("sheet.png", "page", *FIGURES)
@json_option
def command(
    names: tuple[str, ...],
    output: Path,
    title: str,
    look: Look,
    as_json: bool,
) -> None:
    """Draw several plates on one labelled sheet, on one scale.

    Each SCENE is a scene file, exposed first, or a plate file (.h5) exposed before.
    """
    scenes = [scene_named(name, output) for name in names]
    with progress("sheet") as show:
        plates = [plate_named(n, scene, show) for n, scene in zip(names, scenes, strict=True)]
        show("figure")
        from wavesim.figures import save, sheet

        save(sheet(plates, title=title, size=look.of_figure()), output)
    if as_json:
        rows = [{"file": n, "title": p.scene.title} for n, p in zip(names, plates, strict=True)]
        echo_json({"sheet_file": str(output), "plates": rows,
                   "cautions": [text for _, text in cautions(plates)]})  # fmt: skip
    else:
        count = f"{len(plates)} plate{'' if len(plates) == 1 else 's'}"
        click.echo(labelled([("written", f"{count} in {output}"), *cautions(plates)]))
