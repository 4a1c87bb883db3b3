"""The picture of an exposed plate, as its scene asks."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from wavesim.colorimetry.rendering import Rendering, picture
from wavesim.plate import Plate


def picture_of(
    plate: Plate, rendering: Rendering | None = None
) -> npt.NDArray[np.uint8 | np.uint16]:
    """(ny, nx, 3) picture of a plate, white at its white exposure, balanced as its scene says.

    Row 0 is the plate's upper edge in the picture: y falls from row to row.
    """
    return picture(
        plate.xyz[::-1],
        white_xyz=plate.white_xyz,
        white_level=plate.white_exposure_lx_s,
        balance=plate.scene.exposure.balance,
        rendering=rendering or Rendering(),
    )
