"""The plate file: HDF5 in NeXus conventions, so that general viewers plot it.

`layout` says what stands where. h5py is imported only when a file is written or read.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wavesim.plate import Plate
    from wavesim.scene import Scene

__all__ = ["load", "load_scene", "save"]


def save(plate: Plate, path: str | Path) -> None:
    """Write `plate` to `path`, atomically: an interrupted run leaves the old file or none.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full, or `path` is a folder.
    """
    from wavesim.store.write import write

    write(plate, path)


def load(path: str | Path) -> Plate:
    """The Plate in `path`, equal to the last bit to the one that was saved.

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
