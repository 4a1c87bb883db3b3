"""Pictures of plates at the size they are drawn."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.colorimetry import Rendering, picture
from wavesim.colorimetry.plates import picture_of
from wavesim.light.observer import cie1931, colour_matching
from wavesim.plate import Plate, with_light

_EVEN_LIGHT = 0.5  # of white, in its fullest coordinate; low enough that nothing bleaches


def drawn(
    plate: Plate, columns: int, rows: int, *, rendering: Rendering | None = None
) -> NDArray[np.uint8]:
    """Picture of a plate in at most that many pixels.

    Light is averaged before it becomes colour, as an eye far away would see it. A plate with
    fewer pixels keeps them.
    """
    smaller = averaged(averaged(plate.shown_xyz, rows, axis=0), columns, axis=1)
    coarse = with_light(plate, smaller)
    return np.asarray(picture_of(coarse, rendering), dtype=np.uint8)


def averaged(values: Floats, count: int, *, axis: int) -> Floats:
    """Means over `count` equal stretches along an axis, shares of cells counted; never more cells.

    With C the running sum, the mean over (a, b) is (C(b) - C(a)) / (b - a), C straight in a cell.
    """
    size = values.shape[axis]
    if count >= size:
        return values
    moved = np.moveaxis(values, axis, 0)
    running = np.concatenate([np.zeros_like(moved[:1]), np.cumsum(moved, axis=0)])
    edges = np.linspace(0, size, count + 1)
    below = np.minimum(edges.astype(int), size - 1)
    part = (edges - below).reshape(-1, *[1] * (moved.ndim - 1))
    at_edge = running[below] * (1 - part) + running[below + 1] * part
    return np.moveaxis(np.diff(at_edge, axis=0) * (count / size), 0, axis)


def hues(plate: Plate, columns: int) -> NDArray[np.uint8]:
    """(1, columns, 3) colour of the light along the plate's middle, however faint."""
    middle = averaged(plate.shown_xyz[plate.xyz.shape[0] // 2], columns, axis=0)
    return even_colours(middle, plate.shown_white_xyz, plate.scene.exposure.balance)[None]


def even_colours(xyz: Floats, white_xyz: Floats, balance: str) -> NDArray[np.uint8]:
    """(n, 3) sRGB of lights (n, 3), the fullest channel of each 255: hue and purity without more.

    Black stays black.
    """
    part = (xyz / white_xyz).max(axis=-1, keepdims=True)
    bright = part > 0
    shown = picture(
        np.where(bright, xyz / np.where(bright, part, 1.0), 0.0)[None] * _EVEN_LIGHT,
        white_xyz=white_xyz,
        white_level=1.0,
        balance=balance,
    )[0].astype(np.float64)
    full = shown.max(axis=-1, keepdims=True)
    return np.asarray(np.round(255 * shown / np.where(full > 0, full, 1.0)), dtype=np.uint8)


def spectral_colours(wavelength_m: Floats) -> NDArray[np.uint8]:
    """(n, 3) sRGB hues of narrow lines, fading gently towards both ends of the spectrum.

    The fullest channel is 255 (L / L_max)^0.15 with L the largest colour-matching function, so
    that deep red and violet still show their hue; for scales and fills, not for judging light.
    """
    (_, cmf), xyz = cie1931(), colour_matching(wavelength_m)
    white = cmf.sum(axis=0) / cmf[:, 1].sum()
    fade = (xyz.max(axis=-1, keepdims=True) / cmf.max()) ** 0.15
    return np.asarray(np.round(even_colours(xyz, white, "none") * fade), dtype=np.uint8)
