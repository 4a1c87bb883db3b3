"""The picture of an exposed plate, as its scene asks."""

from __future__ import annotations

from typing import TypedDict
from weakref import WeakKeyDictionary

import numpy as np
import numpy.typing as npt

from wavesim.arrays import Picture
from wavesim.colorimetry.grain import Material
from wavesim.colorimetry.loss import Loss, loss
from wavesim.colorimetry.rendering import Rendering, linear_rgb, picture
from wavesim.errors import within
from wavesim.light.recorders import observer_white
from wavesim.plate import Plate

_MOST_STOPS = 60.0

# the plate file and the PNG want the same picture of the same plate
_drawn: WeakKeyDictionary[Plate, Picture] = WeakKeyDictionary()


class White(TypedDict):
    """What is shown white, as `picture` and `linear_rgb` take it."""

    white_xyz: npt.NDArray[np.float64]
    white_level: float
    balance: str


def picture_of(plate: Plate, rendering: Rendering | None = None) -> Picture:
    """(ny, nx, 3) picture of a plate, white at its white exposure, balanced as its scene says.

    Row 0 is the plate's upper edge in the picture: y falls from row to row. The picture in the
    default rendering is kept as long as the plate, where the plate's light cannot be written to,
    and cannot be written to either.
    """
    if rendering is not None:
        return developed(plate, rendering)
    if plate.shown_xyz.flags.writeable:
        return developed(plate, Rendering())
    if plate not in _drawn:
        _drawn[plate] = developed(plate, Rendering())
        _drawn[plate].flags.writeable = False
    return _drawn[plate]


def developed(
    plate: Plate, rendering: Rendering, *, stops: float = 0.0, material: Material | None = None
) -> Picture:
    """The picture of the same plate exposed `stops` longer, on a material of its own.

    Raises
    ------
    InputError
        A number of stops, or a property of the material, that is out of range.
    """
    return picture(_recorded(plate, stops, material), rendering=rendering, **white_of(plate))


def given_up(
    plate: Plate, rendering: Rendering, *, stops: float = 0.0, material: Material | None = None
) -> Loss:
    """What `developed` of the same gives up for want of a wider display."""
    return loss(_recorded(plate, stops, material), rendering=rendering, **white_of(plate))


def linear_light(
    plate: Plate, space: str, *, stops: float = 0.0, material: Material | None = None
) -> npt.NDArray[np.float32]:
    """The same as linear RGB, 1 = white, unbounded: for a float file that others grade."""
    return linear_rgb(_recorded(plate, stops, material), space=space, **white_of(plate)).astype(
        "f4"
    )


def _recorded(plate: Plate, stops: float, material: Material | None) -> npt.NDArray[np.float64]:
    """(ny, nx, 3) [lx s], the upper edge first."""
    within("stops", stops, -_MOST_STOPS, _MOST_STOPS)
    xyz = plate.shown_xyz[::-1] * 2.0**stops if stops else plate.shown_xyz[::-1]
    if material is None:
        return xyz
    level, pixel = plate.white_exposure_lx_s, plate.scene.plate.pixel_m
    return material.exposed(xyz, white_xyz=plate.white_xyz, white_level=level, pixel_m=pixel)


def white_of(plate: Plate) -> White:
    """What is shown white of a plate.

    Without a balance colours are shown as under D65, as the plate's own observer sees it.
    """
    exposure = plate.scene.exposure
    white, balance = plate.shown_white_xyz, exposure.balance
    if balance == "none" and exposure.observer != "cie1931_2deg":
        white, balance = observer_white(exposure.observer), "source"
    return {"white_xyz": white, "white_level": plate.white_exposure_lx_s, "balance": balance}
