"""The study file: all members in one HDF5 file with named dimensions, and back.

The datasets stand in the file's root, so that xarray opens it without the name of a group; an
NXentry with an NXdata of hard links to them serves viewers of NeXus files. Nothing in it depends
on workers, order, restarts or the clock: the same plan gives the same bytes.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Any

import h5py
import numpy as np
from numpy.typing import NDArray

from wavesim import __version__
from wavesim.ensemble import parts
from wavesim.ensemble.exposing import Recorded, profile_axis
from wavesim.ensemble.members import Design
from wavesim.ensemble.numbers import NUMBERS
from wavesim.ensemble.plan import Plan
from wavesim.errors import InputError, OutputError, PlateFileError
from wavesim.store.sink import hdf5_replacing

if TYPE_CHECKING:
    import xarray

VERSION = 1
_CHUNK = 256  # members of a chunk of numbers


def join(plan: Plan, design: Design, folder: Path, target: Path) -> int:
    """Write the study file from its parts, one part in memory at a time; how many members failed.

    Raises
    ------
    OutputError
        The file cannot be written, or a part is gone.
    """
    found = parts.done(folder)
    missing = design.count - len(found)
    if missing:
        raise OutputError(f"lacks {missing} members", file=folder, expected="the same run again")
    first = next(_whole(found, design.count), None)
    with hdf5_replacing(target) as file:
        _attributes(file, plan, design)
        _coordinates(file, plan, design)
        _arrays(file, plan, design.count, first)
        failed = 0
        for member in parts.members_of(found, range(design.count)):
            failed += _fill(file, member)
        _links(file, plan)
    return failed


def _whole(found: dict[int, Path], count: int) -> Iterator[Recorded]:
    """The members that did not fail."""
    return (m for m in parts.members_of(found, range(count)) if not m.failure)


def _attributes(file: h5py.File, plan: Plan, design: Design) -> None:
    file.attrs.update(
        {
            "NX_class": "NXroot",
            "default": "entry",
            "creator": "wavesim",
            "wavesim_study": VERSION,
            "wavesim_version": __version__,
            "title": plan.table.title,
            "study": plan.text,
            "scene": plan.scene.text,
            "scene_folder": str(plan.scene.folder),
            "identity": plan.identity,
            "design": plan.table.design,
            "draws": plan.table.draws,
            "seed": plan.table.seed,
            "keys": [column.key for column in design.columns],
            "numbers": list(plan.table.record.numbers),
            "drawn": [draw.key for draw in plan.table.draw if draw.law != "seed"],
        }
    )


def _coordinates(file: h5py.File, plan: Plan, design: Design) -> None:
    member = file.create_dataset("member", data=np.arange(design.count))
    member.make_scale("member")
    rows = [design.numbers(index) for index in range(design.count)]
    for column in design.columns:
        values = [row[column.key] for row in rows]
        if column.unit is None:
            data = np.array([str(v).encode() for v in values], dtype=h5py.string_dtype())
        elif all(isinstance(v, float) and v.is_integer() for v in values) and not column.unit:
            exact = [design.values(k)[column.key] for k in range(design.count)]
            data = np.array(exact, dtype=np.int64)
        else:
            data = np.array(values, dtype=np.float64)
        dataset = file.create_dataset(column.key, data=data)
        dataset.dims[0].attach_scale(member)
        if column.unit:
            dataset.attrs["units"] = column.unit
        dataset.attrs["long_name"] = f"{column.key} of the scene"
    wanted = plan.table.record
    if wanted.profile is not None and wanted.line is not None:
        axis = file.create_dataset("order", data=profile_axis(wanted.line, wanted.profile))
        axis.attrs["long_name"] = "continuous order"
        axis.make_scale("order")


def _arrays(file: h5py.File, plan: Plan, count: int, first: Recorded | None) -> None:
    for name in plan.table.record.numbers:
        dataset = file.create_dataset(name, shape=(count,), dtype=np.float64, fillvalue=np.nan)
        dataset.attrs["long_name"] = NUMBERS[name].meaning
        if NUMBERS[name].unit:
            dataset.attrs["units"] = NUMBERS[name].unit
        dataset.dims[0].attach_scale(file["member"])
    failure = file.create_dataset("failure", shape=(count,), dtype=h5py.string_dtype())
    failure.dims[0].attach_scale(file["member"])
    if first is None:
        return
    for field, axes in (
        ("profile", ("order",)),
        ("picture", ("picture_y", "picture_x", "channel")),
        ("irradiance", ("y", "x")),
    ):
        sample = getattr(first, field)
        if sample is None:
            continue
        dataset = file.create_dataset(
            field,
            shape=(count, *sample.shape),
            dtype=sample.dtype,
            chunks=_chunks(sample, count),
            compression="gzip",
            compression_opts=1,
            shuffle=True,
            fillvalue=np.nan if sample.dtype.kind == "f" else 0,
        )
        dataset.dims[0].attach_scale(file["member"])
        for position, name in enumerate(axes, start=1):
            if name not in file:
                file.create_dataset(name, data=np.arange(sample.shape[position - 1]))
                file[name].make_scale(name)
            dataset.dims[position].attach_scale(file[name])
    if first.irradiance is not None:
        file["irradiance"].attrs["units"] = "W/m2"


def _chunks(sample: NDArray[Any], count: int) -> tuple[int, ...]:
    rows = max(1, min(count, (1 << 18) // max(sample.nbytes, 1)))
    return (rows, *sample.shape)


def _fill(file: h5py.File, member: Recorded) -> int:
    for name, value in member.numbers.items():
        file[name][member.index] = value
    file["failure"][member.index] = member.failure
    for field in ("profile", "picture", "irradiance"):
        values = getattr(member, field)
        if values is not None and field in file and values.shape == file[field].shape[1:]:
            file[field][member.index] = values
    return int(bool(member.failure))


def _links(file: h5py.File, plan: Plan) -> None:
    entry = file.create_group("entry")
    entry.attrs["NX_class"] = "NXentry"
    data = entry.create_group("data")
    data.attrs["NX_class"] = "NXdata"
    data.attrs["axes"] = ["member"]
    if plan.table.record.numbers:
        data.attrs["signal"] = plan.table.record.numbers[0]
    for name in list(file):
        if name != "entry":
            data[name] = file[name]


def check_study(path: str | Path) -> None:
    """Refuse what is not a whole study file.

    Raises
    ------
    PlateFileError
        It is missing, damaged or something else.
    """
    if not Path(path).is_file():
        raise PlateFileError("is not there", file=path, expected="a study file (.h5)")
    if not is_study(path):
        raise PlateFileError(
            "is not a study file", file=path, expected="a file that wavesim study wrote"
        )


def is_study(path: str | Path) -> bool:
    """Whether the file is a study file (and not a plate, say)."""
    try:
        with h5py.File(path) as file:
            return file.attrs.get("wavesim_study") == VERSION and "member" in file
    except (OSError, ValueError):
        return False


def open_study(path: str | Path) -> xarray.Dataset:
    """A study file as a labelled data set, opened lazily.

    Dimensions: `member`; `order` of profiles; `picture_y`, `picture_x`, `channel` of pictures;
    `y`, `x` of plates. The varied keys are coordinates along `member` under their dotted names,
    in SI units; the study's text, its scene and the version stand in the attributes.

    Raises
    ------
    PlateFileError
        The file is missing or not a study file.
    InputError
        xarray and h5netcdf are not installed.
    """
    check_study(path)
    try:
        import h5netcdf  # noqa: F401
        import xarray
    except ImportError:
        raise InputError(
            "needs xarray and h5netcdf, which are not installed",
            key="open_study",
            expected='pip install "wavesim[studies]"',
        ) from None
    found = xarray.open_dataset(path, engine="h5netcdf")
    keys = [str(key) for key in np.atleast_1d(found.attrs["keys"])]
    return found.set_coords(keys)
