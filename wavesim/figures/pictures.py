"""Pictures of plates at the size they are drawn."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from wavesim.colorimetry import Rendering, picture
from wavesim.colorimetry.plates import picture_of
from wavesim.light.observer import cie1931
from wavesim.plate import Plate

Array = NDArray[np.float64]
_EVEN_LIGHT = 0.55  # of white, shown for every chromaticity alike


def drawn(
    plate: Plate, columns: int, rows: int, *, rendering: Rendering | None = None
) -> NDArray[np.uint8]:
    """Picture of a plate in at most that many pixels.

    Light is averaged before it becomes colour, as an eye far away would see it. A plate with
    fewer pixels keeps them.
    """
    smaller = averaged(averaged(plate.xyz, rows, axis=0), columns, axis=1)
    return np.asarray(picture_of(replace(plate, xyz=smaller), rendering), dtype=np.uint8)


def averaged(values: Array, count: int, *, axis: int) -> Array:
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
    share = (edges - below).reshape(-1, *[1] * (moved.ndim - 1))
    at_edge = running[below] * (1 - share) + running[below + 1] * share
    return np.moveaxis(np.diff(at_edge, axis=0) * (count / size), 0, axis)


def hues(plate: Plate, columns: int) -> NDArray[np.uint8]:
    """(1, columns, 3) colour of the light along the plate's middle, all equally bright."""
    middle = averaged(plate.xyz[plate.xyz.shape[0] // 2][None], columns, axis=1)
    light = middle[..., 1:2]
    even = np.where(light > 0, middle / np.where(light > 0, light, 1.0), 0.0)
    shown = picture(
        even * _EVEN_LIGHT,
        white_xyz=plate.white_xyz,
        white_level=1.0,
        balance=plate.scene.exposure.balance,
    )
    return np.asarray(shown, dtype=np.uint8)


def spectral_colours(wavelength_m: Array) -> NDArray[np.uint8]:
    """(n, 3) sRGB hues of narrow lines, fading gently towards both ends of the spectrum.

    The fullest channel is 255 (L / L_max)^0.15 with L the eye's brightness for equal power, so
    that deep red and violet still show their hue; for scales and fills, not for judging light.
    """
    table_m, cmf = cie1931()
    xyz = np.stack([np.interp(wavelength_m, table_m, column) for column in cmf.T], axis=-1)
    light = xyz.max(axis=-1, keepdims=True)
    white = cmf.sum(axis=0)
    shown = picture(
        (xyz / light)[None] * 0.6, white_xyz=white / white[1], white_level=1.0, balance="none"
    )[0].astype(np.float64)
    full = shown / shown.max(axis=-1, keepdims=True)
    return np.asarray(np.round(255 * full * (light / light.max()) ** 0.15), dtype=np.uint8)
