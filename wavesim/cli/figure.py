"""wavesim figure: one plate as a labelled figure."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
    cautions,
    cautions_for,
    check_apart,
    echo_json,
    is_plate,
    labelled,
    plate_named,
    progress,
    scene_named,
)
from wavesim.cli.options import FIGURES, Look, examples, figure_options, json_option

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from wavesim.figures import Mark, Size
    from wavesim.lightpath import ExposedPlate

_DRAW = ("plate", "map", "colours")
_OF_STUDIES = ("distribution", "map", "band", "contact", "sensitivity")
_MARK = ("orders", "lines", "ghosts")
_GHOSTS_ABOVE = 1e-6  # of the line: fainter ones cannot be seen on a figure of a plate


@click.command(
    short_help="Draw one plate with its profile, or maps of its colours.",
    epilog=examples(
        "wavesim figure scenes/grating_600.toml --mark lines -o sun.pdf",
        "wavesim figure scenes/slits_005.toml --draw map -o map.png",
    ),
)
@click.argument("name", metavar="SCENE")
@click.option(
    "--draw", "what", type=click.Choice(tuple(dict.fromkeys((*_DRAW, *_OF_STUDIES)))),
    help="Of a plate: the plate above its profile (the default), wavelength against position, or "
    "the colours along it in the chromaticity diagram. Of a study: the distribution of a number, "
    "its map over two keys, the band of profiles, the contact sheet of pictures, sensitivities; "
    "default: what fits best.",
)  # fmt: skip
@click.option(
    "--mark", type=click.Choice(_MARK),
    help="Mark on the plate its orders (the default), the source's lines (a lamp's wavelengths in "
    "nm, Fraunhofer's letters in sunlight), or predicted ghosts.",
)  # fmt: skip
@click.option("--number", metavar="NAME", help="Of a study: the recorded number to draw.")
@click.option(
    "--log", is_flag=True, help="Draw the profile on a logarithmic scale over ten decades."
)
@figure_options("figure.png", "page", *FIGURES)
@json_option
def command(
    name: str,
    output: Path,
    what: str | None,
    mark: str | None,
    number: str | None,
    log: bool,
    title: str,
    look: Look,
    as_json: bool,
) -> None:
    """Draw one plate with its profile, or maps of its colours.

    SCENE is a scene file, exposed first, a plate file (.h5) exposed before, or the file that
    wavesim study wrote.
    """
    if _is_study(name):
        size = look.of_figure()
        _draw_study(
            name, output, what or "", number or "", title=title, size=size, mark=mark, log=log
        )
        _say(name, output, what or "study", as_json=as_json)
        return
    if number:
        raise click.UsageError("--number needs a study file")
    if what in _OF_STUDIES and what not in _DRAW:
        raise click.UsageError(f"--draw {what} needs a study file")
    what = what or "plate"
    for option, given in (("--mark", mark), ("--log", log)):
        if given and what != "plate":
            raise click.UsageError(f"{option} needs --draw plate, not --draw {what}")
    scene = scene_named(name, output)
    with progress("figure") as show:
        plate = plate_named(name, scene, show)
        show("figure")
        from wavesim.figures import save

        size = look.of_figure()
        save(_drawn(plate, what, mark or "orders", log=log, title=title, size=size), output)
    if as_json:
        echo_json({"figure_file": str(output), "title": plate.scene.title, "draw": what,
                   "cautions": [text for _, text in cautions([plate])]})  # fmt: skip
    else:
        click.echo(labelled([("written", str(output)), *cautions([plate])]))


def _is_study(name: str) -> bool:
    """Whether it is the file of a study; a missing or damaged one is reported as a plate."""
    if not is_plate(name) or not Path(name).is_file():
        return False
    from wavesim.ensemble.joined import is_study

    return is_study(name)


def _draw_study(
    name: str, output: Path, what: str, number: str, *, title: str, size: Size, mark: str | None,
    log: bool,
) -> None:  # fmt: skip
    for option, given in (("--mark", mark), ("--log", log)):
        if given:
            raise click.UsageError(f"{option} needs a scene or a plate, not a study")
    check_apart(output, name)
    from wavesim.figures import save
    from wavesim.figures.ensembles import study_figure

    with progress("figure"):
        save(study_figure(name, what, number=number, title=title, size=size), output)


def _say(name: str, output: Path, what: str, *, as_json: bool) -> None:
    from wavesim.ensemble.joined import plan_of

    texts = cautions_for(plan_of(name).scene.source)
    if as_json:
        echo_json({"figure_file": str(output), "draw": what, "cautions": texts})
    else:
        cautioned = [("caution", text) for text in texts]
        click.echo(labelled([("written", str(output)), *cautioned]))


def _drawn(
    plate: ExposedPlate, what: str, mark: str, *, log: bool, title: str, size: Size
) -> Figure:
    from wavesim import figures

    if what == "map":
        return figures.wavelength_position_map(plate, size=size, title=title)
    if what == "colours":
        return figures.chromaticity_path(plate, size=size, title=title)
    marks = {"orders": _no_marks, "lines": _line_marks, "ghosts": _ghost_marks}[mark](plate)
    return figures.plate_figure(plate, marks=marks, log=log, size=size, title=title)


def _no_marks(_: ExposedPlate) -> None:
    """The figure marks the orders by itself."""


def _line_marks(plate: ExposedPlate) -> list[Mark]:
    """The source's own lines, where their light falls."""
    from wavesim.figures.line_marks import line_marks

    return line_marks(plate)


def _ghost_marks(plate: ExposedPlate) -> list[Mark]:
    """Orders of the plate's guiding wavelength, and its predicted ghosts with their harmonics."""
    from wavesim.figures import Mark
    from wavesim.figures.marks import guide_wavelength, order_marks
    from wavesim.study.predict import predict

    about = guide_wavelength(plate)  # to a nanometre; a lamp's own line lies near
    own = min(predict(plate.scene).wavelengths_m, key=lambda w: abs(w - about), default=about)
    wavelength = own if abs(own - about) < 1e-9 else about
    found = predict(plate.scene, wavelengths_m=(wavelength,), ghosts_above=_GHOSTS_ABOVE)
    marks = list(order_marks(plate, wavelength))
    for ghost in sorted(found.ghosts, key=lambda ghost: -ghost.observed):
        name = ",".join(f"{k:+d}" if k else "0" for k in ghost.harmonics)
        if math.isfinite(ghost.x_m):
            marks.append(Mark(ghost.x_m, name.replace("-", "−"), "ghost"))
    return marks
