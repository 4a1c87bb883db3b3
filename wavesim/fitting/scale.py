"""The scale of a photograph, from two marks in it: a known distance, or lines of known wavelength.

    "212..1180 = 50 mm"                       columns of two marks, and how far apart they are
    "212 = 435.83 nm, 1180 = 546.07 nm"       columns of two lines of one order of a grating

Columns count from the picture's left edge, which is 0; the middle of its first pixel is 0.5.
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence

from wavesim.errors import InputError
from wavesim.geometry import grating_geometry
from wavesim.scene import Scene
from wavesim.scene.units import UnitError, measure

_EXPECTED = '"212..1180 = 50 mm", or two lines "212 = 435.83 nm, 1180 = 546.07 nm"'
_NUMBER = r"\s*([0-9]+(?:\.[0-9]*)?)\s*"
_MARKS = re.compile(rf"{_NUMBER}\.\.{_NUMBER}=(.+)")
_LINES = re.compile(rf"{_NUMBER}=([^,=]+),{_NUMBER}=([^,=]+)")
_MOVING = ("aperture.pitch", "aperture.density", "bench.")  # keys that move lines on the plate
_ORDERS = (1, -1, 2, -2, 3, -3)


def scale_of(text: str, scene: Scene, free: Sequence[str]) -> tuple[float, float | None]:
    """Width of a pixel [m], and x of the left edge [m] where the marks tell it.

    Raises
    ------
    InputError
        A text that says neither; lines on a bench that has no grating, that run the other way, or
        that a free key moves.
    """
    marks, lines = _MARKS.fullmatch(text), _LINES.fullmatch(text)
    if marks:
        a, b = float(marks[1]), float(marks[2])
        if a == b:
            raise _refused(text, "names one column twice")
        return _length(marks[3], text) / abs(b - a), None
    if lines is None:
        raise _refused(text, "is not a scale")
    _check_still(text, free)
    a, b = float(lines[1]), float(lines[3])
    if a == b:
        raise _refused(text, "names one column twice")
    at_a, at_b = _places_m(scene, _length(lines[2], text), _length(lines[4], text), text)
    pixel = (at_b - at_a) / (b - a)
    if not pixel > 0:
        raise InputError(
            "runs opposite to the lines on the scene's plate", key="--scale", value=text,
            expected="a picture that is not mirrored, its columns counted from the left",
        )  # fmt: skip
    return pixel, at_a - a * pixel


def _check_still(text: str, free: Sequence[str]) -> None:
    for key in (entry.partition("=")[0].strip() for entry in free):
        if key.startswith(_MOVING):
            raise InputError(
                f"places lines by the scene's {key}, which is free", key="--scale",
                value=text, expected="a distance between two marks, or another free key",
            )  # fmt: skip


def _places_m(scene: Scene, first_m: float, second_m: float, text: str) -> tuple[float, float]:
    """x [m] of two wavelengths in the order that comes nearest to the camera's axis."""
    geometry = grating_geometry(scene)
    if not math.isfinite(geometry.pitch_m):
        raise _refused(text, "names wavelengths, but the scene's aperture has no pitch")
    positions = [
        (float(geometry.x_m(m, first_m)), float(geometry.x_m(m, second_m))) for m in _ORDERS
    ]
    reached = [p for p in positions if all(map(math.isfinite, p))]
    if not reached:
        raise _refused(text, "names wavelengths that do not reach the plate")
    return min(reached, key=lambda p: abs(p[0] + p[1]))


def _length(text: str, whole: str) -> float:
    try:
        found = measure(text.strip())
    except UnitError:
        raise _refused(whole, "holds no length with its unit") from None
    if found.dimension != "length" or not found.value > 0:
        raise _refused(whole, "holds no length above zero")
    return found.value


def _refused(text: str, problem: str) -> InputError:
    return InputError(problem, key="--scale", value=text, expected=_EXPECTED)
