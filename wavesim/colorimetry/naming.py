"""Colours in words and in wavelengths: dominant wavelength, purity, and a plain name."""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.colorimetry.gamut import rounded_saturation, saturation_at
from wavesim.colorimetry.rendering import balance_matrix
from wavesim.colorimetry.spaces import xyz_to_oklab, xyz_to_xy
from wavesim.errors import InputError
from wavesim.light.observer import cie1931

_VIOLET_M, _RED_M = 380e-9, 700e-9  # the locus used; outside it turns back on itself

# Upper ends [degrees] of ranges of OKLab hue. Our own division, set so that the colours that CSS
# Color 4 names plainly (red, orange, gold, green, teal, blue, violet ...) and the spectrum's
# traditional bands get those names; there is no standard for names by OKLab hue.
_HUE_NAMES = (
    (14, "purplish red"),
    (34, "red"),
    (46, "orange-red"),
    (82, "orange"),
    (118, "yellow"),
    (136, "yellow-green"),
    (168, "green"),
    (205, "blue-green"),
    (225, "greenish blue"),
    (270, "blue"),
    (283, "violet-blue"),
    (312, "violet"),
    (335, "purple"),
    (346, "reddish purple"),
    (361, "purplish red"),
)
_WHITE_SATURATION = 0.03  # OKLab C / L below which nobody names a hue; common practice
_PALE_SHARE = 0.6  # of the saturation a screen can show
_PINK = {"red": "pink", "purplish red": "pink", "reddish purple": "pink"}
_BLACK, _DARK = 0.0005, 0.02  # of white's luminance


def dominant_wavelength(xy: ArrayLike, white_xy: ArrayLike) -> Floats:
    """Wavelength (...) [m] where the ray from white through xy (..., 2) meets the locus.

    CIE 15. NaN for purples, which have none, and for white itself. The locus is the polygon of
    the 1 nm CIE 1931 table from 380 to 700 nm; interpolation in it is worth 0.1 nm.

    Raises
    ------
    InputError
        A white that is not two finite numbers inside the locus.
    """
    return _meeting(xy, white_xy)[0]


def complementary_wavelength(xy: ArrayLike, white_xy: ArrayLike) -> Floats:
    """Dominant wavelength (...) [m] of the opposite direction; NaN where that is a purple."""
    white = np.asarray(white_xy, dtype=np.float64)
    return dominant_wavelength(2 * white - np.asarray(xy, dtype=np.float64), white)


def excitation_purity(xy: ArrayLike, white_xy: ArrayLike) -> Floats:
    """Distance from white over that of the locus or purple line along the ray (...), CIE 15.

    0 for white, 1 for a spectral or fully purple light.
    """
    return _meeting(xy, white_xy)[1]


def colour_name(xyz: ArrayLike, white_xyz: ArrayLike) -> str:
    """The name a person would give to light xyz (3,) where white is white_xyz (3,).

    White is balanced out first; then the hue's name goes by OKLab hue (`_HUE_NAMES`), "pale"
    (or "pink") below 60 % of the saturation a screen shows, "white" or "grey" below an OKLab
    saturation of 0.03; "dark" below 2 % of white's luminance, "black" below 0.05 %. Both
    arguments are in the same unit. The names are for lights: a dim orange is no brown.

    Raises
    ------
    InputError
        Not three finite numbers, or a white without light.
    """
    light, white = np.asarray(xyz, dtype=np.float64), np.asarray(white_xyz, dtype=np.float64)
    if light.shape != (3,) or not np.all(np.isfinite(light)):
        raise InputError("a colour is three finite numbers", key="xyz", value=xyz)
    adapted = balance_matrix(white, "source") @ light / white[1]
    strength = light[1] / white[1]
    if strength < _BLACK:
        return "black"
    shade = "dark " if strength < _DARK else ""
    lightness, a, b = (float(value) for value in xyz_to_oklab(adapted))
    saturation = np.hypot(a, b) / lightness
    if saturation < _WHITE_SATURATION:
        return "white" if strength > 0.4 else f"{shade}grey"
    angle = np.degrees(np.arctan2(b, a)) % 360
    hue = next(name for end, name in _HUE_NAMES if angle < end)
    if saturation < _PALE_SHARE * saturation_at(rounded_saturation("srgb"), a, b):
        hue = _PINK.get(hue, f"pale {hue}")
    return shade + hue


@cache
def _locus() -> tuple[Floats, Floats]:
    wavelength_m, cmf = cie1931()
    used = (wavelength_m > _VIOLET_M - 1e-12) & (wavelength_m < _RED_M + 1e-12)
    return wavelength_m[used], xyz_to_xy(cmf[used])


def _meeting(xy: ArrayLike, white_xy: ArrayLike) -> tuple[Floats, Floats]:
    white = np.asarray(white_xy, dtype=np.float64)
    if white.shape != (2,) or not np.all(np.isfinite(white)):
        raise InputError("a white is two finite numbers", key="white_xy", value=white_xy)
    ray = np.asarray(xy, dtype=np.float64) - white
    wavelength_m, border = _locus()
    closed = np.vstack([border, border[:1]]) - white  # the last side is the purple line
    across = ray[..., :1] * closed[:, 1] - ray[..., 1:] * closed[:, 0]
    before, after = across[..., :-1], across[..., 1:]
    with np.errstate(invalid="ignore", divide="ignore"):
        part = before / (before - after)
    meets = closed[:-1] + part[..., None] * (closed[1:] - closed[:-1])
    ahead = np.einsum("...k,...jk->...j", ray, meets) > 0
    hit = ((before <= 0) != (after <= 0)) & ahead
    side = np.argmax(hit, axis=-1)[..., None]
    taken = np.take_along_axis(part, side, axis=-1)[..., 0]
    reach = np.linalg.norm(np.take_along_axis(meets, side[..., None], axis=-2)[..., 0, :], axis=-1)
    step_m = wavelength_m[1] - wavelength_m[0]
    found = wavelength_m[side[..., 0]] + taken * step_m
    spectral = hit.any(axis=-1) & (side[..., 0] < len(wavelength_m) - 1)
    distance = np.linalg.norm(ray, axis=-1)
    purity = np.where(distance == 0, 0.0, distance / np.where(reach > 0, reach, np.nan))
    return np.where(spectral, found, np.nan), purity
