"""How far two colours are apart for the eye: CIE L*a*b* and CIEDE2000.

CIE 15:2018 (L*a*b*) and ISO/CIE 11664-6:2014 (CIEDE2000), after the implementation notes of
Sharma, Wu and Dalal, Color Res. Appl. 30 (2005) 21. A difference of 1 is about what an eye just
sees between fields side by side; beyond about 5 the numbers only rank (the formula was fitted to
small differences), and no formula was fitted to lights brighter than white. Written here, since
nothing else of a colour library is needed to run; tests compare it with one.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.colorimetry.spaces import d65_xyz

_LIMIT = 216 / 24389  # below it the cube root gives way to a straight line
_SLOPE = 24389 / 27
_CHROMA = 25.0**7


def xyz_to_lab(xyz: ArrayLike, white_xyz: ArrayLike | None = None) -> Floats:
    """CIE L*a*b* (..., 3) of XYZ (..., 3); `white_xyz` is L* = 100, D65 of Y = 1 if left out."""
    white = d65_xyz() if white_xyz is None else np.asarray(white_xyz, dtype=np.float64)
    relative = np.asarray(xyz, dtype=np.float64) / white
    root = np.where(relative > _LIMIT, np.cbrt(relative), (_SLOPE * relative + 16) / 116)
    x, y, z = np.moveaxis(root, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def ciede2000(lab: ArrayLike, other_lab: ArrayLike) -> Floats:
    """CIEDE2000 (...) between L*a*b* (..., 3), all weights 1; symmetric in its arguments."""
    first, second = (np.asarray(each, dtype=np.float64) for each in (lab, other_lab))
    chroma = (np.hypot(first[..., 1], first[..., 2]) + np.hypot(second[..., 1], second[..., 2])) / 2
    factor = 1.5 - 0.5 * np.sqrt(chroma**7 / (chroma**7 + _CHROMA))
    (c1, h1), (c2, h2) = (_polar(each, factor) for each in (first, second))
    light = (first[..., 0] + second[..., 0]) / 2
    mean_c, grey = (c1 + c2) / 2, c1 * c2 == 0
    turn = np.where(grey, 0.0, (h2 - h1 + 180) % 360 - 180)
    turn = np.where(turn == -180, np.where(h2 > h1, 180.0, -180.0), turn)
    mean_h = np.where(grey, h1 + h2, _mean_hue(h1, h2))
    in_l = (second[..., 0] - first[..., 0]) / _weight_l(light)
    in_c = (c2 - c1) / (1 + 0.045 * mean_c)
    in_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn) / 2) / _weight_h(mean_c, mean_h)
    square = in_l**2 + in_c**2 + in_h**2 + _rotation(mean_c, mean_h) * in_c * in_h
    return np.asarray(np.sqrt(np.maximum(square, 0.0)))


def _polar(lab: Floats, factor: Floats) -> tuple[Floats, Floats]:
    """Chroma and hue [degrees] with a* stretched, which evens out nearly grey colours."""
    a, b = factor * lab[..., 1], lab[..., 2]
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360


def _mean_hue(h1: Floats, h2: Floats) -> Floats:
    """Middle of the shorter way between two hues [degrees]."""
    total = h1 + h2
    far = np.abs(h1 - h2) > 180
    return np.where(far, np.where(total < 360, total + 360, total - 360), total) / 2


def _weight_l(light: Floats) -> Floats:
    return np.asarray(1 + 0.015 * (light - 50) ** 2 / np.sqrt(20 + (light - 50) ** 2))


def _weight_h(chroma: Floats, hue: Floats) -> Floats:
    terms = ((-0.17, 1, -30.0), (0.24, 2, 0.0), (0.32, 3, 6.0), (-0.20, 4, -63.0))
    t = 1 + sum(w * np.cos(np.radians(n * hue + shift)) for w, n, shift in terms)
    return np.asarray(1 + 0.015 * chroma * t)


def _rotation(chroma: Floats, hue: Floats) -> Floats:
    """Blue's differences in chroma and hue are not independent."""
    angle = np.radians(60 * np.exp(-(((hue - 275) / 25) ** 2)))
    return np.asarray(-2 * np.sqrt(chroma**7 / (chroma**7 + _CHROMA)) * np.sin(angle))
