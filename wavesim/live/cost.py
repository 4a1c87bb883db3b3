"""What a scene would cost, judged before any of it is computed."""

from __future__ import annotations

from dataclasses import dataclass

from wavesim.errors import LimitError
from wavesim.plate.memory import available_bytes
from wavesim.scene import Dots, Mesh, Picture, Plane, Ruled, Scene

MOST_SECONDS = 60.0  # of the whole plate
MOST_BYTES = 2.0e9
_SHARE = 0.5  # of the memory that is free
_BYTES_PIXEL = 160  # light, mirror image, exposures, picture
_BYTES_RULING = 2000  # positions, weights, table of the running integral
# seconds measured on one core of an AMD EPYC 7003; a third as many again where work is shared
_S_PIXEL = 2.5e-7
_S_RULING = 6e-6
_S_PLANE_CELL = 2e-6
_S_NEAR_COLUMN = 4e-4


@dataclass(frozen=True)
class Cost:
    """An estimate, right to a factor of three or so: time [s] and memory [bytes]."""

    seconds: float
    bytes: float


def cost_of(scene: Scene) -> Cost:
    """What the whole plate of a scene would take."""
    plate, aperture = scene.plate, scene.aperture
    pixels = float(plate.pixels_x) * plate.pixels_y
    seconds, memory = 0.3 + pixels * _S_PIXEL, 2e8 + pixels * _BYTES_PIXEL
    if isinstance(aperture, Ruled):
        seconds += aperture.rulings * _S_RULING
        memory += aperture.rulings * _BYTES_RULING
        if not scene.bench.far_field:
            seconds += plate.pixels_x * _S_NEAR_COLUMN * min(aperture.rulings, 1000) ** 0.5
    if isinstance(aperture, Plane):
        seconds += pixels * _S_PLANE_CELL
        if isinstance(aperture, Dots | Mesh | Picture):
            seconds += 5.0
    return Cost(seconds, memory)


def require_affordable(scene: Scene) -> None:
    """Refuse a scene that would keep everybody waiting or take the machine's memory.

    Raises
    ------
    LimitError
        It does; nothing has been computed.
    """
    cost = cost_of(scene)
    if cost.seconds > MOST_SECONDS:
        raise LimitError(
            f"would take about {cost.seconds:.2g} s, and the limit of the live bench is "
            f"{MOST_SECONDS:g} s",
            key="plate", expected="fewer or larger pixels, or fewer rulings; or wavesim expose",
        )  # fmt: skip
    free = available_bytes()
    most = MOST_BYTES if free is None else min(MOST_BYTES, _SHARE * free)
    if cost.bytes > most:
        raise LimitError(
            f"would need about {cost.bytes / 1e9:.2g} GB of memory, and {most / 1e9:.2g} GB are "
            "allowed here",
            key="plate", expected="fewer or larger pixels, or fewer rulings; or wavesim expose",
        )  # fmt: skip
