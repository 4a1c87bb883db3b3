"""Members on disk while a study grows.

A part is one HDF5 file that holds some members whole. It is written under a temporary name,
flushed and renamed, so that a part that is there is complete: the files are the only record of
what is done. The folder is named by the plan's identity; another plan never reads it.

    index, failure   (n,) of the members, in the part's order
    numbers/NAME     (n,)
    FIELD/K          (k, ...) arrays of one shape, their positions in the part as attribute `rows`
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable, Iterator, Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from numpy.typing import NDArray

from wavesim.ensemble.exposing import Array, Packed, Recorded
from wavesim.errors import PlateFileError
from wavesim.files import short_name
from wavesim.store.sink import hdf5_replacing

FIELDS = ("profile", "picture", "irradiance")
DAMAGED = (OSError, KeyError, ValueError, TypeError, AttributeError, IndexError, RuntimeError)
_LARGE_BYTES = 1 << 15
_CHUNK_BYTES = 1 << 18
_NAME = re.compile(r"members-(\d{8})-(\d{8})-(\d{5})\.h5")


def folder_of(output: Path, identity: str) -> Path:
    """The folder of a study's parts, beside its file."""
    return output.with_name(f"{short_name(output)}.{identity}.parts")


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
        for field in FIELDS:
            for group, rows in enumerate(_of_one_shape(members, field)):
                data = np.stack([getattr(members[row], field) for row in rows])
                dataset = file.create_dataset(
                    f"{field}/{group}", data=data, **packing(data[0], len(rows))
                )
                dataset.attrs["rows"] = rows
    return name


def packing(sample: Array, count: int) -> dict[str, Any]:
    """How `count` arrays like this one are stored, in parts and in the study file alike.

    A large array is a chunk of its own, which passes from the one to the other as it is.
    """
    large = sample.nbytes >= _LARGE_BYTES
    rows = 1 if large else max(1, min(count, _CHUNK_BYTES // max(sample.nbytes, 1)))
    chunks = (rows, *sample.shape)
    return {"chunks": chunks, "compression": "gzip", "compression_opts": 1, "shuffle": True,
            "fletcher32": True}  # fmt: skip


def _of_one_shape(members: Sequence[Recorded], field: str) -> list[list[int]]:
    """Positions of the members that have the field, by the shape of their arrays."""
    rows: dict[tuple[int, ...], list[int]] = {}
    for row, member in enumerate(members):
        values = getattr(member, field)
        if values is not None:
            rows.setdefault(values.shape, []).append(row)
    return list(rows.values())


def read_part(path: Path) -> list[Recorded]:
    """The members of a part.

    Raises
    ------
    PlateFileError
        The part is damaged; it is removed, so that its members are computed again.
    """
    try:
        with h5py.File(path) as file:
            return _members(file)
    except DAMAGED as error:
        with suppress(OSError):
            path.unlink()
        raise PlateFileError(
            "is damaged, and is removed",
            file=path,
            expected="the same command again, which computes its members anew",
        ) from error


def _members(file: h5py.File) -> list[Recorded]:
    numbers = {name: values[()].tolist() for name, values in file.get("numbers", {}).items()}
    arrays: dict[str, dict[int, Array]] = {}
    for field in FIELDS:
        arrays[field] = {}
        for dataset in file.get(field, {}).values():
            arrays[field].update(zip(dataset.attrs["rows"].tolist(), _rows(dataset), strict=True))
    return [
        Recorded(
            index=index,
            numbers={name: values[row] for name, values in numbers.items()},
            failure=failure.decode(),
            **{field: arrays[field].get(row) for field in FIELDS},
        )
        for row, (index, failure) in enumerate(
            zip(file["index"][()].tolist(), file["failure"][()], strict=True)
        )
    ]


def _rows(dataset: h5py.Dataset) -> list[Array]:
    """The arrays of a data set, the large ones packed."""
    if math.prod(dataset.shape[1:]) * dataset.dtype.itemsize < _LARGE_BYTES:
        small: NDArray[Any] = dataset[()]
        return list(small)
    zeros = (0,) * (dataset.ndim - 1)
    return [
        Packed(dataset.shape[1:], dataset.dtype, dataset.id.read_direct_chunk((row, *zeros))[1])
        for row in range(dataset.shape[0])
    ]


def done(folder: Path) -> dict[int, Path]:
    """Member -> the part that holds it; a part that cannot be read is removed and done again."""
    found: dict[int, Path] = {}
    for path in parts(folder):
        try:
            with h5py.File(path) as file:
                indices = file["index"][()].tolist()
        except DAMAGED:
            with suppress(OSError):
                path.unlink()
            continue
        for index in indices:
            found.setdefault(index, path)
    return found


def parts(folder: Path) -> list[Path]:
    """The parts of a folder, in the order of their members."""
    if not folder.is_dir():
        return []
    return sorted(path for path in folder.iterdir() if _NAME.fullmatch(path.name))


def members_of(found: dict[int, Path], indices: Iterable[int]) -> Iterator[Recorded]:
    """The members of the given numbers, one part in memory at a time."""
    path: Path | None = None
    held: dict[int, Recorded] = {}
    for index in indices:
        if found[index] != path:
            path = found[index]
            held = {member.index: member for member in read_part(path)}
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
