"""What `wavesim measure` found, in words and tables."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from wavesim.cli.common import labelled, width
from wavesim.results import Column, Listing
from wavesim.text import counted

if TYPE_CHECKING:
    from collections.abc import Sequence

    from wavesim.measuring import CircleTable, Line, Measurement, Solution

_EXACT = 1e-7  # [rad] below which an incidence was not found but told
_MOST_ROWS = 250  # rows beyond which only the lines with letters are shown


def summary(
    file: str, measured: Measurement, solution: Solution | None, *, everything: bool = False
) -> str:
    """The measurement in plain words and a table."""
    head = [("plate", file)]
    head.append(("lines", _counts(measured)))
    if solution is not None:
        head.append(("solved", _solved(solution)))
    if measured.turned_rad:
        head.append(("rotation", f"{math.degrees(measured.turned_rad):.3f} deg, corrected"))
    head += [
        ("error", f"period {p.rulings:.4g} rulings, amplitude {p.amplitude_m * 1e9:.3g} nm "
                  f"(shown by {p.lines} line{'s' * (p.lines > 1)} "
                  f"in {p.orders} order{'s' * (p.orders > 1)})")
        for p in measured.periods
    ]  # fmt: skip
    head += [("note", note) for note in measured.notes]
    short = everything or len(measured) <= _MOST_ROWS
    shown = [r for r in measured.rows if short or _lettered(r.name)] or list(measured.rows)
    if len(shown) < len(measured):
        head.append(("shown", f"{len(shown)} of {len(measured)} lines; --all shows all"))
    return labelled(head) + "\n\n" + _table(shown).text(width())


def _lettered(name: str) -> bool:
    return "(" in name


def _counts(measured: Measurement) -> str:
    kinds: dict[str, int] = {}
    for row in measured.rows:
        kinds[row.kind] = kinds.get(row.kind, 0) + 1
    named = sum(bool(r.name) for r in measured.rows)
    parts = [f"{n} {_plural(kind, n)}" for kind, n in kinds.items()]
    return ", ".join(parts) + f"; {named} named"


def _plural(kind: str, count: int) -> str:
    if count == 1:
        return kind
    return "subsidiary maxima" if kind == "subsidiary maximum" else f"{kind}s"


def _solved(solution: Solution) -> str:
    parts = []
    for field, error in solution.uncertainty.items():
        value = getattr(solution.instrument, field)
        if field.endswith("_rad"):
            parts.append(
                f"{field[:-4]} = {math.degrees(value):.6f} +- {math.degrees(error):.1g} deg"
            )
        elif field == "distortion":
            parts.append(f"distortion = {value:.4g} +- {error:.1g} of tan^2(angle)")
        elif field == "pitch_m":
            parts.append(f"pitch = {value * 1e6:.7f} +- {error * 1e6:.1g} um "
                         f"({1e-3 / value:.5f} / mm)")  # fmt: skip
        else:
            parts.append(f"{field[:-2]} = {value * 1e3:.5f} +- {error * 1e3:.1g} mm")
    used = f"from {counted(sum(solution.used), 'line')}"
    if solution.rejected:
        used += f"; rejected: {', '.join(solution.rejected)}"
    if not solution.checked:
        used += "; no redundant line as a check"
    return ", ".join(parts) + " " + used


def _table(rows: Sequence[Line]) -> Listing:
    columns = (
        Column("x", "mm"), Column("order"), Column("wavelength", "nm"), Column("+-", "nm"),
        Column("height"), Column("identification", wraps=True), Column("remarks", wraps=True),
    )  # fmt: skip
    return Listing("lines", columns, tuple(_row(line) for line in rows))


def _row(line: Line) -> tuple[str, ...]:
    return (
        f"{line.x_m * 1e3:.4f}",
        str(line.order) if line.order else "",
        "" if line.wavelength_m is None else f"{line.wavelength_m * 1e9:.4f}",
        "" if line.uncertainty_m is None else f"{line.uncertainty_m * 1e9:.4f}",
        f"{line.height:.2g}",
        _what(line),
        _remarks(line),
    )


def _what(row: Line) -> str:
    if row.ghost_of_m is not None:
        return f"ghost of {row.ghost_of_m * 1e9:.2f}"
    return str(row.name or row.kind)


def _remarks(row: Line) -> str:
    words = []
    if row.confirmed:
        words.append("in two orders")
    if row.other_orders:
        words.append("or order " + ", ".join(str(m) for m in row.other_orders))
    words += [word for word, on in (("blend", row.blended), ("clipped", row.saturated)) if on]
    return ", ".join(words)


def circle_summary(found: CircleTable) -> str:
    """Settings and lines as two tables."""
    settings = Listing(
        "settings",
        (Column("line"), Column("order"), Column("deviation"), Column("wavelength", "nm"),
         Column("+-", "nm")),
        tuple(
            (r.name, str(r.order), _dms(r.turn_rad), f"{r.wavelength_m * 1e9:.4f}",
             f"{r.uncertainty_m * 1e9:.4f}")
            for r in found.rows
        ),
    )  # fmt: skip
    means = Listing(
        "mean of each line",
        (Column("line"), Column("settings"), Column("wavelength", "nm"), Column("+-", "nm"),
         Column("of which\nfrom pitch", "nm")),
        tuple(
            (r.name, str(r.settings), f"{r.wavelength_m * 1e9:.4f}",
             f"{r.uncertainty_m * 1e9:.4f}", f"{r.u_pitch_m * 1e9:.4f}")
            for r in found.means
        ),
    )  # fmt: skip
    rows = [("zero", f"the straight-through image reads {_dms(found.zero_rad)}")]
    rows += [("solved", text) for text in _settled(found)]
    head = labelled(rows)
    return "\n\n".join([head, settings.text(width()), means.text(width())])


def _settled(found: CircleTable) -> list[str]:
    """What a fit of all settings told of grating and circle."""
    fit = found.settled
    if fit is None:
        return []
    d, error = fit.value["pitch"], fit.error["pitch"]
    parts = [f"{1e-3 / d:.4f} +- {1e-3 * error / d**2:.1g} rulings / mm (pitch {d * 1e6:.6f} um)"]
    if fit.error["incidence"] > _EXACT:
        parts.append(
            f"incidence {math.degrees(fit.value['incidence']) * 60:.2f} +- "
            f"{math.degrees(fit.error['incidence']) * 60:.1g} arcmin"
        )
    if "sine" in fit.value:
        arcsec = 180 * 3600 / math.pi
        error = math.hypot(fit.error["sine"], fit.error["cosine"])
        size = fit.centring_rad * arcsec
        parts.append(f"error of centring up to {size:.3g} +- {error * arcsec:.1g} arcsec")
    if not math.isnan(fit.misfit):
        parts.append(f"misfit {fit.misfit:.2g} of the reading error")
    return parts


def _dms(angle_rad: float) -> str:
    seconds = math.degrees(abs(angle_rad)) * 3600
    sign = "-" if angle_rad < 0 else ""
    whole = round(seconds, 1)
    degrees, minutes = int(whole // 3600), int(whole % 3600 // 60)
    return f"{sign}{degrees}\N{DEGREE SIGN} {minutes:02d}' {whole % 60:04.1f}\""
