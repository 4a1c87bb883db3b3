"""Writing pictures: PNG and TIFF that say which colours their numbers mean."""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np

from wavesim.arrays import Samples
from wavesim.colorimetry.icc import profile
from wavesim.colorimetry.spaces import RgbSpace, rgb_space
from wavesim.errors import OutputError
from wavesim.files import replacing

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_AFTER_HEADER = 8 + 25  # signature and IHDR chunk
_LEVEL = 6  # zlib's own default: a third smaller than level 1, at twice its time


def save_png(
    path: str | Path, rgb: Samples, *, space: str = "srgb", title: str | None = None
) -> None:
    """Write an encoded picture (ny, nx, 3), uint8 or uint16, as PNG, atomically.

    Colour chunks (PNG third edition, W3C 2025): sRGB with gAMA and cHRM for readers that know
    no better; for Display P3 cICP 12/13/0/1 and an ICC profile; for Rec. 2020 the profile
    alone, because readers disagree on the curve that cICP 14 asks for. `title` becomes a
    text chunk. Pillow packs 8 bits; it cannot write 16-bit colour, so that is packed here.

    Raises
    ------
    OutputError
        The file cannot be written, or the array is not a picture.
    """
    data = _png(_picture(rgb, path), space, title)
    with replacing(path) as temporary:
        temporary.write_bytes(data)


def png_bytes(rgb: Samples, *, space: str = "srgb", title: str | None = None) -> bytes:
    """The bytes of the file that `save_png` writes.

    Raises
    ------
    OutputError
        The array is not a picture.
    """
    return _png(_picture(rgb, "picture.png"), space, title)


def _png(image: Samples, space: str, title: str | None) -> bytes:
    data = _packed_8(image) if image.dtype == np.uint8 else _packed_16(image)
    return data[:_AFTER_HEADER] + _colour_chunks(rgb_space(space), title) + data[_AFTER_HEADER:]


def save_tiff(path: str | Path, rgb: Samples, *, space: str | None = "srgb") -> None:
    """Write (ny, nx, 3) as TIFF, atomically: uint8, uint16, or float32 as it is.

    The ICC profile of `space` is embedded for integer pictures. Float pictures hold linear
    light (`linear_rgb`, or XYZ with space = None) and carry none.
    """
    import tifffile

    image = _picture(rgb, path, float_too=True)
    tags = []
    if space is not None and image.dtype != np.float32:
        data = profile(space)
        tags.append((34675, "B", len(data), data, True))  # InterColorProfile
    with replacing(path) as temporary:
        tifffile.imwrite(
            temporary, image, photometric="rgb", compression=None, extratags=tags, metadata=None
        )


def _picture(rgb: Samples, path: str | Path, *, float_too: bool = False) -> Samples:
    image = np.ascontiguousarray(rgb)
    kinds = (np.uint8, np.uint16, np.float32) if float_too else (np.uint8, np.uint16)
    if image.ndim != 3 or image.shape[2] != 3 or 0 in image.shape or image.dtype not in kinds:
        raise OutputError(
            f"this is not a picture: shape {image.shape}, {image.dtype}",
            file=path,
            expected="shape (rows, columns, 3) of " + " or ".join(kind.__name__ for kind in kinds),
        )
    return image


def _packed_8(image: Samples) -> bytes:
    from PIL import Image

    stream = io.BytesIO()
    # run-length matching: as small as level 6 on dithered plates, four times sooner
    Image.fromarray(image).save(
        stream, format="PNG", compress_level=_LEVEL, compress_type=zlib.Z_RLE
    )
    return stream.getvalue()


def _packed_16(image: Samples) -> bytes:
    rows, columns, _ = image.shape
    raw = image.astype(">u2").view(np.uint8).reshape(rows, columns * 6)
    lines = np.zeros((rows, columns * 6 + 1), dtype=np.uint8)
    lines[:, 0] = 1  # filter "Sub": each byte minus the one a pixel to the left
    lines[:, 1:7] = raw[:, :6]
    np.subtract(raw[:, 6:], raw[:, :-6], out=lines[:, 7:])
    header = struct.pack(">IIBBBBB", columns, rows, 16, 2, 0, 0, 0)
    pixels = zlib.compress(lines.tobytes(), _LEVEL)
    return _SIGNATURE + _chunk(b"IHDR", header) + _chunk(b"IDAT", pixels) + _chunk(b"IEND", b"")


def _colour_chunks(space: RgbSpace, title: str | None) -> bytes:
    if space.name == "srgb":
        chunks = _chunk(b"sRGB", b"\0") + _chunk(b"gAMA", struct.pack(">I", 45455))
        chunks += _chunk(b"cHRM", _chromaticities(space))
    else:
        cicp = _chunk(b"cICP", bytes((12, 13, 0, 1))) if space.name == "display-p3" else b""
        packed = space.name.encode() + b"\0\0" + zlib.compress(profile(space.name), 9)
        chunks = cicp + _chunk(b"iCCP", packed)
    if title:
        chunks += _chunk(b"iTXt", b"Title\0\0\0\0\0" + title.encode())
    return chunks


def _chromaticities(space: RgbSpace) -> bytes:
    points = (space.white_xy, space.red_xy, space.green_xy, space.blue_xy)
    return np.round(np.array(points) * 100_000).astype(">u4").tobytes()


def _chunk(name: bytes, data: bytes) -> bytes:
    check = zlib.crc32(name + data)
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", check)
