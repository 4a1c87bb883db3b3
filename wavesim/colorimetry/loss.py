"""What a picture gives up: colours and luminances that its display does not have."""

from __future__ import annotations

from dataclasses import dataclass, replace

from numpy.typing import ArrayLike

from wavesim.colorimetry.rendering import Rendering, linear_rgb, picture
from wavesim.colorimetry.spaces import decode, rgb_space
from wavesim.colorimetry.tone import Linear

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
    """What `picture` of the same exposures gives up with a linear tone; arguments as there."""
    style = replace(rendering, tone=Linear(), depth=16, dither=False)
    asked = linear_rgb(
        xyz, white_xyz=white_xyz, white_level=white_level, balance=balance, space=style.space
    )
    shown = picture(
        xyz, white_xyz=white_xyz, white_level=white_level, balance=balance, rendering=style
    )
    chosen = rgb_space(style.space)
    weight = chosen.to_xyz()[1]
    wanted = asked @ weight
    given = decode(shown / 65535, chosen.curve) @ weight
    counted = wanted > _BLACK
    number = max(int(counted.sum()), 1)
    pure = counted & (asked.min(axis=-1) < -_EMPTY * asked.max(axis=-1))
    dim = counted & (given < (1 - _SAME) * wanted)
    return Loss(float(pure.sum() / number), float(dim.sum() / number))
