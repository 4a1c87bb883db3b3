"""A small ICC profile for a display space: matrix, white, curve (ICC.1:2022, version 4)."""

from __future__ import annotations

import struct

import numpy as np
from numpy.typing import NDArray

from wavesim.colorimetry.spaces import RgbSpace, adaptation, d65_xyz, rgb_space

_D50 = (0.9642, 1.0, 0.8249)  # the connection space's white, ICC.1:2022 section 7.2.16
_NAMES = {"srgb": "sRGB", "display-p3": "Display P3", "rec2020": "Rec. 2020, gamma 2.4"}
_HEAD = 128


def profile(space: str) -> bytes:
    """The profile of "srgb", "display-p3" or "rec2020", as PNG and TIFF embed it.

    Colorants are adapted to D50 with the Bradford transform, recorded in the chad tag, as
    ICC.1 asks. Deterministic: the creation date is fixed.
    """
    chosen = rgb_space(space)
    tags = _tags(chosen)
    table = struct.pack(">I", len(tags))
    body, start = b"", _HEAD + 4 + 12 * len(tags)
    for name, data in tags:
        table += struct.pack(">4sII", name, start + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    return _header(start + len(body)) + table + body


def _tags(space: RgbSpace) -> list[tuple[bytes, bytes]]:
    to_d50 = adaptation(d65_xyz(), _D50, transform="bradford")
    red, green, blue = (to_d50 @ space.to_xyz()).T
    curve = _curve(space.curve)
    return [
        (b"desc", _text(_NAMES[space.name])),
        (b"cprt", _text("No copyright, use freely")),
        (b"wtpt", _xyz(np.array(_D50))),
        (b"chad", b"sf32\0\0\0\0" + _fixed(to_d50.ravel())),
        (b"rXYZ", _xyz(red)),
        (b"gXYZ", _xyz(green)),
        (b"bXYZ", _xyz(blue)),
        (b"rTRC", curve),
        (b"gTRC", curve),
        (b"bTRC", curve),
    ]


def _curve(name: str) -> bytes:
    if name == "srgb":  # function type 3: (a x + b)^g from d up, c x below
        values = [2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045]
        return b"para\0\0\0\0\0\x03\0\0" + _fixed(np.array(values))
    return b"para\0\0\0\0\0\0\0\0" + _fixed(np.array([2.4]))


def _text(text: str) -> bytes:
    coded = text.encode("utf-16-be")
    return b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(coded), 28) + coded


def _xyz(values: NDArray[np.float64]) -> bytes:
    return b"XYZ \0\0\0\0" + _fixed(values)


def _fixed(values: NDArray[np.float64]) -> bytes:
    return np.round(values * 65536).astype(">i4").tobytes()


def _header(size: int) -> bytes:
    date = struct.pack(">6H", 2024, 1, 1, 0, 0, 0)
    head = struct.pack(">I4sI4s4s4s", size, b"\0" * 4, 0x04400000, b"mntr", b"RGB ", b"XYZ ")
    head += date + b"acsp" + b"\0" * 28
    return (head + _fixed(np.array(_D50))).ljust(_HEAD, b"\0")
