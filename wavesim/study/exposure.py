"""Exposure as a photographer reckons it: brackets in stops, film speeds, and L S / f^2.

frames = bracket(plate, stops=(-2, 0, 2))
print("\\n".join(frames[0].words))
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from wavesim import aperture, light
from wavesim.colorimetry.tone import speed_iso6, speed_iso2240, speed_iso5800, speed_iso12232
from wavesim.errors import LimitError, one_of, positive, within
from wavesim.light.photometry import luminous
from wavesim.plate import Plate
from wavesim.scene import Ruled, Scene
from wavesim.study.visibility import Criterion, Visibility, visibility
from wavesim.study.visibility.result import brief

Standard = Literal["ISO 12232", "ISO 6", "ISO 5800", "ISO 2240"]

# exposure H [lx s] that each standard names at speed 1, and what it means
STANDARDS: dict[Standard, tuple[float, str]] = {
    "ISO 12232": (speed_iso12232(1.0), "a sensor saturates"),
    "ISO 6": (speed_iso6(1.0), "a black-and-white negative is 0.10 denser than its fog"),
    "ISO 5800": (speed_iso5800(1.0, 1.0), "a colour negative is 0.15 denser than its fog"),
    "ISO 2240": (speed_iso2240(1.0), "a reversal film is exposed right"),
}
BRACKET_STOPS = (-2.0, -1.0, 0.0, 1.0, 2.0)


@dataclass(frozen=True)
class BracketFrame:
    """One frame of a bracket.

    Attributes
    ----------
    stops : from the plate's own time
    time_s : its time
    visibility : what it shows and burns out
    """

    stops: float
    time_s: float
    visibility: Visibility

    @property
    def brief(self) -> str:
        """What it shows, in one line."""
        return brief(self.visibility)


def bracket(
    plate: Plate,
    stops: Sequence[float] = BRACKET_STOPS,
    *,
    speed: float | None = None,
    criterion: Criterion = "picture",
) -> tuple[BracketFrame, ...]:
    """The plate's exposure and others `stops` away from it: time 2^stops, and what each shows.

    Raises
    ------
    InputError
        A stop that is not finite, a speed that is not positive.
    """
    frames = []
    for stop in stops:
        time = plate.exposure_s * 2.0 ** within("stops", stop, -60.0, 60.0)
        shown = visibility(plate, time_s=time, speed=speed, criterion=criterion)
        frames.append(BracketFrame(stop, time, shown))
    return tuple(frames)


def exposure_needed_lx_s(standard: Standard, speed: float) -> float:
    """Exposure H [lx s] at which film or sensor of a speed does what its standard says.

    H = 78 / S (ISO 12232, saturation), 0.8 / S (ISO 6), sqrt(2) / S (ISO 5800), 10 / S (ISO 2240).

    Raises
    ------
    InputError
        An unknown standard or a speed that is not positive.
    """
    one_of("standard", standard, STANDARDS, "standard")
    return STANDARDS[standard][0] / positive("speed", speed)


def time_needed_s(
    plate: Plate, standard: Standard = "ISO 12232", *, speed: float | None = None
) -> float:
    """Time [s] that gives the plate's brightest pixel the exposure a standard names.

    Raises
    ------
    InputError
        As `exposure_needed_lx_s`.
    LimitError
        No visible light reaches the plate.
    """
    chosen = plate.scene.exposure.speed if speed is None else speed
    needed = exposure_needed_lx_s(standard, chosen)
    brightest_lx = float(plate.xyz[..., 1].max()) / plate.exposure_s
    if not brightest_lx > 0:
        raise LimitError("no visible light reaches the plate, so no time exposes it")
    return needed / brightest_lx


def bright_image_lx(scene: Scene) -> float:
    """L S / f^2 [lx]: illuminance if lens errors and diffraction did not widen the slit's image.

    L is the source's luminance, S the open area of the aperture, f the camera's focal length.
    Diffraction makes the central fringe fainter: a slit whose image is narrower than the fringe
    fills it only to about image / fringe. For N equal slits of width w, far narrower than
    lambda f / (N d) in its image s = slit x camera / collimator, the axis gets

        E = L S / f^2  x  N w s / (lambda f).

    Raises
    ------
    LimitError
        No source slit, no radiance, or an aperture that is not one of rulings.
    """
    if scene.source.slit is None or not isinstance(scene.aperture, Ruled):
        raise LimitError(
            "has no extended image to estimate L S / f^2 for",
            key="source.slit",
            expected="a source slit and an aperture of slits, wires or grooves",
        )
    spectrum = light.of_scene(scene)
    if spectrum.kind_of_level != "radiance":
        raise LimitError(
            "has no luminance", key="source", value=scene.source.kind, expected="a radiance"
        )
    built = aperture.build(scene)
    area = built.open_area_m2 * math.cos(scene.bench.alpha_rad)
    return luminous(spectrum) * area / scene.bench.camera_focal_m**2
