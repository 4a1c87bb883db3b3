"""What a measurement returns: rows of lines, the instrument, ghosts' periods, remarks."""

from __future__ import annotations

import math
import statistics
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import ClassVar

from wavesim.measuring.fringes import FringePattern
from wavesim.measuring.ghosts import Period
from wavesim.measuring.instrument import Instrument
from wavesim.measuring.solving import SolvedInstrument
from wavesim.results import Column, Listing, Result, Sentence, Table, plain
from wavesim.text import counted

_DOUBTS = {
    "noise": "noise",
    "pixel": "unresolved neighbours and pixel differences",
    "slit": "uneven illumination of the source slit",
    "pitch": "pitch",
    "angles": "angles, focal length and distortion",
    "air": "temperature of the air",
}
_MOST_ROWS = 250  # rows beyond which only the lines with letters are shown


@dataclass(frozen=True)
class Line:
    """One line of a plate, ready for a table.

    Attributes
    ----------
    x_m : [m] on the plate
    height : bright: above the background, over the brightest line; dark: part of the continuum
    width_m : [m] full width at half maximum on the plate
    kind : "line", "ghost", "subsidiary maximum", "zero order", "fringe" or "band"
    order : m, 0 where none fits
    wavelength_m : [m] in standard air; None without an order
    uncertainty_m : [m] standard uncertainty, all parts below but the identification's
    u_noise_m, u_pixel_m, u_slit_m, u_pitch_m, u_angles_m, u_air_m : [m] parts of it; the first
        alone is statistical, see `Budget`
    name : what the list calls the line, "" where nothing fits
    listed_m : [m] wavelength in the list, blended as the plate shows it
    u_identification_m : [m] how far blending moves the list's line
    ghost_of_m : [m] wavelength of the line that a ghost belongs to
    ghost_fraction : position of the ghost in orders from its line
    confirmed : the same wavelength stands in another order on the plate
    other_orders : orders that cannot be excluded: overlapping orders
    blended, saturated : see `find_lines`
    """

    x_m: float
    height: float
    width_m: float
    kind: str
    order: int
    wavelength_m: float | None
    uncertainty_m: float | None = None
    u_noise_m: float | None = None
    u_pixel_m: float | None = None
    u_slit_m: float | None = None
    u_pitch_m: float | None = None
    u_angles_m: float | None = None
    u_air_m: float | None = None
    name: str = ""
    listed_m: float | None = None
    u_identification_m: float | None = None
    ghost_of_m: float | None = None
    ghost_fraction: float | None = None
    confirmed: bool = False
    other_orders: tuple[int, ...] = ()
    blended: bool = False
    saturated: bool = False


@dataclass(frozen=True, repr=False)
class Measurement(Result, Table[Line]):
    """The lines of a plate.

    Attributes
    ----------
    rows : from left to right
    instrument : with which wavelengths were computed
    periods : periodic ruling errors that ghosts reveal
    turned_rad : [rad] rotation taken out of a picture
    notes : remarks for the reader
    pattern : fringes of slits, where the plate shows these and no lines
    solution : what was solved for from known lines, where it was
    cautions : for the eyes, as the light that was measured needs them
    """

    instrument: Instrument
    periods: tuple[Period, ...] = ()
    turned_rad: float = 0.0
    notes: tuple[str, ...] = field(default=())
    pattern: FringePattern | None = None
    solution: SolvedInstrument | None = None
    cautions: tuple[str, ...] = ()

    kind: ClassVar[str] = "measurement"

    @property
    def lines(self) -> tuple[Line, ...]:
        """True lines with a wavelength."""
        return tuple(r for r in self.rows if r.kind == "line" and r.wavelength_m is not None)

    @property
    def ghosts(self) -> tuple[Line, ...]:
        """Lines taken for ghosts."""
        return tuple(r for r in self.rows if r.kind == "ghost")

    def report(self, *, everything: bool = False) -> Iterator[Sentence | Listing]:
        """Sentences and the table of lines; of very many, `everything` shows all."""
        return _report(self, everything)

    def record(self) -> dict[str, object]:
        """Everything as plain values, for JSON."""
        return {
            "instrument": plain(self.instrument),
            "turned_rad": self.turned_rad,
            "periods": [plain(p) for p in self.periods],
            "notes": list(self.notes),
            "pattern": None if self.pattern is None else plain(self.pattern),
            "solution": None if self.solution is None else plain(self.solution),
            "cautions": list(self.cautions),
            "lines": self.as_dicts(),
        }


def _report(found: Measurement, everything: bool) -> Iterator[Sentence | Listing]:
    """What was found, then the lines; of very many, those with letters unless all are wanted."""
    yield Sentence("lines", _counts(found))
    if found.solution is not None:
        yield Sentence("solved", _solved(found.solution))
    if found.turned_rad:
        yield Sentence("rotation", f"{math.degrees(found.turned_rad):.3f} deg, corrected")
    for p in found.periods:
        yield Sentence(
            "error",
            f"period {p.rulings:.4g} rulings, amplitude {p.amplitude_m * 1e9:.3g} nm (from the "
            f"ghosts of {counted(p.lines, 'line')} in {counted(p.orders, 'order')})",
        )
    yield from (Sentence("note", note) for note in found.notes)
    yield from _budget(found)
    short = everything or len(found) <= _MOST_ROWS
    shown = [r for r in found.rows if short or _lettered(r.name)] or list(found.rows)
    if len(shown) < len(found):
        yield Sentence("shown", f"{len(shown)} of {len(found)} lines; --all lists all")
    if shown:
        yield _table(shown)
    yield from (Sentence("caution", text) for text in found.cautions)


def _budget(found: Measurement) -> Iterator[Sentence]:
    """What the lines' uncertainties consist of, where one part is statistical and others are not.

    Medians over the lines; parts below a tenth of the whole are left out.
    """
    if not found.lines:
        return
    usual = {
        part: statistics.median(getattr(line, f"u_{part}_m") or 0.0 for line in found.lines)
        for part in _DOUBTS
    }
    least = 0.1 * math.hypot(*usual.values())
    parts = [
        f"{_DOUBTS[part]} {size * 1e9:.4f} nm"
        for part, size in sorted(usual.items(), key=lambda item: -item[1])
        if size > max(least, 5e-14) and part != "noise"
    ]
    if not parts:
        return
    yield Sentence(
        "budget",
        f"random: noise {usual['noise'] * 1e9:.4f} nm; systematic, estimated: {', '.join(parts)} "
        "(medians over the lines; +- includes both)",
    )


def _lettered(name: str) -> bool:
    return "(" in name


def _counts(found: Measurement) -> str:
    kinds: dict[str, int] = {}
    for row in found.rows:
        kinds[row.kind] = kinds.get(row.kind, 0) + 1
    named = sum(bool(r.name) for r in found.rows)
    parts = [f"{n} {_plural(kind, n)}" for kind, n in kinds.items()]
    return f"{', '.join(parts)}; {named} identified" if parts else "none"


def _plural(kind: str, count: int) -> str:
    if count == 1:
        return kind
    return "subsidiary maxima" if kind == "subsidiary maximum" else f"{kind}s"


def _solved(solution: SolvedInstrument) -> str:
    parts = []
    for name, error in solution.uncertainty.items():
        value = getattr(solution.instrument, name)
        if name.endswith("_rad"):
            parts.append(
                f"{name[:-4]} = {math.degrees(value):.6f} +- {math.degrees(error):.1g} deg"
            )
        elif name == "distortion":
            parts.append(f"distortion = {value:.4g} +- {error:.1g} of tan^2(angle)")
        elif name == "pitch_m":
            parts.append(f"pitch = {value * 1e6:.7f} +- {error * 1e6:.1g} um "
                         f"({1e-3 / value:.5f} / mm)")  # fmt: skip
        else:
            parts.append(f"{name[:-2]} = {value * 1e3:.5f} +- {error * 1e3:.1g} mm")
    used = f"from {counted(sum(solution.used), 'line')}"
    if solution.rejected:
        used += f"; rejected: {', '.join(solution.rejected)}"
    if not solution.checked:
        used += "; no further line is left as a check"
    return ", ".join(parts) + " " + used


def _table(rows: Sequence[Line]) -> Listing:
    columns = (
        Column("x", "mm"), Column("order"), Column("wavelength", "nm"), Column("+-", "nm"),
        Column("noise", "nm"), Column("height"), Column("identification", wraps=True),
        Column("remarks", wraps=True),
    )  # fmt: skip
    return Listing("lines", columns, tuple(_row(line) for line in rows))


def _row(line: Line) -> tuple[str, ...]:
    return (
        f"{line.x_m * 1e3:.4f}",
        str(line.order) if line.order else "",
        "" if line.wavelength_m is None else f"{line.wavelength_m * 1e9:.4f}",
        "" if line.uncertainty_m is None else f"{line.uncertainty_m * 1e9:.4f}",
        "" if line.u_noise_m is None else f"{line.u_noise_m * 1e9:.4f}",
        f"{line.height:.2g}",
        _what(line),
        _remarks(line),
    )


def _what(row: Line) -> str:
    if row.ghost_of_m is not None:
        return f"ghost of {row.ghost_of_m * 1e9:.2f}"
    return str(row.name or row.kind)


def _remarks(row: Line) -> str:
    remarks = []
    if row.confirmed:
        remarks.append("in two orders")
    if row.other_orders:
        remarks.append("or order " + ", ".join(str(m) for m in row.other_orders))
    remarks += [
        text for text, applies in (("blend", row.blended), ("clipped", row.saturated)) if applies
    ]
    return ", ".join(remarks)
