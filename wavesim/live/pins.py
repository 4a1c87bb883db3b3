"""Plates kept for comparison: up to six, one above the other, on one scale and one exposure."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from wavesim.colorimetry.rendering import Rendering
from wavesim.errors import InputError
from wavesim.live.differences import differences
from wavesim.live.views import WHOLE, View, view_of
from wavesim.plate import Plate
from wavesim.text import shutter

MOST_PINS = 6
MOST_BYTES = 6e8  # of the plates that one bench keeps


def _bytes(plate: Plate) -> int:
    return plate.irradiance.nbytes + 2 * plate.xyz.nbytes + plate.profile_spectrum.nbytes


@dataclass(frozen=True, eq=False)
class Pin:
    """A plate that is kept, and the scene file it came from."""

    plate: Plate
    text: str
    title: str
    view: View


class Pins:
    """Pins from the top down; the first is what the others are compared with.

    Attributes
    ----------
    shared_exposure : whether all are shown as long exposed as the first
    most_bytes : that the plates may take together
    """

    def __init__(self, most_bytes: float = MOST_BYTES) -> None:
        self.shared_exposure = True
        self._most_bytes = most_bytes
        self._pins: list[Pin] = []

    def __len__(self) -> int:
        return len(self._pins)

    @property
    def plates(self) -> list[Plate]:
        """From the top down."""
        return [pin.plate for pin in self._pins]

    @property
    def titles(self) -> list[str]:
        """From the top down."""
        return [pin.title for pin in self._pins]

    def add(self, plate: Plate, text: str, title: str) -> None:
        """Keep a plate below the others.

        Raises
        ------
        InputError
            Six are kept already, or those that are kept are too large for one more.
        """
        if len(self._pins) >= MOST_PINS:
            raise InputError(f"{MOST_PINS} plates are already kept", expected="remove one first")
        if sum(map(_bytes, (*self.plates, plate))) > self._most_bytes:
            raise InputError("the kept plates fill the memory for them", expected="smaller plates")
        self._pins.append(Pin(plate, text, title, view_of(plate, WHOLE)))

    def remove(self, number: int) -> None:
        """Give up the pin of that number, from 0."""
        self._pin(number)
        del self._pins[number]

    def text(self, number: int) -> str:
        """The scene file of a pin."""
        return self._pin(number).text

    def _pin(self, number: int) -> Pin:
        if not 0 <= number < len(self._pins):
            raise InputError("is not the number of a kept plate", key="number", value=number)
        return self._pins[number]

    def stops_of(self, number: int) -> float:
        """How many stops longer the pin of that number is shown exposed than it was."""
        return self.stops(self._pin(number))

    def stops(self, pin: Pin) -> float:
        """How many stops longer a pin is shown exposed than it was."""
        first = self._pins[0].plate
        if not self.shared_exposure or pin.plate is first:
            return 0.0
        time = math.log2(first.exposure_s / pin.plate.exposure_s)
        return time + math.log2(pin.plate.white_exposure_lx_s / first.white_exposure_lx_s)

    def record(self, rendering: Rendering) -> tuple[dict[str, Any], tuple[bytes, ...]]:
        """What a page shows of them, and their rows."""
        rows, buffers = [], []
        for pin in self._pins:
            view, stops = pin.view, self.stops(pin)
            top, bottom = view.y_range_m[1], view.y_range_m[0]
            rows.append(
                {
                    "title": pin.title,
                    "text": pin.text,
                    "columns": int(view.profile.size),
                    "rows": [round((top - float(y)) / (top - bottom), 6) for y in view.row_m],
                    "x_m": view.x_range_m,
                    "y_m": view.y_range_m,
                    "exposure": shutter(pin.plate.exposure_s * 2.0**stops),
                    "sentences": [] if pin is self._pins[0] else self._compared(pin),
                }
            )
            buffers.append(view.painted(rendering, stops=stops)[0].tobytes())
        return {"pins": rows, "shared": self.shared_exposure}, tuple(buffers)

    def _compared(self, pin: Pin) -> list[str]:
        return list(differences(self._pins[0].plate, pin.plate))
