"""wavesim diagnose: which error a ruling has, from the ghosts it leaves."""

from __future__ import annotations

import math
from pathlib import Path

import click

from wavesim.cli.common import echo_json, print_result
from wavesim.cli.options import PITCH, PLATES, examples, json_option
from wavesim.errors import InputError


@click.command(
    short_help="Identify the errors of a ruling from its ghosts.",
    epilog=examples(
        "wavesim profile scenes/grating_screw.toml --order 1 --ghosts one.csv",
        "wavesim profile scenes/grating_screw.toml --order 2 --ghosts two.csv",
        'wavesim diagnose one.csv two.csv --pitch "600 / mm"',
    ),
)
@click.argument("tables", metavar="GHOSTS.csv...", nargs=-1, required=True)
@click.option(
    "--pitch",
    type=PITCH,
    help='Groove density, or pitch such as "1.667 um"; gives amplitudes as lengths.',
)
@json_option
def command(tables: tuple[str, ...], pitch: float | None, as_json: bool) -> None:
    """Identify the errors of a ruling from its ghosts, best in two or more orders.

    Each GHOSTS.csv is a table: measured on a bench, or written by `wavesim profile --ghosts`. Its
    columns are order, offset [orders] (or line [nm] and ghost [nm]) and strength (as a fraction of
    the line); it may have offset error [orders] (or ghost error [nm]) and strength error.
    """
    from wavesim.measuring.diagnosis import diagnose, read

    for table in tables:
        if Path(table).suffix.lower() in (".toml", *PLATES):
            expected = "a CSV table, as wavesim profile --ghosts writes"
            raise InputError("is not a table of ghosts", file=table, expected=expected)
    found = diagnose(read(*tables), pitch_m=math.nan if pitch is None else pitch)
    if as_json:
        echo_json({"tables": list(tables), **found.record()})
        return
    print_result(found)
