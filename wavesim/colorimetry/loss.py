"""What a picture gives up: colours and luminances that its display does not have."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Flags, Floats
from wavesim.colorimetry.difference import ciede2000, xyz_to_lab
from wavesim.colorimetry.rendering import Rendering, linear_rgb, picture
from wavesim.colorimetry.spaces import decode, rgb_space
from wavesim.colorimetry.tone import Linear

_AT_ONCE = 1 << 20  # pixels
_BLACK = 1e-3  # of white: darker pixels do not count
_EMPTY = 1e-3  # of the fullest channel: a colour that needs a channel below minus that is too pure
_SAME = 0.02  # relative: luminances nearer than that are one
_JUST_SEEN = 1.0  # CIEDE2000


@dataclass(frozen=True)
class Loss:
    """Parts of a picture's pixels that are not black, before any tone.

    Attributes
    ----------
    colour : more saturated than the display shows; they are paler, at their luminance
    luminance : too strong for the display in their colour; they are darker than the light
    difference : median and largest CIEDE2000 between the light and what is shown of it, over the
        pixels of either kind that are not brighter than white; 0 where there are none
    """

    colour: float
    luminance: float
    difference: tuple[float, float] = (0.0, 0.0)

    @property
    def sentence(self) -> str:
        """Both in words; empty where nothing of account is given up."""
        parts = []
        if self.colour >= 0.005:
            parts.append(f"{100 * self.colour:.0f} % of the picture is more saturated than shown")
        if self.luminance >= 0.005:
            parts.append(f"{100 * self.luminance:.0f} % is brighter than shown")
        if parts and self.difference[1] >= _JUST_SEEN:
            median, most = self.difference
            parts.append(
                f"colour difference there {median:.0f} in the median, at most {most:.0f} "
                "(CIEDE2000)"
            )
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
    differences = []
    for first in range(0, rows.shape[0], step):
        part = rows[first : first + step]
        asked = linear_rgb(
            part, white_xyz=white_xyz, white_level=white_level, balance=balance, space=style.space
        )
        shown = picture(
            part, white_xyz=white_xyz, white_level=white_level, balance=balance, rendering=style
        )
        given = decode(np.asarray(shown, dtype=np.float64) / 65535, rgb_space(style.space).curve)
        counted, pure, dim = _lost(asked, given, style)
        counts += [counted.sum(), pure.sum(), dim.sum()]
        differences.append(_differences(asked, given, pure | dim, style))
    number = max(int(counts[0]), 1)
    apart = np.concatenate(differences)
    median_most = (float(np.median(apart)), float(apart.max())) if apart.size else (0.0, 0.0)
    return Loss(float(counts[1] / number), float(counts[2] / number), median_most)


def _differences(asked: Floats, given: Floats, lost: Flags, style: Rendering) -> Floats:
    """(n,) CIEDE2000 of the pixels that lost something and are not brighter than white."""
    to_xyz = rgb_space(style.space).to_xyz()
    chosen = lost & (asked @ to_xyz[1] <= 1)
    light, picture_of_it = (xyz_to_lab(rgb[chosen] @ to_xyz.T) for rgb in (asked, given))
    return ciede2000(light, picture_of_it)


def _lost(asked: Floats, shown: Floats, style: Rendering) -> tuple[Flags, Flags, Flags]:
    """Pixels that are not black, and of those the too pure and the too dim."""
    weight = rgb_space(style.space).to_xyz()[1]
    wanted, given = asked @ weight, shown @ weight
    counted = wanted > _BLACK
    pure = counted & (asked.min(axis=-1) < -_EMPTY * asked.max(axis=-1))
    dim = counted & (given < (1 - _SAME) * wanted)
    return counted, pure, dim
