"""The picture of an exposed plate, as its scene asks."""

from __future__ import annotations

from weakref import WeakKeyDictionary

import numpy as np
import numpy.typing as npt

from wavesim.colorimetry.rendering import Rendering, picture
from wavesim.plate import Plate

Picture = npt.NDArray[np.uint8 | np.uint16]

# the plate file and the PNG want the same picture of the same plate; plates do not change
_drawn: WeakKeyDictionary[Plate, Picture] = WeakKeyDictionary()


def picture_of(plate: Plate, rendering: Rendering | None = None) -> Picture:
    """(ny, nx, 3) picture of a plate, white at its white exposure, balanced as its scene says.

    Row 0 is the plate's upper edge in the picture: y falls from row to row. The picture in the
    default rendering is kept as long as the plate and must not be written to.
    """
    if rendering is not None:
        return _picture(plate, rendering)
    if plate not in _drawn:
        _drawn[plate] = _picture(plate, Rendering())
        _drawn[plate].flags.writeable = False
    return _drawn[plate]


def _picture(plate: Plate, rendering: Rendering) -> Picture:
    return picture(
        plate.xyz[::-1],
        white_xyz=plate.white_xyz,
        white_level=plate.white_exposure_lx_s,
        balance=plate.scene.exposure.balance,
        rendering=rendering,
    )
