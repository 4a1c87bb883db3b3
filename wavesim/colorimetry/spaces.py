"""Colour spaces as plain functions on arrays: XYZ, xy, RGB, OKLab, CIELAB, and adaptation.

Every function takes and gives float arrays whose last axis holds the coordinates, any leading
shape. XYZ is relative (white has Y = 1) unless said otherwise, of the CIE 1931 2-degree
observer. Matrices multiply column vectors: rgb = M @ xyz.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.errors import InputError, one_of

D65_XY = (0.3127, 0.3290)  # as sRGB, Display P3 and Rec. 2020 define it (IEC 61966-2-1, BT.2020)

# OKLab: B. Ottosson, "A perceptual color space for image processing" (2020), in the digits that
# W3C CSS Color 4 recomputed for the white above, so that white is L = 1, a = b = 0.
XYZ_TO_LMS = np.array(
    [
        [0.8190224379967030, 0.3619062600528904, -0.1288737815209879],
        [0.0329836539323885, 0.9292868615863434, 0.0361446663506424],
        [0.0481771893596242, 0.2642395317527308, 0.6335478284694309],
    ]
)
ROOTS_TO_OKLAB = np.array(
    [
        [0.2104542683093140, 0.7936177747023054, -0.0040720430116193],
        [1.9779985324311684, -2.4285922420485799, 0.4505937096174110],
        [0.0259040424655478, 0.7827717124575296, -0.8086757549230774],
    ]
)

# Cone-like spaces for the von Kries rule.
ADAPTATIONS = {
    # C. Li et al., Color Res. Appl. 42, 703 (2017): the matrix of CAM16
    "cat16": np.array(
        [
            [0.401288, 0.650173, -0.051461],
            [-0.250268, 1.204414, 0.045854],
            [-0.002079, 0.048952, 0.953127],
        ]
    ),
    # K. M. Lam, thesis, University of Bradford (1985), the linear form that ICC.1 uses
    "bradford": np.array(
        [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
    ),
}


@dataclass(frozen=True)
class RgbSpace:
    """An additive display space: its primaries and white as xy, and its encoding curve.

    `curve` is "srgb" (IEC 61966-2-1) or "gamma24" (ITU-R BT.1886 with black at zero).
    """

    name: str
    red_xy: tuple[float, float]
    green_xy: tuple[float, float]
    blue_xy: tuple[float, float]
    curve: str
    white_xy: tuple[float, float] = D65_XY

    def to_xyz(self) -> Floats:
        """Matrix (3, 3) from linear RGB to XYZ with Y = 1 for R = G = B = 1."""
        primaries = xy_to_xyz([self.red_xy, self.green_xy, self.blue_xy]).T
        white = xy_to_xyz(self.white_xy)
        return np.asarray(primaries * np.linalg.solve(primaries, white), dtype=np.float64)

    def from_xyz(self) -> Floats:
        """Matrix (3, 3) from XYZ to linear RGB."""
        return np.asarray(np.linalg.inv(self.to_xyz()), dtype=np.float64)


RGB_SPACES = {
    # IEC 61966-2-1:1999 (primaries of ITU-R BT.709)
    "srgb": RgbSpace("srgb", (0.64, 0.33), (0.30, 0.60), (0.15, 0.06), "srgb"),
    # SMPTE RP 431-2 primaries, D65 and the sRGB curve (SMPTE EG 432-1; CSS Color 4)
    "display-p3": RgbSpace("display-p3", (0.680, 0.320), (0.265, 0.690), (0.150, 0.060), "srgb"),
    # ITU-R BT.2020 primaries, shown through BT.1886
    "rec2020": RgbSpace("rec2020", (0.708, 0.292), (0.170, 0.797), (0.131, 0.046), "gamma24"),
}


def rgb_space(name: str) -> RgbSpace:
    """The display space of that name; InputError names the known ones."""
    one_of("space", name, RGB_SPACES, "colour space of a picture")
    return RGB_SPACES[name]


def xyz_to_xy(xyz: ArrayLike) -> Floats:
    """Chromaticity x = X/(X+Y+Z), y = Y/(X+Y+Z), shape (..., 2); NaN for black."""
    values = np.asarray(xyz, dtype=np.float64)
    total = values.sum(axis=-1, keepdims=True)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray(values[..., :2] / total)


def xy_to_xyz(xy: ArrayLike) -> Floats:
    """XYZ (..., 3) of chromaticity xy (..., 2) at Y = 1."""
    values = np.asarray(xy, dtype=np.float64)
    x, y = values[..., 0], values[..., 1]
    return np.stack([x / y, np.ones_like(x), (1 - x - y) / y], axis=-1)


def xy_to_uv(xy: ArrayLike) -> Floats:
    """CIE 1960 u = 4x/(-2x+12y+3), v = 6y/(-2x+12y+3), shape (..., 2)."""
    values = np.asarray(xy, dtype=np.float64)
    x, y = values[..., 0], values[..., 1]
    below = -2 * x + 12 * y + 3
    return np.stack([4 * x / below, 6 * y / below], axis=-1)


def encode(linear: ArrayLike, curve: str = "srgb") -> Floats:
    """Display light 0..1 -> encoded value 0..1, odd about zero.

    "srgb": 12.92 c up to 0.0031308, then 1.055 c^(1/2.4) - 0.055 (IEC 61966-2-1);
    "gamma24": c^(1/2.4) (ITU-R BT.1886 with a black of zero).
    """
    value = np.asarray(linear, dtype=np.float64)
    size = np.abs(value)
    power = size ** (1 / 2.4)
    if curve == "srgb":
        power = np.where(size <= 0.0031308, 12.92 * size, 1.055 * power - 0.055)
    return np.copysign(power, value)


def decode(encoded: ArrayLike, curve: str = "srgb") -> Floats:
    """Encoded value 0..1 -> display light 0..1: the inverse of `encode`.

    The published thresholds are rounded, so "srgb" jumps by 2.3e-9 at 0.04045.
    """
    value = np.asarray(encoded, dtype=np.float64)
    size = np.abs(value)
    if curve == "srgb":
        light = np.where(size <= 0.04045, size / 12.92, ((size + 0.055) / 1.055) ** 2.4)
    else:
        light = size**2.4
    return np.copysign(light, value)


def xyz_to_oklab(xyz: ArrayLike) -> Floats:
    """OKLab L, a, b (..., 3) of XYZ relative to D65 (Ottosson 2020).

    Homogeneous: light k times stronger has L, a and b all k^(1/3) times as large.
    """
    lms = np.asarray(xyz, dtype=np.float64) @ XYZ_TO_LMS.T
    return np.asarray(np.cbrt(lms) @ ROOTS_TO_OKLAB.T)


def adaptation(
    white_from_xyz: ArrayLike,
    white_to_xyz: ArrayLike,
    *,
    transform: str = "cat16",
    degree: float = 1.0,
) -> Floats:
    """Matrix (3, 3) that takes colours seen under one white to those under another.

    M^-1 diag(D w_to / w_from + 1 - D) M with M the transform's cone matrix and D the degree of
    adaptation (Li et al. 2017, eq. 3 to 7 with both whites at Y = 1; D = 1 is von Kries' rule).

    Raises
    ------
    InputError
        Unknown transform, or a white that is not positive in all three cone signals.
    """
    one_of("adaptation", transform, ADAPTATIONS, "chromatic adaptation")
    cone = ADAPTATIONS[transform]
    source = cone @ unit_white(white_from_xyz)
    target = cone @ unit_white(white_to_xyz)
    if degree != 0 and not (np.all(source > 0) and np.all(target > 0)):
        raise InputError(
            "this white is too saturated to adapt to",
            key="white_xyz",
            value=white_from_xyz,
            expected='a near-neutral white, or balance = "none"',
        )
    gain = degree * target / source + 1 - degree if degree else np.ones(3)
    return np.asarray(np.linalg.inv(cone) @ (gain[:, None] * cone), dtype=np.float64)


@cache
def d65_xyz() -> Floats:
    """XYZ (3,) of the display white at Y = 1."""
    white = xy_to_xyz(D65_XY)
    white.setflags(write=False)
    return white


def unit_white(xyz: ArrayLike) -> Floats:
    """A white XYZ (3,) at Y = 1; InputError where it is none."""
    white = np.asarray(xyz, dtype=np.float64)
    if white.shape != (3,) or not np.all(np.isfinite(white)) or not white[1] > 0:
        raise InputError(
            "a white is three finite numbers with Y above zero", key="white_xyz", value=xyz
        )
    return np.asarray(white / white[1])
