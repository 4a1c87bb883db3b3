"""What a measurement returns: rows of lines, the instrument, ghosts' periods, remarks."""

from __future__ import annotations

from dataclasses import dataclass, field

from wavesim.measuring.fringes import FringePattern
from wavesim.measuring.ghosts import Period
from wavesim.measuring.instrument import Instrument
from wavesim.results import Table, plain


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
    u_pixel_m, u_slit_m, u_pitch_m, u_angles_m, u_air_m : [m] parts of it
    name : what the list calls the line, "" where nothing fits
    listed_m : [m] wavelength in the list, blended as the plate shows it
    u_identification_m : [m] how far blending moves the list's line
    ghost_of_m : [m] wavelength of the line that a ghost belongs to
    ghost_fraction : place of the ghost in orders from its line
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


@dataclass(frozen=True)
class Measurement(Table[Line]):
    """The lines of a plate.

    Attributes
    ----------
    rows : from left to right
    instrument : with which wavelengths were computed
    periods : periodic ruling errors that ghosts reveal
    turned_rad : [rad] rotation taken out of a picture
    notes : remarks for the reader
    pattern : fringes of slits, where the plate shows these and no lines
    """

    instrument: Instrument
    periods: tuple[Period, ...] = ()
    turned_rad: float = 0.0
    notes: tuple[str, ...] = field(default=())
    pattern: FringePattern | None = None

    @property
    def lines(self) -> tuple[Line, ...]:
        """True lines with a wavelength."""
        return tuple(r for r in self.rows if r.kind == "line" and r.wavelength_m is not None)

    @property
    def ghosts(self) -> tuple[Line, ...]:
        """Lines taken for ghosts."""
        return tuple(r for r in self.rows if r.kind == "ghost")

    def __repr__(self) -> str:
        named = sum(bool(row.name) for row in self.rows)
        return f"<measurement: {len(self.lines)} lines, {named} named, {len(self.ghosts)} ghosts>"

    def record(self) -> dict[str, object]:
        """Everything as plain values, for JSON."""
        return {
            "instrument": plain(self.instrument),
            "turned_rad": self.turned_rad,
            "periods": [plain(p) for p in self.periods],
            "notes": list(self.notes),
            "pattern": None if self.pattern is None else plain(self.pattern),
            "lines": self.as_dicts(),
        }
