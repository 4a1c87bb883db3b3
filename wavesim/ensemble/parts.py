"""Members on disk while a study grows.

A part is one HDF5 file that holds some members whole. It is written under a temporary name,
flushed and renamed, so that a part that is there is complete: the files are the only record of
what is done. The folder is named by the plan's identity; another plan never reads it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from wavesim.ensemble.exposing import Recorded
from wavesim.store.sink import hdf5_replacing

_NAME = re.compile(r"members-(\d{8})-(\d{8})-(\d{5})\.h5")


def folder_of(output: Path, identity: str) -> Path:
    """The folder of a study's parts, beside its file."""
    return output.with_name(f"{output.name}.{identity}.parts")


def write_part(folder: Path, members: Sequence[Recorded]) -> str:
    """Write members as one part and return its name.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full.
    """
    indices = [member.index for member in members]
    name = f"members-{min(indices):08d}-{max(indices):08d}-{len(indices):05d}.h5"
    with hdf5_replacing(folder / name) as file:
        file["index"] = np.array(indices, dtype=np.int64)
        file["failure"] = np.array([m.failure.encode() for m in members], dtype=h5py.string_dtype())
        for number in members[0].numbers:
            file[f"numbers/{number}"] = np.array([m.numbers[number] for m in members])
        for field in ("profile", "picture", "irradiance"):
            for position, member in enumerate(members):
                values = getattr(member, field)
                if values is not None:
                    file.create_dataset(
                        f"{field}/{position}",
                        data=values,
                        compression="gzip",
                        compression_opts=1,
                        shuffle=True,
                    )
    return name


def read_part(path: Path) -> list[Recorded]:
    """The members of a part."""
    with h5py.File(path) as file:
        numbers = {name: values[()] for name, values in file.get("numbers", {}).items()}
        failures = [text.decode() for text in file["failure"][()]]
        return [
            Recorded(
                index=int(index),
                numbers={name: float(values[position]) for name, values in numbers.items()},
                profile=_optional(file, "profile", position),
                picture=_optional(file, "picture", position),
                irradiance=_optional(file, "irradiance", position),
                failure=failures[position],
            )
            for position, index in enumerate(file["index"][()])
        ]


def _optional(file: h5py.File, field: str, position: int) -> NDArray[Any] | None:
    found = file.get(f"{field}/{position}")
    return None if found is None else found[()]


def done(folder: Path) -> dict[int, Path]:
    """Member -> the part that holds it; a part that cannot be read is removed and done again."""
    found: dict[int, Path] = {}
    for path in parts(folder):
        try:
            with h5py.File(path) as file:
                indices = file["index"][()].tolist()
        except (OSError, KeyError, ValueError):
            with suppress(OSError):
                path.unlink()
            continue
        for index in indices:
            found.setdefault(int(index), path)
    return found


def parts(folder: Path) -> list[Path]:
    """The parts of a folder, in the order of their members."""
    if not folder.is_dir():
        return []
    return sorted(path for path in folder.iterdir() if _NAME.fullmatch(path.name))


def members_of(found: dict[int, Path], indices: Iterable[int]) -> Iterator[Recorded]:
    """The members of the given numbers, one part in memory at a time."""
    at: Path | None = None
    held: dict[int, Recorded] = {}
    for index in indices:
        if found[index] != at:
            at = found[index]
            held = {member.index: member for member in read_part(at)}
        yield held[index]


def remove(folder: Path) -> None:
    """Remove the parts, what killed writers left, and the folder."""
    if folder.is_dir():
        for path in folder.iterdir():
            if _NAME.fullmatch(path.name) or path.name.startswith(".members-"):
                with suppress(OSError):
                    path.unlink()
        with suppress(OSError):
            folder.rmdir()
