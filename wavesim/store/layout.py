"""The plate file: what stands where, in which unit, along which axes.

    /                     default = "entry", wavesim_plate = 1 (the version of this layout)
    /entry                NXentry, default = "plate"; title
    /entry/plate          NXdata: irradiance (y, x), xyz (y, x, 3), picture (picture_y, x, 3);
                          recorded (y, x, 3) where the scene names an observer, sensor or film
    /entry/profile        NXdata: irradiance (x), spectral_irradiance (wavelength, x)
    /entry/scene          text (TOML as given), resolved (JSON, SI), folder (of relative tables)
    /entry/process        NXprocess: program, version, date, seeds, accuracy, wall times, report

A picture begins at its upper edge: picture_y is y from the highest down. Axes are in mm and nm
for viewers. x_m, y_m and wavelength_m beside them hold the same axes in metres, to the last bit:
a number in mm does not always divide back to the metres it came from.
Light is in float64, equal to the last bit to what was computed, or in float32 (`precision`), right
to 6e-8 and half the size. Rows that repeat are packed (byte shuffle, gzip 1) where that pays.
Every array and text that is read back lies in chunks with checksums (fletcher32), and the library
guards its own structures in the same way, so that a damaged file is refused and never misread.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

from wavesim.errors import one_of

if TYPE_CHECKING:
    from wavesim.plate import Plate

KINDS = {"double": "<f8", "single": "<f4"}
PRECISIONS = ("auto", *KINDS)
_SINGLE_FROM_BYTES = 64_000_000  # of light in float64: plates from here on are written in float32
_CHUNK_BYTES = 1 << 18
_CHUNK_COLUMNS = 32
_CHUNK_REST_BYTES = 64  # of a chunk: its checksum, and its entry in the library's index
_REST_BYTES = 60_000  # axes, texts and the library's own structures

VERSION = 1
VERSION_ATTRIBUTE = "wavesim_plate"

PLATE = "entry/plate"
PROFILE = "entry/profile"
SCENE_TEXT = "entry/scene/text"
SCENE_RESOLVED = "entry/scene/resolved"
SCENE_FOLDER = "entry/scene/folder"
REPORT = "entry/process/report/data"


@dataclass(frozen=True)
class Field:
    """One array of a Plate: its place in the file, its attribute, axes and unit."""

    path: str
    attribute: str
    axes: tuple[str, ...]
    unit: str
    meaning: str


AXES = (
    Field(f"{PLATE}/x_m", "x_m", ("x",), "m", "position across the slits"),
    Field(f"{PLATE}/y_m", "y_m", ("y",), "m", "position along the slits"),
    Field(f"{PROFILE}/wavelength_m", "profile_wavelength_m", ("wavelength",), "m", "in air"),
)
FIELDS = (
    Field(f"{PLATE}/irradiance", "irradiance", ("y", "x"), "W/m^2", "irradiance"),
    Field(f"{PLATE}/xyz", "xyz", ("y", "x", "tristimulus"), "lx s", "exposure as CIE 1931 XYZ"),
    Field(f"{PROFILE}/irradiance", "profile_irradiance", ("x",), "W/m^2", "at the middle"),
    Field(
        f"{PROFILE}/spectral_irradiance",
        "profile_spectrum",
        ("wavelength", "x"),
        "W/(m^2 nm)",
        "spectral irradiance at the middle",
    ),
)
RECORDED = Field(
    f"{PLATE}/recorded",
    "recorded",
    ("y", "x", "tristimulus"),
    "lx s",
    "exposure as the scene's observer, sensor or film counts it",
)


def fields_of(plate: Plate) -> tuple[Field, ...]:
    """The arrays of light that a plate holds."""
    return FIELDS if plate.recorded is None else (*FIELDS, RECORDED)


def is_single(plate: Plate, precision: str) -> bool:
    """Whether a plate is written in float32: as asked, or, for "auto", where it is large.

    Raises
    ------
    InputError
        A precision that is none.
    """
    one_of("precision", precision, PRECISIONS)
    if precision == "auto":
        return _light_bytes(plate) >= _SINGLE_FROM_BYTES
    return precision == "single"


def most_bytes(plate: Plate, precision: str) -> int:
    """Size of a plate's file if nothing in it can be packed [bytes]; its picture counted in."""
    item = 4 if is_single(plate, precision) else 8
    light = sum(
        _stored_bytes(getattr(plate, field.attribute).shape, item) for field in fields_of(plate)
    )
    axes = sum(_stored_bytes(getattr(plate, field.attribute).shape, 8) for field in AXES)
    picture = _stored_bytes((*plate.irradiance.shape, 3), 1)
    return light + 2 * axes + picture + _REST_BYTES


def chunks_of(shape: tuple[int, ...], item_bytes: int) -> tuple[int, ...]:
    """Tall and narrow: the rows of a plate differ little, so down a column compresses best."""
    if len(shape) == 1:
        return (_equal_parts(shape[0], _CHUNK_BYTES // item_bytes),)
    rows = _equal_parts(shape[0], _CHUNK_BYTES // (_CHUNK_COLUMNS * item_bytes))
    row_bytes = rows * item_bytes * math.prod(shape[2:])
    columns = _equal_parts(shape[1], max(_CHUNK_COLUMNS, _CHUNK_BYTES // row_bytes))
    return (rows, columns, *shape[2:])


def _equal_parts(size: int, longest: int) -> int:
    """Length of the parts of `size`, none over `longest`, that leave the last one fullest."""
    return -(-size // -(-size // longest))


def _stored_bytes(shape: tuple[int, ...], item_bytes: int) -> int:
    """What an array takes unpacked: whole chunks, each with its checksum and its place."""
    chunks = chunks_of(shape, item_bytes)
    count = math.prod(-(-size // part) for size, part in zip(shape, chunks, strict=True))
    return count * (math.prod(chunks) * item_bytes + _CHUNK_REST_BYTES)


def _light_bytes(plate: Plate) -> int:
    return sum(int(getattr(plate, field.attribute).nbytes) for field in fields_of(plate))
