"""wavesim point: why a point on the plate has its colour."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
    echo_result,
    labelled,
    name_of,
    plate_named,
    print_result,
    progress,
    scene_named,
)
from wavesim.cli.options import (
    FIGURES,
    Amount,
    Look,
    Output,
    examples,
    json_option,
    look_options,
)

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate
    from wavesim.study.point import PlatePoint


@click.command(
    short_help="Explain the colour at one point of SCENE's plate.",
    epilog=examples(
        'wavesim point scenes/slits_001.toml --x "13.5 mm"',
        'wavesim point scenes/slits_002.toml --angle "0.53 deg" --figure why.png',
    ),
)
@click.argument("name", metavar="SCENE")
@click.option(
    "--x", "x_m", type=Amount("length", "9.3 mm"),
    help="Position on the plate, measured from the camera's axis.",
)  # fmt: skip
@click.option(
    "--angle", "beta_rad", type=Amount("angle", "0.53 deg"),
    help="Diffraction angle, instead of a position.",
)  # fmt: skip
@click.option("--figure", type=Output(*FIGURES), help="Draw its spectrum: .png, .pdf or .svg.")
@look_options("page", needs="figure")
@json_option
def command(
    name: str,
    x_m: float | None,
    beta_rad: float | None,
    figure: Path | None,
    look: Look,
    as_json: bool,
) -> None:
    """Explain the colour at one point of SCENE's plate.

    Which wavelengths are extinguished there and by what, which remain, to what orders they belong
    and what fraction of the light they carry, and the colour of the mixture. SCENE is a scene
    file, exposed first, or a plate file (.h5) exposed before.
    """
    if (x_m is None) == (beta_rad is None):
        raise click.UsageError('give a position, --x "9.3 mm", or an angle, --angle "0.53 deg"')
    scene = scene_named(name, figure)
    with progress("point") as show:
        from wavesim.study.point import explain, position_of_angle

        plate = plate_named(name, scene, show)
        show("spectrum")
        x = position_of_angle(plate, beta_rad) if beta_rad is not None else x_m or 0.0
        found = explain(plate, x)
        if figure is not None:
            _draw(plate, found, figure, look)
    if as_json:
        echo_result(found, scene.source, file=name, figure_file=figure)
        return
    click.echo(labelled([("plate", name_of(plate.scene, name))]))
    written = [("written", str(figure))] if figure is not None else []
    print_result(found, *written, source=scene.source)


def _draw(plate: ExposedPlate, found: PlatePoint, path: Path, look: Look) -> None:
    from wavesim.figures import save, spectrum_at_point

    save(spectrum_at_point(plate, found.x_m, size=look.of_figure()), path)
