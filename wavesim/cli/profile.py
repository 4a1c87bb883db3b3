"""wavesim profile: the line profile of one wavelength and order, over ten decades."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_result, labelled, name_of, print_result, progress, scene_named
from wavesim.cli.options import (
    FIGURES,
    Look,
    NumberOption,
    Output,
    examples,
    json_option,
    line_options,
    look_options,
)

if TYPE_CHECKING:
    from wavesim.scene import Scene
    from wavesim.study.predict import Ghost
    from wavesim.study.profile import LineProfile

_ROOM = 1.5  # drawn beyond the outermost ghost, of its distance
_DECADES = 12


@click.command(
    epilog=examples(
        "wavesim profile scenes/grating_screw.toml --order 2 \\\n"
        '    --wavelength "546.1 nm" --figure screw.png',
        "wavesim profile scenes/grating_screw.toml --ghosts ghosts.csv",
    )
)
@click.argument("scene_file", metavar="SCENE")
@line_options
@click.option(
    "--span", type=NumberOption(0.01, 50), default=1.0, show_default=True,
    help="Width of the scan, in orders.",
)  # fmt: skip
@click.option(
    "--figure",
    type=Output(*FIGURES),
    help="Draw the profile with its ghosts marked: .png, .pdf or .svg.",
)
@look_options("page", needs="figure")
@click.option(
    "--table", type=Output(".csv"),
    help="File for the profile: order, wavelength, position and level.",
)  # fmt: skip
@click.option(
    "--ghosts", type=Output(".csv"),
    help="File for the ghosts found, as read by `wavesim diagnose`.",
)  # fmt: skip
@json_option
def command(
    scene_file: str,
    wavelength: float | None,
    order: int,
    span: float,
    figure: Path | None,
    table: Path | None,
    ghosts: Path | None,
    look: Look,
    as_json: bool,
) -> None:
    """Compute the profile of one line of SCENE and measure it.

    Gives width, resolution, Strehl ratio (peak relative to the perfect ruling), power, ghosts
    found and predicted, and the mean diffuse light. SCENE is a scene file, or a plate file (.h5),
    whose scene is used.
    """
    scene = scene_named(scene_file, figure, table, ghosts)
    outputs = [path for path in (figure, table, ghosts) if path is not None]
    with progress(name_of(scene, scene_file)) as show:
        show("line profile")
        from wavesim.study.predict.wavelengths import usual_wavelength
        from wavesim.study.profile import line_profile

        found = line_profile(
            scene,
            wavelength_m=wavelength or usual_wavelength(scene),
            order=order,
            span_orders=span,
        )
        if figure is not None:
            _draw(scene, found, figure, look)
        _write(scene, found, table, ghosts)
    if as_json:
        echo_result(found, scene.source, scene_file=scene_file)
        return
    click.echo(labelled([("scene", name_of(scene, scene_file))]))
    written = [("written", ", ".join(map(str, outputs)))] if outputs else []
    print_result(found, *written, source=scene.source)


def _draw(scene: Scene, found: LineProfile, path: Path, look: Look) -> None:
    """The scan on a logarithmic axis, with a circle where a ghost is predicted, at its level."""
    from wavesim import light
    from wavesim.figures.marks import Mark
    from wavesim.figures.profiles import line_profile_figure
    from wavesim.figures.style import save

    ghosts = [pair.predicted for pair in found.ghosts if pair.predicted] + list(found.missed)
    ghosts = [ghost for ghost in ghosts if ghost.observed > 10.0**-_DECADES]
    near = _window(found, ghosts)
    marks = [
        Mark(ghost.mu, _harmonics(ghost) if named else "", "ghost", ghost.observed)
        for ghost, named in _named(ghosts, float(found.mu[near][-1] - found.mu[near][0]))
    ]  # fmt: skip
    drawn = line_profile_figure(
        found.mu[near],
        found.level[near],
        marks=marks,
        x_label="order",
        title=f"{scene.title}: order {found.order} at {found.wavelength_m * 1e9:.6g} nm",
        subtitle="circles: ghosts as predicted, with the harmonic of each period" if marks else "",
        decades=_DECADES,
        cautions=light.cautions(scene.source),
        size=look.of_figure(),
    )
    save(drawn, path)


def _harmonics(ghost: Ghost) -> str:
    """The harmonic of each period, "+1,0"."""
    texts = (f"{k:+d}" if k else "0" for k in ghost.harmonics)
    return ",".join(texts).replace("-", "\N{MINUS SIGN}")


def _window(found: LineProfile, ghosts: list[Ghost]) -> slice:
    """The part of the scan worth drawing: about the ghosts, or all of it if there are none."""
    import numpy as np

    if not ghosts:
        return slice(None)
    reach = _ROOM * max(abs(ghost.mu - found.order) for ghost in ghosts)
    first, last = np.searchsorted(found.mu, [found.order - reach, found.order + reach])
    return slice(max(int(first) - 1, 0), int(last) + 1)


def _named(ghosts: list[Ghost], span: float) -> list[tuple[Ghost, bool]]:
    """Which ghosts have room for their name: the strongest, apart from each other."""
    named: list[Ghost] = []
    for ghost in sorted(ghosts, key=lambda other: -other.observed):
        if all(abs(ghost.mu - other.mu) > 0.05 * span for other in named):
            named.append(ghost)
    return [(ghost, True) for ghost in named] + [(g, False) for g in ghosts if g not in named]


def _write(scene: Scene, found: LineProfile, table: Path | None, ghosts: Path | None) -> None:
    if table is not None:
        from wavesim.study.profile.tables import write_profile

        write_profile(scene, found, table)
    if ghosts is not None:
        from wavesim.study.profile.tables import write_ghosts

        write_ghosts(found, ghosts)
