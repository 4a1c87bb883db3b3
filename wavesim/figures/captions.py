"""Words for captions: apertures, exposures, and what the marks are."""

from __future__ import annotations

from collections.abc import Sequence

from wavesim.figures.marks import guide_wavelength
from wavesim.figures.style import in_words
from wavesim.plate import Plate
from wavesim.scene import (
    Annulus,
    Aperture,
    Disc,
    Dots,
    Ellipse,
    Grating,
    Mesh,
    Rectangle,
    Slits,
    Wires,
)
from wavesim.text import shutter


def marks_note(plates: Sequence[Plate]) -> str:
    guides = dict.fromkeys(f"{guide_wavelength(plate) * 1e9:.0f}\u2009nm" for plate in plates)
    return f"orders at {', '.join(guides)}"


def aperture_words(plate: Plate) -> str:
    """The aperture in a few words: "6 slits of 40 µm every 90 µm"."""
    aperture = plate.scene.aperture
    match aperture:
        case Slits(slits=None, width_m=float(width)):
            text = f"of {in_words(width, 'm')}"
            if (pitch := aperture.mean_pitch_m) is None:
                return f"1 slit {text}"
            return f"{_grouped(aperture.rulings)} slits {text} every {in_words(pitch, 'm')}"
        case Slits():
            return f"{_grouped(aperture.rulings)} slits"
        case Wires():
            thick, apart = in_words(aperture.width_m, "m"), in_words(aperture.pitch_m, "m")
            return f"{_grouped(aperture.count)} wires of {thick} every {apart}"
        case Grating():
            per_mm, count = 1e-3 / aperture.mean_pitch_m, _grouped(plate.report.elements)
            return f"grating, {per_mm:.5g} rulings/mm, {count} illuminated"
    return _opening_words(aperture)


def _grouped(count: int) -> str:
    """A number with its thousands separated."""
    return f"{count:,}"


def _opening_words(aperture: Aperture) -> str:
    """An aperture in two dimensions: "disc of 0.5 mm"."""
    match aperture:
        case Disc():
            text = f"disc of {in_words(aperture.diameter_m, 'm')}"
        case Annulus():
            inner, outer = in_words(aperture.inner_m, "m"), in_words(aperture.outer_m, "m")
            text = f"ring from {inner} to {outer}"
        case Rectangle() | Ellipse():
            width, height = in_words(aperture.width_m, "m"), in_words(aperture.height_m, "m")
            text = f"{aperture.kind} of {width} by {height}"
        case Mesh():
            text = f"mesh of {aperture.count_x} by {aperture.count_y} holes"
        case Dots():
            text = f"{_grouped(aperture.count)} dots of {in_words(aperture.diameter_m, 'm')}"
        case _:
            text = str(aperture.kind)
    return f"obstacle: {text}" if getattr(aperture, "obstacle", False) else text


def exposure_words(plate: Plate) -> str:
    """Time and speed as a photographer writes them: "1/30 s at ISO 100"."""
    time = shutter(plate.exposure_s).replace(" us", " µs").replace(" ", "\u2009")
    return f"{time} at ISO {plate.scene.exposure.speed:g}"
