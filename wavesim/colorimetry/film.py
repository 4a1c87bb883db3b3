"""Black-and-white film as it is bought: its curve from a datasheet, its negative, long exposures.

    # lg of the exposure in lx s, and diffuse density
    log_exposure, density
    -3.0, 0.10
    -2.1, 0.20

A film sees the luminous exposure here (panchromatic, without a curve of its own over wavelength:
a plate holds CIE tristimulus values, no spectra).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wavesim import tables
from wavesim.colorimetry.rendering import Rendering, picture
from wavesim.colorimetry.spaces import d65_xyz
from wavesim.colorimetry.tone import Film, Linear
from wavesim.constants import SATURATION_EXPOSURE_LX_S
from wavesim.errors import TableError, within
from wavesim.plate import Plate

Array = NDArray[np.float64]

REFERENCE_S = 1.0  # exposures up to this are reciprocal: common practice, see the datasheet
_RIGHT = 'the header "log_exposure,density", lg of lx s and density'
_MOST_DENSITY = 10.0


@dataclass(frozen=True, eq=False)
class Curve:
    """A characteristic curve, straight between its points and level beyond them.

    Attributes
    ----------
    log_exposure : (n,) lg of the exposure in lx s, ascending
    density : (n,) diffuse density, base and fog included; rising for a negative film
    """

    log_exposure: Array
    density: Array

    @property
    def reversal(self) -> bool:
        """Whether more light makes the film clearer, as in a transparency."""
        return bool(self.density[-1] < self.density[0])

    def at(self, exposure_lx_s: ArrayLike) -> Array:
        """Density for exposures (...) >= 0 [lx s]."""
        with np.errstate(divide="ignore"):
            x = np.log10(np.asarray(exposure_lx_s, dtype=np.float64))
        return np.asarray(np.interp(x, self.log_exposure, self.density))


def read_curve(path: Path) -> Curve:
    """The curve in a table.

    Raises
    ------
    TableError
        Missing or malformed file, exposures that do not ascend, densities out of 0 to 10.
    """
    table = tables.read(path, empty="is empty", right=_RIGHT)
    if [name.lower() for name in table.header[:2]] != ["log_exposure", "density"]:
        raise table.wrong(-1, "is no characteristic curve", expected=_RIGHT)
    rows = table.pairs("is not a row of two numbers")
    table.check_finite(rows)
    table.check_rising(rows[:, 0], "exposure does not ascend")
    if rows[:, 1].min() < 0 or rows[:, 1].max() > _MOST_DENSITY:
        right = f"0 to {_MOST_DENSITY:g}"
        raise TableError("holds a density out of range", file=path, expected=right)
    return Curve(rows[:, 0], rows[:, 1])


def usual_curve(speed: float = 100.0) -> Curve:
    """The curve of `tone.Film` at an ISO speed, every twentieth of a decade."""
    film = Film()
    x = np.arange(-4.0, 2.001, 0.05)
    return Curve(x + np.log10(SATURATION_EXPOSURE_LX_S / speed), film.density(10.0**x))


def effective(exposure_lx_s: Array, time_s: float, exponent: float) -> Array:
    """Exposures that a film of Schwarzschild's exponent p counts: H (t / 1 s)^(p - 1), t > 1 s.

    Schwarzschild (1900): the blackening goes by E t^p. p is 1 for shorter times here; datasheets
    give 0.7 to 0.9 for long ones.

    Raises
    ------
    InputError
        An exponent out of 0.3 to 1.
    """
    within("exponent", exponent, 0.3, 1.0)
    longer = max(time_s / REFERENCE_S, 1.0)
    return np.asarray(exposure_lx_s * longer ** (exponent - 1.0))


def lights(density: Array, curve: Curve, *, negative: bool) -> Array:
    """Light 0..1 (...) of what is looked at.

    The film itself on a light table (`negative`, or a transparency): 10^-(D - D_min), clear film
    white. Or a print of a negative film, of contrast 1: 10^(D - D_max), fog black.
    """
    low, high = float(curve.density.min()), float(curve.density.max())
    if negative or curve.reversal:
        return np.asarray(10.0 ** (low - density))
    black = 10.0 ** (low - high)
    return np.asarray((10.0 ** (density - high) - black) / max(1.0 - black, 1e-12))


def filmed(
    plate: Plate,
    curve: Curve,
    rendering: Rendering,
    *,
    stops: float = 0.0,
    exponent: float = 1.0,
    negative: bool = False,
) -> NDArray[np.uint8 | np.uint16]:
    """(ny, nx, 3) grey picture of the plate exposed `stops` longer on that film."""
    time_s = plate.exposure_s * 2.0**stops
    exposure = effective(plate.xyz[::-1, :, 1] * 2.0**stops, time_s, exponent)
    light = lights(curve.at(np.maximum(exposure, 0.0)), curve, negative=negative)
    white = d65_xyz()
    return picture(
        light[..., None] * white,
        white_xyz=white,
        white_level=1.0,
        balance="none",
        rendering=replace(rendering, tone=Linear()),
    )
