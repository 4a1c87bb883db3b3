"""What a picture gives up: colours and luminances that its display does not have."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.colorimetry.rendering import Rendering, linear_rgb, picture
from wavesim.colorimetry.spaces import decode, rgb_space
from wavesim.colorimetry.tone import Linear

Counts = npt.NDArray[np.int64]

_AT_ONCE = 1 << 20  # pixels
_BLACK = 1e-3  # of white: darker pixels do not count
_EMPTY = 1e-3  # of the fullest channel: a colour that needs a channel below minus that is too pure
_SAME = 0.02  # relative: luminances nearer than that are one


@dataclass(frozen=True)
class Loss:
    """Parts of a picture's pixels that are not black, before any tone.

    Attributes
    ----------
    colour : more saturated than the display shows; they are paler, at their luminance
    luminance : too strong for the display in their colour; they are darker than the light
    """

    colour: float
    luminance: float

    @property
    def sentence(self) -> str:
        """Both in words; empty where nothing of account is given up."""
        parts = []
        if self.colour >= 0.005:
            parts.append(f"{self.colour:.0%} of the picture is purer in colour than shown")
        if self.luminance >= 0.005:
            parts.append(f"{self.luminance:.0%} is brighter than shown")
        return "; ".join(parts)


def loss(
    xyz: ArrayLike, *, white_xyz: ArrayLike, white_level: float, balance: str, rendering: Rendering
) -> Loss:
    """What `picture` of the same exposures (..., 3) gives up with a linear tone; arguments as
    there. A million pixels are looked at at a time."""
    style = replace(rendering, tone=Linear(), depth=16, dither=False)
    light = np.asarray(xyz)
    rows = light.reshape(-1, *light.shape[-2:]) if light.ndim > 1 else light.reshape(1, 1, 3)
    step = max(1, _AT_ONCE // rows.shape[1])
    counts = np.zeros(3, dtype=np.int64)
    for first in range(0, rows.shape[0], step):
        part = rows[first : first + step]
        asked = linear_rgb(
            part, white_xyz=white_xyz, white_level=white_level, balance=balance, space=style.space
        )
        shown = picture(
            part, white_xyz=white_xyz, white_level=white_level, balance=balance, rendering=style
        )
        counts += _counted(asked, shown, style)
    number = max(int(counts[0]), 1)
    return Loss(float(counts[1] / number), float(counts[2] / number))


def _counted(asked: Floats, shown: npt.NDArray[np.generic], style: Rendering) -> Counts:
    """(3,) pixels that are not black, and of those the too pure and the too dim."""
    chosen = rgb_space(style.space)
    weight = chosen.to_xyz()[1]
    wanted = asked @ weight
    given = decode(np.asarray(shown) / 65535, chosen.curve) @ weight
    counted = wanted > _BLACK
    pure = counted & (asked.min(axis=-1) < -_EMPTY * asked.max(axis=-1))
    dim = counted & (given < (1 - _SAME) * wanted)
    return np.array([counted.sum(), pure.sum(), dim.sum()], dtype=np.int64)
