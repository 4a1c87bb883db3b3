"""wavesim diagnose: which error a ruling has, from the ghosts it leaves."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_json, json_option, labelled
from wavesim.cli.quantities import Pitch

if TYPE_CHECKING:
    from wavesim.study.diagnosis import Diagnosis, FoundError


@click.command(epilog='Example: wavesim diagnose ghosts.csv --pitch "1.667 um"')
@click.argument("table", metavar="GHOSTS.csv")
@click.option(
    "--pitch",
    type=Pitch(),
    metavar='"1.667 um"',
    help='Pitch, or density such as "600 / mm"; gives amplitudes as lengths.',
)
@json_option
def command(table: str, pitch: float | None, as_json: bool) -> None:
    """Name the errors of a ruling from a table of ghosts in two or more orders.

    The table has columns order, offset [orders] (or line [nm] and ghost [nm]) and strength
    (relative to the line), and may have offset error [orders] and strength error.
    """
    from wavesim.study.diagnosis import diagnose, read

    found = diagnose(read(table), pitch_m=math.nan if pitch is None else pitch)
    if as_json:
        echo_json({"table": table, **asdict(found)})
        return
    click.echo(labelled(_rows(found)))


def _rows(found: Diagnosis) -> list[tuple[str, str]]:
    rows = [(f"error {n}", _words(error)) for n, error in enumerate(found.errors, start=1)]
    if found.unexplained:
        rows.append(("left over", f"{len(found.unexplained)} ghosts that no error explains"))
    return rows


def _words(error: FoundError) -> str:
    parts = [f"{error.kind}, period {error.period:.6g} +- {error.period_error:.1g} rulings"]
    if error.kind in ("displacement", "both", "undetermined"):
        parts.append(_amplitude(error))
    if error.kind in ("strength", "both", "undetermined"):
        parts.append(f"modulation {error.modulation:.4g} of the grooves' strength")
    if not math.isnan(error.growth):
        parts.append(
            f"ghosts grow with order to the power {error.growth:.2f} +- {error.growth_error:.1g} "
            "(2: displacement, 0: strength)"
        )
    else:
        parts.append("one order cannot tell displacement from strength")
    parts.append(f"explains {error.ghosts} ghosts, misfit {error.misfit:.2g}")
    return "; ".join(parts)


def _amplitude(error: FoundError) -> str:
    if math.isnan(error.amplitude_m):
        return f"amplitude {error.amplitude:.4g} +- {error.amplitude_error:.1g} of the pitch"
    return (
        f"amplitude {error.amplitude_m * 1e9:.4g} +- {error.amplitude_error_m * 1e9:.1g} nm"
        " (half of peak to peak)"
    )
