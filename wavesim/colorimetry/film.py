"""Black-and-white film as it is bought: its curve from a datasheet, its negative, long exposures.

    # lg of the exposure in lx s, and diffuse density
    log_exposure, density
    -3.0, 0.10
    -2.1, 0.20

A film's sensitivity over wavelength belongs to the exposure (`exposure.film` of the scene); a plate
exposed without one is developed as if the film saw as the eye does.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wavesim import tables
from wavesim.arrays import Floats
from wavesim.colorimetry.rendering import Rendering, picture
from wavesim.colorimetry.spaces import d65_xyz
from wavesim.colorimetry.tone import Film, Linear
from wavesim.constants import SATURATION_EXPOSURE_LX_S
from wavesim.errors import InputError, TableError, within
from wavesim.plate import Plate

REFERENCE_S = 1.0  # exposures up to this are reciprocal: common practice, see the datasheet
_EXPECTED = 'the header "log_exposure,density", lg of lx s and density'
_RECIPROCITY_EXPECTED = 'the header "metered_s,corrected_s"'
_MOST_DENSITY = 10.0
_MOST_ROWS = 100_000  # of a table


@dataclass(frozen=True, eq=False)
class CharacteristicCurve:
    """A characteristic curve, straight between its points and level beyond them.

    Attributes
    ----------
    log_exposure : (n,) lg of the exposure in lx s, ascending
    density : (n,) diffuse density, base and fog included; rising for a negative film
    """

    log_exposure: Floats
    density: Floats

    @property
    def reversal(self) -> bool:
        """Whether more light makes the film clearer, as in a transparency."""
        return bool(self.density[-1] < self.density[0])

    def at(self, exposure_lx_s: ArrayLike) -> Floats:
        """Density for exposures (...) >= 0 [lx s]."""
        with np.errstate(divide="ignore"):
            x = np.log10(np.asarray(exposure_lx_s, dtype=np.float64))
        return np.asarray(np.interp(x, self.log_exposure, self.density))


def read_curve(path: Path) -> CharacteristicCurve:
    """The curve in a table.

    Raises
    ------
    TableError
        Missing or malformed file, exposures that do not ascend, densities out of 0 to 10.
    """
    table = tables.read(path, empty="is empty", expected=_EXPECTED, most_rows=_MOST_ROWS)
    if [name.lower() for name in table.header[:2]] != ["log_exposure", "density"]:
        raise table.wrong(-1, "is not a characteristic curve", expected=_EXPECTED)
    rows = table.pairs("is not a row of two numbers")
    table.check_finite(rows)
    table.check_rising(rows[:, 0], "exposure does not ascend")
    if rows[:, 1].min() < 0 or rows[:, 1].max() > _MOST_DENSITY:
        expected = f"0 to {_MOST_DENSITY:g}"
        raise TableError("holds a density out of range", file=path, expected=expected)
    return CharacteristicCurve(rows[:, 0], rows[:, 1])


def usual_curve(speed: float = 100.0, fog: float | None = None) -> CharacteristicCurve:
    """The curve of `tone.Film` at an ISO speed, every twentieth of a decade.

    `fog` is the density of base and fog, 0 to 10; default that of `tone.Film`.
    """
    film = Film() if fog is None else Film(base_fog=within("fog", fog, 0.0, _MOST_DENSITY))
    x = np.arange(-4.0, 2.001, 0.05)
    return CharacteristicCurve(
        x + np.log10(SATURATION_EXPOSURE_LX_S / speed), film.density(10.0**x)
    )


@dataclass(frozen=True)
class Schwarzschild:
    """Long exposures by Schwarzschild's exponent p: beyond 1 s the blackening goes by E t^p.

    Schwarzschild (1900). p is 1 for shorter times here; datasheets give 0.7 to 0.9 for long ones.

    Raises
    ------
    InputError
        An exponent out of 0.3 to 1.
    """

    exponent: float

    def __post_init__(self) -> None:
        within("exponent", self.exponent, 0.3, 1.0)

    def factor(self, time_s: float) -> float:
        """Part of an exposure that counts: (t / 1 s)^(p - 1) for t > 1 s."""
        return float(max(time_s / REFERENCE_S, 1.0) ** (self.exponent - 1.0))

    def corrected_time(self, metered_s: float) -> float:
        """Time whose part that counts is `metered_s` [s]: t with t factor(t) = metered."""
        return float(max(metered_s, metered_s ** (1.0 / self.exponent)))

    @property
    def label(self) -> str:
        """In words."""
        return f"Schwarzschild exponent {self.exponent:g}"


@dataclass(frozen=True)
class ReciprocityTable:
    """Long exposures by a datasheet: metered times and the longer ones that they ask for.

    Between its rows lg of one is straight in lg of the other. Shorter times than the first row's
    are corrected as that is.

    Attributes
    ----------
    file : the table
    metered_s, corrected_s : (n,) [s], both ascending
    """

    file: Path
    metered_s: tuple[float, ...]
    corrected_s: tuple[float, ...]

    def factor(self, time_s: float) -> float:
        """Part of an exposure of that time that counts: the metered time over it.

        Raises
        ------
        InputError
            A time beyond the table.
        """
        if time_s > self.corrected_s[-1]:
            raise InputError(
                f"{self.file.name} does not reach an exposure of {time_s:.3g} s",
                key="--reciprocity", expected=f"a table beyond {self.corrected_s[-1]:g} s",
            )  # fmt: skip
        lg = np.log(self.corrected_s), np.log(self.metered_s)
        shorter = min(math.log(time_s) - float(lg[0][0]), 0.0)
        return math.exp(float(np.interp(math.log(time_s), *lg)) + shorter) / time_s

    def corrected_time(self, metered_s: float) -> float:
        """Time that a metered one asks for [s]; not a number beyond the table."""
        if metered_s > self.metered_s[-1]:
            return math.nan
        lg = np.log(self.metered_s), np.log(self.corrected_s)
        shorter = min(math.log(metered_s) - float(lg[0][0]), 0.0)
        return math.exp(float(np.interp(math.log(metered_s), *lg)) + shorter)

    @property
    def label(self) -> str:
        """In words."""
        return f"reciprocity of {self.file.name}"


Reciprocity = Schwarzschild | ReciprocityTable


def read_reciprocity(path: Path) -> ReciprocityTable:
    """A table of long exposures: metered_s,corrected_s.

    Raises
    ------
    TableError
        Missing or malformed file, times that do not ascend or are not positive, a corrected time
        shorter than the metered one.
    """
    table = tables.read(path, empty="is empty", expected=_RECIPROCITY_EXPECTED,
                        most_rows=_MOST_ROWS)  # fmt: skip
    if [name.lower() for name in table.header[:2]] != ["metered_s", "corrected_s"]:
        raise table.wrong(-1, "is not a table of reciprocity", expected=_RECIPROCITY_EXPECTED)
    rows = table.pairs("is not a row of two numbers")
    table.check_finite(rows)
    for column in rows.T:
        table.check_rising(column, "time does not ascend")
    for k, (metered, corrected) in enumerate(rows):
        if not 0 < metered <= corrected:
            expected = "a positive time, and one at least as long"
            raise table.wrong(k, "is not a correction", table.texts[k], expected)
    return ReciprocityTable(path, tuple(rows[:, 0].tolist()), tuple(rows[:, 1].tolist()))


def lights(density: Floats, curve: CharacteristicCurve, *, negative: bool) -> Floats:
    """Light 0..1 (...) of what is looked at.

    The film itself on a light table (`negative`, or a transparency): 10^-D, the bare table white,
    so that base and fog veil it. Or a print of a negative film, of contrast 1: 10^(D - D_max), fog
    black.
    """
    if negative or curve.reversal:
        return np.asarray(10.0**-density)
    low, high = float(curve.density.min()), float(curve.density.max())
    black = 10.0 ** (low - high)
    return np.asarray((10.0 ** (density - high) - black) / max(1.0 - black, 1e-12))


def densities(
    plate: Plate,
    curve: CharacteristicCurve,
    *,
    stops: float = 0.0,
    reciprocity: Reciprocity | None = None,
) -> Floats:
    """(ny, nx) density of the plate exposed `stops` longer on that film, the upper edge first."""
    part = 1.0 if reciprocity is None else reciprocity.factor(plate.exposure_s * 2.0**stops)
    exposure = plate.shown_xyz[::-1, :, 1] * (2.0**stops * part)
    return curve.at(np.maximum(exposure, 0.0))


def filmed(
    plate: Plate,
    curve: CharacteristicCurve,
    rendering: Rendering,
    *,
    stops: float = 0.0,
    reciprocity: Reciprocity | None = None,
    negative: bool = False,
) -> NDArray[np.uint8 | np.uint16]:
    """(ny, nx, 3) grey picture of the plate exposed `stops` longer on that film."""
    density = densities(plate, curve, stops=stops, reciprocity=reciprocity)
    light = lights(density, curve, negative=negative)
    white = d65_xyz()
    return picture(
        light[..., None] * white,
        white_xyz=white,
        white_level=1.0,
        balance="none",
        rendering=replace(rendering, tone=Linear()),
    )
