"""Scenes that differ in one value, and their plates on one scale of exposure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from wavesim.errors import InputError, positive
from wavesim.plate import Plate
from wavesim.scene import Scene, changed
from wavesim.scene.base import Value


def varied(
    scene: Scene, key: str, values: Sequence[Value], *, file: str | None = None
) -> list[Scene]:
    """The scene once for each value of one key.

    Parameters
    ----------
    key : dotted, as in the file: "aperture.count", "bench.turn", "aperture.defects.0.amplitude"
    values : as in the file: numbers, or texts with their units
    file : name that messages give

    Raises
    ------
    InputError
        No value.
    SceneError
        A key that leads nowhere, or a value that the scene does not take.
    """
    if not values:
        raise InputError("needs at least one value", key=key, expected="values to vary it over")
    return [changed(scene, {key: value}, file=file) for value in values]


def together(plates: Sequence[Plate]) -> list[Plate]:
    """The plates exposed for one time: the shortest of theirs, which burns none of them out more.

    Exposures scale with the time; nothing is computed again.
    """
    time = min(plate.exposure_s for plate in plates)
    return [at_time(plate, time) for plate in plates]


def at_time(plate: Plate, time_s: float) -> Plate:
    """The same plate exposed for another time [s].

    Raises
    ------
    InputError
        A time that is not positive.
    """
    longer = positive("time_s", time_s) / plate.exposure_s
    recorded = None if plate.recorded is None else plate.recorded * longer
    return replace(plate, xyz=plate.xyz * longer, recorded=recorded, exposure_s=time_s)
