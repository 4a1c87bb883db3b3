"""Tolerances in words: one row for each kind of error, then all of them together."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from wavesim.results import Column, Listing, Sentence
from wavesim.text import length

if TYPE_CHECKING:
    from wavesim.study.tolerance import Allowed, Tolerance


def report(found: Tolerance) -> Iterator[Sentence | Listing]:
    """The line, the table and the simulation of all errors together."""
    yield Sentence(
        "line",
        f"order {found.order} at {found.wavelength_m * 1e9:.6g} nm; the perfect ruling resolves "
        f"{found.perfect:,.0f}; periodic errors of {found.period:g} rulings",
    )
    columns = (
        Column("largest error", wraps=True), Column("limit"), Column("value"),
        Column("alone, by\nformula"), Column("alone, by\nsimulation"),
        Column("value\nreached"), Column("together,\nby formula"),
    )  # fmt: skip
    yield Listing("tolerances", columns, tuple(_row(row) for row in found.rows))
    yield Sentence("together", _together(found))
    yield from (Sentence("note", text) for text in found.notes)


def _row(row: Allowed) -> tuple[str, ...]:
    def size(value: float) -> str:
        if math.isnan(value):
            return "> 15 % off"  # the formula is off by more than 15 %
        return length(value) if row.unit else f"{value:.4g}"

    return (
        row.kind, row.limit, f"{row.required:.6g}", size(row.alone), size(row.simulated),
        f"{row.reached:.4g}", size(row.together),
    )  # fmt: skip


def _together(found: Tolerance) -> str:
    measured = found.together
    parts = []
    if not math.isnan(measured.ghost):
        parts.append(f"strongest ghost {measured.ghost:.3g} +- {measured.ghost_error:.1g}")
    if not math.isnan(measured.diffuse):
        parts.append(f"diffuse light {measured.diffuse:.3g} +- {measured.diffuse_error:.1g}")
    if not math.isnan(measured.resolving_power):
        parts.append(f"resolving power {measured.resolving_power:,.0f}")
    text = "all errors of the last column together give " + ", ".join(parts)
    if measured.factor < 1:
        text += f", with the errors that broaden the line reduced to {measured.factor:.2f} of it"
    return text + (": all limits are met" if measured.within_limits else ": not all limits are met")
