"""What a person would call the light of one pixel."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wavesim.colorimetry import (
    colour_name,
    complementary_wavelength,
    dominant_wavelength,
    excitation_purity,
    xyz_to_xy,
)
from wavesim.plate import Plate
from wavesim.study.visibility import BURNT_STOPS

NAMED_AT = 0.3  # of white: the brightness at which a hue gets its name


@dataclass(frozen=True)
class Colour:
    """What a person would call the light, beside the source's white.

    Attributes
    ----------
    name : of the hue, at a brightness at which it is seen well
    as_exposed : the name at the plate's own exposure ("black", "dark red", "burnt out" ...)
    dominant_m : [m] dominant wavelength; NaN for purples and white
    complementary_m : [m] of the opposite direction; NaN where that is a purple
    purity : distance from white over that of the purest light of this hue
    xy : chromaticity, CIE 1931
    stops : log2 of the exposure over white; -inf without light
    """

    name: str
    as_exposed: str
    dominant_m: float
    complementary_m: float
    purity: float
    xy: tuple[float, float]
    stops: float


def colour_at(plate: Plate, column: int) -> Colour:
    """Colour of the pixel in a column, in the plate's middle row.

    Names are those of the picture, as the scene's observer or sensor has it; chromaticity,
    wavelength and purity are those of CIE 1931.
    """
    middle = plate.xyz.shape[0] // 2
    xyz, shown = plate.xyz[middle, column], plate.shown_xyz[middle, column]
    white = plate.white_xyz * plate.white_exposure_lx_s
    shown_white = plate.shown_white_xyz * plate.white_exposure_lx_s
    if not (xyz[1] > 0 and shown[1] > 0):
        nothing = (math.nan, math.nan)
        return Colour("black", "black", math.nan, math.nan, 0.0, nothing, -math.inf)
    stops = math.log2(shown[1] / white[1])
    xy, centre = xyz_to_xy(xyz), xyz_to_xy(white)
    return Colour(
        name=colour_name(shown * (NAMED_AT * white[1] / shown[1]), shown_white),
        as_exposed="burnt out" if stops > BURNT_STOPS else colour_name(shown, shown_white),
        dominant_m=float(dominant_wavelength(xy, centre)),
        complementary_m=float(complementary_wavelength(xy, centre)),
        purity=float(excitation_purity(xy, centre)),
        xy=(float(xy[0]), float(xy[1])),
        stops=stops,
    )
