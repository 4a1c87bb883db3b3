"""Which way up a picture file is to be looked at, as its EXIF data say."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt

ORIENTATION = 0x0112
_EXIF = 0x8769
_TURNS = {  # of the stored array: (transposed, rows reversed, columns reversed)
    2: (False, False, True), 3: (False, True, True), 4: (False, True, False),
    5: (True, False, False), 6: (True, False, True), 7: (True, True, True), 8: (True, True, False),
}  # fmt: skip


def exif_tags(path: Path) -> dict[int, Any]:
    """Tags by number; none where they cannot be read."""
    from PIL import Image

    from wavesim.raster import READABLE

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        try:
            with Image.open(path, formats=READABLE) as image:
                found = image.getexif()
                return {**dict(found), **dict(found.get_ifd(_EXIF))}
        except Exception:  # decoders raise what they come upon; the picture itself was read
            return {}


def upright(raw: npt.NDArray[Any], orientation: object) -> npt.NDArray[Any]:
    """The array as the picture is to be looked at, by its EXIF orientation (1 to 8)."""
    transposed, up, left = _TURNS.get(orientation, (False, False, False))  # type: ignore[call-overload]
    found = raw.swapaxes(0, 1) if transposed else raw
    found = found[::-1] if up else found
    return np.ascontiguousarray(found[:, ::-1] if left else found)
