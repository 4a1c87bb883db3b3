"""What an exposed plate holds, in words: how it was computed, exposed, and what it shows."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import ClassVar

import numpy as np

from wavesim.light.recorders import recorder_words
from wavesim.plate import Plate
from wavesim.results import Result, Sentence, plain
from wavesim.study.predict.shown_ghosts import ShownGhost, of_plate
from wavesim.study.predict.shown_ghosts import sentences as ghost_sentences
from wavesim.study.predict.unreached import unreached_warning
from wavesim.study.visibility import Visibility, visibility
from wavesim.text import counted, length, shutter, three_digits

_ELEMENTS = {"slits": "slit", "wires": "gap", "grating": "ruling"}


@dataclass(frozen=True, eq=False, repr=False)
class PlateSummary(Result):
    """An exposed plate, summed up.

    Attributes
    ----------
    plate : the plate
    """

    plate: Plate
    kind: ClassVar[str] = "exposure"

    @property
    def title(self) -> str:
        """Of the scene."""
        return self.plate.scene.title

    @cached_property
    def visibility(self) -> Visibility:
        """What this exposure shows and burns out."""
        return visibility(self.plate)

    @cached_property
    def ghosts(self) -> tuple[ShownGhost, ...] | None:
        """Ghosts of the lines on the plate; None without lines or periodic errors."""
        return of_plate(self.plate)

    @cached_property
    def warning(self) -> str | None:
        """Where no order reaches the plate."""
        return unreached_warning(self.plate.scene)

    def report(self) -> Iterator[Sentence]:
        """How it was computed and exposed; what shows; notes and cautions."""
        report = self.plate.report
        yield Sentence("computed", self._computed())
        yield Sentence("accuracy", self._accuracy())
        yield Sentence("exposure", self._exposure())
        yield Sentence("brightest", self._brightest())
        if sentence := self._recorded():
            yield Sentence("recorded", sentence)
        yield from self.visibility.report()
        if self.ghosts is not None:
            yield from (Sentence("ghosts", text) for text in ghost_sentences(self.ghosts))
        if self.warning is not None:
            yield Sentence("warning", self.warning)
        yield from (Sentence("note", text) for text in report.notes)
        yield from (Sentence("caution", text) for text in report.cautions)

    def record(self) -> dict[str, object]:
        """Plain values, SI (illuminance in lx)."""
        plate, report = self.plate, self.plate.report
        row, column = brightest(plate)
        return {
            "title": self.title,
            "elements": report.elements,
            "wavelengths": report.wavelengths,
            "smoothing": report.smoothing,
            "pixel_error": report.pixel_error,
            "bin_error": report.bin_error,
            "pixels_x": int(plate.x_m.size),
            "pixels_y": int(plate.y_m.size),
            "exposure_s": float(plate.exposure_s),
            "speed": plate.scene.exposure.speed,
            "recorded_by": recorder_words(plate.scene.exposure) or None,
            "white_exposure_lx_s": float(plate.white_exposure_lx_s),
            "brightest": {
                "x_m": float(plate.x_m[column]),
                "y_m": float(plate.y_m[row]),
                "illuminance_lx": float(plate.illuminance_lx[row, column]),
                "irradiance_W_m2": float(plate.irradiance[row, column]),
            },
            "power_W": plate.power_W,
            "stage_seconds": dict(report.seconds),
            "seeds": list(report.seeds),
            "ghosts": [plain(ghost) for ghost in self.ghosts or () if ghost.shown],
            "warnings": [] if self.warning is None else [self.warning],
            "notes": list(report.notes),
            "cautions": list(report.cautions),
        }

    def _computed(self) -> str:
        plate, report = self.plate, self.plate.report
        noun = _ELEMENTS.get(plate.scene.aperture.kind, "element")
        return (
            f"in {sum(report.seconds.values()):.2g} s: {counted(report.elements, noun)} at "
            f"{counted(report.wavelengths, 'wavelength')} on {plate.x_m.size:,} x "
            f"{plate.y_m.size:,} pixels of {length(plate.scene.plate.pixel_m)}"
        )

    def _accuracy(self) -> str:
        report = self.plate.report
        return (
            f"errors up to {report.pixel_error:.0e} of the brightest pixel at each wavelength and "
            f"{report.bin_error:.0e} over the spectrum; integrated over each pixel, with "
            f"{report.smoothing}"
        )

    def _exposure(self) -> str:
        exposure = self.plate.scene.exposure
        how = f"{shutter(self.plate.exposure_s)} at ISO {exposure.speed:g}"
        if exposure.time_s is not None:
            return f"{how}, as given in the scene"
        if exposure.over == 0:
            return f"{how}: the brightest pixel is at white"
        stops = f"{abs(exposure.over):g} stop{'' if abs(exposure.over) == 1 else 's'}"
        side = "above" if exposure.over > 0 else "below"
        return f"{how}: the brightest pixel is {stops} {side} white"

    def _brightest(self) -> str:
        plate = self.plate
        row, column = brightest(plate)
        exposure = float(plate.shown_xyz[row, column, 1])
        return (
            f"{three_digits(plate.illuminance_lx[row, column])} lx at x = "
            f"{length(float(plate.x_m[column]))}: {three_digits(exposure)} lx s; "
            f"white is {plate.white_exposure_lx_s:.3g} lx s"
        )

    def _recorded(self) -> str:
        recorder = recorder_words(self.plate.scene.exposure)
        return f"{recorder}; exposures in lx s are weighted by its curves" if recorder else ""


def brightest(plate: Plate) -> tuple[int, int]:
    """Row and column of the pixel of greatest illuminance."""
    row, column = np.unravel_index(np.argmax(plate.shown_xyz[..., 1]), plate.xyz.shape[:2])
    return int(row), int(column)
