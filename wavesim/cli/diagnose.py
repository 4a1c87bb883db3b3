"""wavesim diagnose: which error a ruling has, from the ghosts it leaves."""

from __future__ import annotations

import math
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_json, labelled
from wavesim.cli.options import PITCH, PLATES, examples, json_option
from wavesim.errors import InputError

if TYPE_CHECKING:
    from wavesim.measuring.diagnosis import FoundError, LongerPeriod


@click.command(
    short_help="Name the errors of a ruling from the ghosts it leaves.",
    epilog=examples(
        "wavesim profile scenes/grating_screw.toml --order 1 --ghosts one.csv",
        "wavesim profile scenes/grating_screw.toml --order 2 --ghosts two.csv",
        'wavesim diagnose one.csv two.csv --pitch "600 / mm"',
    ),
)
@click.argument("tables", metavar="GHOSTS.csv...", nargs=-1, required=True)
@click.option(
    "--pitch", type=PITCH, help='Density, or pitch such as "1.667 um"; gives amplitudes as lengths.'
)
@json_option
def command(tables: tuple[str, ...], pitch: float | None, as_json: bool) -> None:
    """Name the errors of a ruling from the ghosts it leaves, best in two or more orders.

    Each GHOSTS.csv is a table: measured on a bench, or written by `wavesim profile --ghosts`. Its
    columns are order, offset [orders] (or line [nm] and ghost [nm]) and strength (as a part of the
    line); it may have offset error [orders] (or ghost error [nm]) and strength error.
    """
    from wavesim.measuring.diagnosis import diagnose, read

    for table in tables:
        if Path(table).suffix.lower() in (".toml", *PLATES):
            right = "a CSV table, as wavesim profile --ghosts writes"
            raise InputError("is not a table of ghosts", file=table, expected=right)
    found = diagnose(read(*tables), pitch_m=math.nan if pitch is None else pitch)
    if as_json:
        echo_json({"tables": list(tables), **asdict(found)})
        return
    rows = [(f"error {n}", _words(error)) for n, error in enumerate(found.errors, 1)]
    click.echo(labelled([*rows, *(("or", _longer(one)) for one in found.longer)]))


def _words(error: FoundError) -> str:
    parts = [f"{error.kind}, period {error.period:.6g} +- {error.period_error:.1g} rulings"]
    if error.kind in ("displacement", "both", "undetermined"):
        parts.append(_amplitude(error))
    if error.kind in ("strength", "both", "undetermined"):
        parts.append(f"modulation {error.modulation:.4g} of the grooves' strength")
    if not math.isnan(error.growth):
        parts.append(
            f"ghosts grow with order to the power {error.growth:.2f} +- {error.growth_error:.1g} "
            "(2: displacement, 0: strength, 2 k: k-th ghosts of a displacement)"
        )
    else:
        parts.append("one order cannot tell displacement from strength")
    if error.harmonic > 1:
        parts.append(f"found by its ghosts {error.harmonic}; the nearer ones are not in the table")
    parts.append(f"explains {error.ghosts} ghosts, misfit {error.misfit:.2g}")
    return "; ".join(parts)


def _longer(one: LongerPeriod) -> str:
    size = (
        f"{one.amplitude:.4g} of the pitch"
        if math.isnan(one.amplitude_m)
        else f"{one.amplitude_m * 1e9:.4g} nm"
    )
    which = " and ".join(
        f"ghosts {k} for error {n}" for k, n in zip(one.harmonics, one.errors, strict=True)
    )
    fits = f"fits as well, with an amplitude of {size} ({which})"
    if not one.agrees:
        fits = f"fits the places as well ({which}), but not the strengths"
    return (
        f"a longer period of {one.period:.6g} rulings {fits}: look for its first ghosts, "
        f"{1 / one.period:.3g} orders from the line, which the line's wings may hide"
    )


def _amplitude(error: FoundError) -> str:
    if math.isnan(error.amplitude_m):
        return f"amplitude {error.amplitude:.4g} +- {error.amplitude_error:.1g} of the pitch"
    return (
        f"amplitude {error.amplitude_m * 1e9:.4g} +- {error.amplitude_error_m * 1e9:.1g} nm"
        " (half of peak to peak)"
    )
