"""A grey picture as aperture: each pixel a clear square of that transmittance."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import numpy.typing as npt

from wavesim import raster
from wavesim.aperture.plane.elements import RectangleElement
from wavesim.aperture.plane.groups import Lattice
from wavesim.errors import TableError
from wavesim.scene.planar import Picture

MOST_SIDE = 8192


def lattice_of(picture: Picture, folder: Path) -> Lattice:
    """Grey levels as intensity transmittance, so that the amplitude is their square root.

    Grey levels are taken as they stand in the file (level / highest level, no display curve).
    A phase picture's levels, from 0 to white, stand for optical paths from 0 to its depth.

    Raises
    ------
    TableError
        A file is missing, not a picture, larger than 8,192 on a side, of two different sizes,
        or lets no light through.
    """
    grey = read_grey(folder / picture.file)
    clear = 1.0 - grey if picture.invert else grey
    if not clear.any():
        raise TableError(
            "lets no light through", file=folder / picture.file, expected="some clear pixels"
        )
    path = None
    if picture.phase_file is not None:
        phase = read_grey(folder / picture.phase_file)
        if phase.shape != grey.shape:
            raise TableError(
                f"is {phase.shape[1]} x {phase.shape[0]} pixels",
                file=folder / picture.phase_file,
                expected=f"{grey.shape[1]} x {grey.shape[0]}, as {picture.file}",
            )
        path = (phase * (picture.phase_depth_m or 0.0)).astype(np.float32)
    cell = RectangleElement(picture.cell_m, picture.cell_m)
    return Lattice(cell, picture.cell_m, np.sqrt(clear, out=clear), path)


def read_grey(path: Path) -> npt.NDArray[np.float32]:
    """(ny, nx) grey from 0 to 1, its lowest row first (y rising)."""
    with raster.picture(path, MOST_SIDE**2, TableError) as image:
        if max(image.size) > MOST_SIDE:
            raise TableError(
                f"is {image.size[0]} x {image.size[1]} pixels",
                file=path,
                expected=f"at most {MOST_SIDE} on a side",
            )
        plain = image.mode in ("1", "L", "I;16", "I")
        raw = np.asarray(image if plain else image.convert("L"))
    if raw.ndim != 2 or not np.isfinite(raw).all():
        raise TableError("holds values that are not numbers", file=path, expected="a grey picture")
    return np.ascontiguousarray(_levels(raw)[::-1])


def _levels(raw: npt.NDArray[np.generic]) -> npt.NDArray[np.float32]:
    if raw.dtype == np.bool_:
        return raw.astype(np.float32)
    top = 255.0 if raw.dtype == np.uint8 else 65535.0
    return np.asarray(np.clip(raw.astype(np.float32) / np.float32(top), 0, 1), dtype=np.float32)
