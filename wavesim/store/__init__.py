"""The plate file: HDF5 in NeXus conventions, so that general viewers plot it.

`layout` says what stands where. h5py is imported only when a file is written or read.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wavesim.plate import Plate
    from wavesim.scene import Scene

__all__ = ["load", "load_scene", "most_bytes", "save"]


def save(plate: Plate, path: str | Path, *, precision: str = "auto") -> None:
    """Write `plate` to `path`, atomically: an interrupted run leaves the old file or none.

    Parameters
    ----------
    precision : "double", float64, comes back to the last bit; "single", float32, is right to 6e-8
        and half the size; "auto" is single where the light in float64 takes 64 MB or more

    Raises
    ------
    OutputError
        The folder is missing, read-only or full, or `path` is a folder.
    InputError
        A precision that is none.
    """
    from wavesim.store.write import write

    write(plate, path, precision)


def most_bytes(plate: Plate, *, precision: str = "auto") -> int:
    """Size of the file that `save` would write, if nothing in it can be packed [bytes].

    Raises
    ------
    InputError
        A precision that is none.
    """
    from wavesim.store import layout

    return layout.most_bytes(plate, precision)


def load(path: str | Path) -> Plate:
    """The Plate in `path`, equal to the last bit to the one that was saved in double precision.

    Raises
    ------
    PlateFileError
        The file is missing, damaged, cut short, of another program or another layout version, or
        its arrays would not fit into memory.
    """
    from wavesim.store.read import read

    return read(path)


def load_scene(path: str | Path) -> Scene:
    """The scene of the plate in `path` alone; the plate stays unread.

    Raises
    ------
    PlateFileError
        As `load`.
    """
    from wavesim.store.read import read_scene

    return read_scene(path)
