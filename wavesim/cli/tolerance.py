"""wavesim tolerance: how large the errors of a ruling may be."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
    echo_json,
    labelled,
    name_of,
    print_table,
    progress,
    scene_named,
    table,
)
from wavesim.cli.options import Number, examples, json_option, line_options
from wavesim.text import length

if TYPE_CHECKING:
    from wavesim.study.tolerance import Allowed, Tolerance

_PART = Number(0, 1, open_=True)


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
@click.option("--resolving-power", type=Number(0, open_=True), help="Least resolving power.")
@click.option(
    "--period", type=Number(2),
    help="Period of periodic errors, in rulings. Default: the scene's, or 100.",
)  # fmt: skip
@json_option
def command(
    scene_file: str,
    wavelength: float | None,
    order: int,
    ghost: float | None,
    diffuse: float | None,
    resolving_power: float | None,
    period: float | None,
    as_json: bool,
) -> None:
    """Tell how large each error of SCENE's ruling may be.

    At least one limit is needed: --ghost, --diffuse or --resolving-power. Gives the largest error
    of each kind, alone and with all others present: by formula, then confirmed by simulation. The
    scene's own defects are left out. SCENE is a scene file, or a plate file (.h5), whose scene is
    taken.
    """
    from wavesim.study.predict.wavelengths import usual_wavelength
    from wavesim.study.tolerance import Limits, tolerance

    if ghost is diffuse is resolving_power is None:
        raise click.UsageError(
            "no limit is given; expected --ghost, --diffuse or --resolving-power"
        )
    scene = scene_named(scene_file)
    limits = Limits(ghost, diffuse, resolving_power)
    with progress(name_of(scene, scene_file)) as show:
        show("simulating rulings")
        found = tolerance(
            scene,
            limits,
            wavelength_m=wavelength or usual_wavelength(scene),
            order=order,
            period=period,
        )
    if as_json:
        echo_json({"scene_file": scene_file, **asdict(found)})
        return
    _print(found, name_of(scene, scene_file))


def _print(found: Tolerance, name: str) -> None:
    rows = [
        ("ruling", name),
        ("line", f"order {found.order} at {found.wavelength_m * 1e9:.6g} nm; the perfect ruling "
                 f"resolves {found.perfect:,.0f}; periodic errors of {found.period:g} rulings"),
    ]  # fmt: skip
    click.echo(labelled(rows))
    head = ("largest error", "limit", "asked", "alone\nby formula", "alone\nby simulation",
            "simulated at\nthe formula's", "together\nby formula")  # fmt: skip
    print_table(table("tolerances", head, (_cells(row) for row in found.rows)))
    click.echo(labelled([("together", _together(found))]))


def _cells(row: Allowed) -> tuple[str, ...]:
    def size(value: float) -> str:
        if math.isnan(value):
            return "beyond 15 %"
        return length(value) if row.unit else f"{value:.4g}"

    return (
        row.kind, row.limit, f"{row.asked:.6g}", size(row.alone), size(row.simulated),
        f"{row.reached:.6g}", size(row.together),
    )  # fmt: skip


def _together(found: Tolerance) -> str:
    seen = found.together
    parts = []
    if not math.isnan(seen.ghost):
        parts.append(f"strongest ghost {seen.ghost:.3g} +- {seen.ghost_error:.1g}")
    if not math.isnan(seen.diffuse):
        parts.append(f"diffuse light {seen.diffuse:.3g} +- {seen.diffuse_error:.1g}")
    if not math.isnan(seen.resolving_power):
        parts.append(f"resolving power {seen.resolving_power:,.0f}")
    text = "all errors of the last column at once give " + ", ".join(parts)
    if seen.factor < 1:
        text += f", those that widen the line reduced to {seen.factor:.2f} of it"
    return text + (": all limits are kept" if seen.met else ": not all limits are kept")
