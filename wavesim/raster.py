"""Pictures that somebody else made, read without trusting what they claim.

The kind is read from the content, never the name, and only the kinds named here are tried: others
have decoders that start programs or unpack without a bound. Sizes are judged before decoding.
"""

from __future__ import annotations

import math
import warnings
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from wavesim.errors import InputError
from wavesim.inputs import open_regular
from wavesim.memory import require_memory

if TYPE_CHECKING:
    import tifffile
    from PIL import Image

READABLE = ("PNG", "JPEG", "TIFF", "BMP", "GIF", "PPM")
_EXPECTED = "a picture: PNG, JPEG, TIFF, BMP, GIF or PPM"
_DEFLATE = (8, 32946)  # TIFF's numbers for it
_SPARE_BYTES = 64_000_000  # that a segment may unpack to beyond its nominal size
_MOST_PACKED = 1032  # deflate cannot shrink more (RFC 1951)
_SAMPLE_BYTES = 24  # of one level while it is turned into light


@contextmanager
def picture(path: Path, most_pixels: int, refusal: type[InputError]) -> Iterator[Image.Image]:
    """An open picture of at most so many pixels, not yet decoded.

    Raises
    ------
    InputError
        Of the kind `refusal`, also over what fails inside the block: the file is missing, no
        ordinary file, no picture of a kind that is read, damaged or too large.
    """
    from PIL import Image, UnidentifiedImageError

    _silence("PIL")
    with open_regular(path, refusal, _EXPECTED) as stream, warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(stream, formats=READABLE) as image:
                bands = len(image.getbands())
                _judge(math.prod(image.size), _tile(image), bands, path, most_pixels, refusal)
                yield image
        except InputError:
            raise
        except UnidentifiedImageError:
            raise refusal("cannot be read as a picture", file=path, expected=_EXPECTED) from None
        except Image.DecompressionBombError:  # Pillow's own guard
            problem, expected = "holds far more pixels than can be read", f"at most {most_pixels:,}"
            raise refusal(problem, file=path, expected=expected) from None
        except Exception as error:  # over damaged files the decoders raise what they come upon
            raise _unreadable(error, path, refusal) from error


def _tile(image: Any) -> int:
    """Pixels of a tile, where a TIFF file says that it has some."""
    if image.format != "TIFF":
        return 0
    return math.prod(int(image.tag_v2.get(tag, 0)) for tag in (322, 323))  # width, length


def tiff(path: Path, most_pixels: int, refusal: type[InputError]) -> Any:
    """The first page of a TIFF file as an array, levels as they stand there.

    Raises
    ------
    InputError
        As `picture`.
    """
    import tifffile

    _silence("tifffile")
    with open_regular(path, refusal, _EXPECTED) as stream:
        try:
            with tifffile.TiffFile(stream) as file:
                page = file.pages.first
                inner = math.prod(page.chunks) if page.chunks else 0
                _judge(int(page.size), inner, 1, path, most_pixels, refusal)
                _check_packing(page, stream, path, refusal)
                return page.asarray(maxworkers=1)
        except InputError:
            raise
        except Exception as error:
            raise _unreadable(error, path, refusal) from error


def _silence(library: str) -> None:
    """What is wrong is said once, by us."""
    import logging

    logging.getLogger(library).setLevel(logging.CRITICAL)


def _judge(
    pixels: int, tile: int, bands: int, path: Path, most: int, refusal: type[InputError]
) -> None:
    """Refuse pictures, or tiles within them, of more pixels or bytes than can be handled."""
    for count, what in ((pixels, "pixels"), (tile, "pixels in one tile")):
        if count > most:
            problem, expected = f"holds {count:,} {what}", f"at most {most:,}"
            raise refusal(problem, file=path, expected=expected)
    need = _SAMPLE_BYTES * bands * max(pixels, tile)
    require_memory(need, what=" for a picture", key=None, file=path, expected="a smaller picture")


def _check_packing(
    page: tifffile.TiffPage | tifffile.TiffFrame,
    stream: BinaryIO,
    path: Path,
    refusal: type[InputError],
) -> None:
    """Refuse packed segments that would unpack to far more than the picture holds of them."""
    if int(page.compression) not in _DEFLATE:
        return
    nominal = math.prod(page.chunks) * page.dtype.itemsize + _SPARE_BYTES if page.dtype else 0
    for start, count in zip(page.dataoffsets, page.databytecounts, strict=True):
        if count * _MOST_PACKED > nominal:
            stream.seek(start)
            unpacking = zlib.decompressobj()
            unpacking.decompress(stream.read(count), nominal)
            if unpacking.unconsumed_tail:
                raise refusal(
                    "holds more compressed data than its size allows", file=path, expected=_EXPECTED
                )


def _unreadable(error: Exception, path: Path, refusal: type[InputError]) -> InputError:
    first = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
    return refusal(f"cannot be read as a picture: {first}", file=path, expected=_EXPECTED)
