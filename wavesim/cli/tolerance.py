"""wavesim tolerance: how large the errors of a ruling may be."""

from __future__ import annotations

import click

from wavesim.cli.common import (
    echo_result,
    labelled,
    name_of,
    print_result,
    progress,
    scene_named,
)
from wavesim.cli.options import NumberOption, examples, json_option, line_options, workers_option

_PART = NumberOption(0, 1, open_=True)


@click.command(
    epilog=examples(
        "wavesim tolerance scenes/grating_screw.toml --order 2 \\\n    --ghost 1e-4 --diffuse 0.1%"
    )
)
@click.argument("scene_file", metavar="SCENE")
@line_options
@click.option("--ghost", type=_PART, help="Strongest ghost allowed, as a fraction of its line.")
@click.option(
    "--diffuse", type=_PART, help="Diffuse light allowed, as a fraction of the line's light."
)
@click.option(
    "--resolving-power", type=NumberOption(0, open_=True), help="Lowest resolving power allowed."
)
@click.option(
    "--period", type=NumberOption(2),
    help="Period of periodic errors, in rulings. Default: that of the scene, or 100.",
)  # fmt: skip
@workers_option
@json_option
def command(
    scene_file: str,
    wavelength: float | None,
    order: int,
    ghost: float | None,
    diffuse: float | None,
    resolving_power: float | None,
    period: float | None,
    workers: int,
    as_json: bool,
) -> None:
    """Find how large each error of SCENE's ruling may be.

    At least one limit is needed: --ghost, --diffuse or --resolving-power. Gives the largest error
    of each kind, alone and with all others present: by formula, then confirmed by simulation. The
    scene's own defects are left out. SCENE is a scene file, or a plate file (.h5), whose scene is
    used.
    """
    from wavesim.ensemble.engine import mapped
    from wavesim.study.predict.wavelengths import usual_wavelength
    from wavesim.study.tolerance import Limits, tolerance

    if ghost is diffuse is resolving_power is None:
        raise click.UsageError(
            "no limit is given; expected --ghost, --diffuse or --resolving-power"
        )
    scene = scene_named(scene_file)
    limits = Limits(ghost, diffuse, resolving_power)
    with progress(name_of(scene, scene_file)) as show, mapped(workers) as mapping:
        show("simulating rulings")
        found = tolerance(
            scene,
            limits,
            wavelength_m=wavelength or usual_wavelength(scene),
            order=order,
            period=period,
            mapping=mapping,
        )
    if as_json:
        echo_result(found, scene.source, scene_file=scene_file)
        return
    click.echo(labelled([("ruling", name_of(scene, scene_file))]))
    print_result(found, source=scene.source)
