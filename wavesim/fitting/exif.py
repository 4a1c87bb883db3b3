"""What a picture file says of itself (EXIF): read where it helps, never trusted alone.

Orientation is applied: it says how the numbers are stored, not what was photographed. Exposure,
sensitivity and camera tell which photographs may share a tone curve, and about how much longer one
was exposed. The pitch of the sensor's pixels is only ever proposed: a picture that was cropped is
still right, one that was scaled or taken through another lens is not.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy.typing as npt

from wavesim.measuring.orientation import ORIENTATION, exif_tags, upright
from wavesim.measuring.scans import pixels

_MAKE, _MODEL, _TIME, _F, _SPEED = 0x010F, 0x0110, 0x829A, 0x829D, 0x8827
_PITCH_X, _PITCH_UNIT, _COLUMNS = 0xA20E, 0xA210, 0xA002
_UNIT_M = {2: 0.0254, 3: 0.01, 4: 1e-3, 5: 1e-6}
_SENSOR_M = (0.5e-6, 50e-6)  # pitches that sensors may have


@dataclass(frozen=True)
class FileNotes:
    """What a picture file says of itself; empty where it says nothing.

    Attributes
    ----------
    camera : make and model
    exposure : time x speed / (f-number)^2, up to a constant; nan where unknown
    sensor_pixel_m : [m] pitch of the sensor's pixels, for pictures as wide as the sensor's own
    """

    camera: str = ""
    exposure: float = math.nan
    sensor_pixel_m: float = math.nan


def upright_pixels(path: Path) -> tuple[npt.NDArray[Any], FileNotes]:
    """A picture as it is to be looked at, and what its file says of itself.

    Raises
    ------
    PlateFileError
        Missing, damaged, or not a picture.
    """
    raw = pixels(path)
    tags = exif_tags(path)
    return upright(raw, tags.get(ORIENTATION)), _notes(tags, raw.shape[1])


def _notes(tags: dict[int, Any], columns: int) -> FileNotes:
    camera = " ".join(str(tags[t]).strip("\x00 ") for t in (_MAKE, _MODEL) if t in tags)
    time, f_number, speed = (_positive(tags.get(tag)) for tag in (_TIME, _F, _SPEED))
    exposure = time * (1.0 if math.isnan(speed) else speed)
    exposure /= 1.0 if math.isnan(f_number) else f_number**2
    return FileNotes(camera[:80], exposure, _sensor_pixel(tags, columns))


def _sensor_pixel(tags: dict[int, Any], columns: int) -> float:
    """Pitch [m] where the picture has the columns that its file counts."""
    unit = _UNIT_M.get(tags.get(_PITCH_UNIT, 2))
    per_unit = _positive(tags.get(_PITCH_X))
    if unit is None or math.isnan(per_unit) or tags.get(_COLUMNS, columns) != columns:
        return math.nan
    pitch = unit / per_unit
    return pitch if _SENSOR_M[0] < pitch < _SENSOR_M[1] else math.nan


def _positive(value: object) -> float:
    """A number above zero, or nan: files hold what they hold."""
    if isinstance(value, tuple):
        value = value[0] if value else None
    try:
        number = float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, ZeroDivisionError):
        return math.nan
    return number if number > 0 and math.isfinite(number) else math.nan
