"""The study file: all members in one HDF5 file with named dimensions, and back.

The datasets stand in the file's root, so that xarray opens it without the name of a group; an
NXentry with an NXdata of hard links to them serves viewers of NeXus files. Nothing in it depends
on workers, order, restarts or the clock: the same plan gives the same bytes.
"""

from __future__ import annotations

import math
import os
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

import h5py
import numpy as np

from wavesim.arrays import Floats
from wavesim.ensemble import parts
from wavesim.ensemble.exposing import Array, Packed, Recorded, profile_axis
from wavesim.ensemble.members import Design
from wavesim.ensemble.numbers import NUMBERS
from wavesim.ensemble.plan import StudyPlan, table_of
from wavesim.errors import InputError, OutputError, PlateFileError, SceneError
from wavesim.scene import Scene, named_files, parse
from wavesim.store.sink import hdf5_replacing
from wavesim.version import __version__

if TYPE_CHECKING:
    import xarray

VERSION = 1
_NEEDED = ("study", "scene", "scene_folder", "study_folder")  # texts of the study and its scene
_EXPECTED = "a file that wavesim study wrote"
_CHUNK = 4096  # members written at a time, at the most
_LISTS = ("DIMENSION_LIST", "REFERENCE_LIST")  # HDF5's own: of a variable's axes, an axis's users
_BEYOND = 1e100  # no number of a study is so large; its square is still a number
_AXES = (("order",), ("picture_y", "picture_x", "channel"), ("y", "x"))
_BLOCK_BYTES = 1 << 25  # of their arrays


def join(plan: StudyPlan, design: Design, folder: Path, target: Path) -> int:
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
        _attributes(file, plan, design, target.absolute().parent)
        _coordinates(file, plan, design)
        _arrays(file, plan, design.count, first)
        failed = _fill(file, parts.members_of(found, range(design.count)))
        _links(file, plan)
    return failed


def failed_in(target: Path, plan: StudyPlan) -> int | None:
    """How many members failed in the file that this very study made; None where it did not."""
    if not target.is_file() or not is_study(target):
        return None
    try:
        with h5py.File(target) as file:
            wanted = {"identity": plan.identity, "study": plan.text}
            whole = all(name in file.attrs for name in _NEEDED)  # else an earlier version's
            if whole and all(file.attrs.get(name) == text for name, text in wanted.items()):
                return sum(map(bool, file["failure"][()]))
    except parts.DAMAGED:
        pass
    return None


def _whole(found: dict[int, Path], count: int) -> Iterator[Recorded]:
    """The members that did not fail."""
    return (m for m in parts.members_of(found, range(count)) if not m.failure)


def _attributes(file: h5py.File, plan: StudyPlan, design: Design, home: Path) -> None:
    """What the file is; folders of tables that it needs are given relative to its own, `home`."""
    scene_folder = plan.scene.folder if any(named_files(plan.scene)) else home
    study_folder = plan.folder if any(draw.file for draw in plan.table.draw) else home
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
            "scene_folder": os.path.relpath(scene_folder, home),
            "study_folder": os.path.relpath(study_folder, home),
            "identity": plan.identity,
            "design": plan.table.design,
            "draws": plan.table.draws,
            "seed": plan.table.seed,
            "keys": [column.key for column in design.columns],
            "numbers": list(plan.table.record.numbers),
            "drawn": [draw.key for draw in plan.table.draw if draw.law != "seed"],
        }
    )


def _coordinates(file: h5py.File, plan: StudyPlan, design: Design) -> None:
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
        axis.attrs["long_name"] = "order (real number)"
        axis.make_scale("order")


def _arrays(file: h5py.File, plan: StudyPlan, count: int, first: Recorded | None) -> None:
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
    for field, axes in zip(parts.FIELDS, _AXES, strict=True):
        sample = getattr(first, field)
        if sample is None:
            continue
        dataset = file.create_dataset(
            field,
            shape=(count, *sample.shape),
            dtype=sample.dtype,
            **parts.packing(sample, count),
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


def _fill(file: h5py.File, members: Iterator[Recorded]) -> int:
    """Write the members, in their order, a block at a time; how many failed."""
    arrays = {field: file[field] for field in parts.FIELDS if field in file}
    size = sum(8 * math.prod(dataset.shape[1:]) for dataset in arrays.values())
    failed = 0
    for block in batched(members, max(1, min(_CHUNK, _BLOCK_BYTES // max(size, 1)))):
        rows = slice(block[0].index, block[-1].index + 1)
        for name in block[0].numbers:
            file[name][rows] = [member.numbers[name] for member in block]
        failures = [_failure(member, arrays) for member in block]
        file["failure"][rows] = np.array([f.encode() for f in failures], dtype=object)
        for field, dataset in arrays.items():
            _write(dataset, rows, [getattr(member, field) for member in block])
        failed += sum(map(bool, failures))
    return failed


def batched(members: Iterator[Recorded], size: int) -> Iterator[list[Recorded]]:
    """Lists of `size` members; the last may be shorter."""
    while block := list(islice(members, size)):
        yield block


def _failure(member: Recorded, arrays: dict[str, h5py.Dataset]) -> str:
    """Why a member, or an array of it, is not in the file."""
    for field, dataset in arrays.items():
        values = getattr(member, field)
        if not member.failure and values is not None and values.shape != dataset.shape[1:]:
            found, first = (" x ".join(map(str, s)) for s in (values.shape, dataset.shape[1:]))
            return (
                f"its {field} of {found} values is omitted, because that of the first member "
                f"has {first}"
            )
    return member.failure


def _write(dataset: h5py.Dataset, rows: slice, values: list[Array | None]) -> None:
    """The arrays that fit the dataset; its fill value stands for others."""
    fitting = [v if v is not None and v.shape == dataset.shape[1:] else None for v in values]
    packed = {row: value for row, value in enumerate(fitting) if isinstance(value, Packed)}
    for row, value in packed.items():
        dataset.id.write_direct_chunk((rows.start + row, *(0,) * len(value.shape)), value.data)
    if packed:
        return
    block = np.full((len(values), *dataset.shape[1:]), dataset.fillvalue, dtype=dataset.dtype)
    for row, array in enumerate(fitting):
        if array is not None:
            block[row] = array
    dataset[rows] = block


def _links(file: h5py.File, plan: StudyPlan) -> None:
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
        raise PlateFileError("is not a study file", file=path, expected=_EXPECTED)
    try:
        with h5py.File(path) as file:
            _check_layout(file)
    except parts.DAMAGED as error:
        raise PlateFileError(
            "is damaged: a part of it is missing, of another kind or of another length",
            file=path,
            expected=_EXPECTED,
        ) from error


@contextmanager
def reading(path: str | Path) -> Iterator[h5py.File]:
    """An open study file, whose arrays are read as the block goes on.

    Raises
    ------
    PlateFileError
        The file is missing or not a study file, or what is read in the block is damaged.
    """
    check_study(path)
    try:
        with h5py.File(path) as file:
            yield file
    except OSError as error:  # an array is stored in pieces, each with its checksum
        raise PlateFileError(
            "is damaged: a piece of an array cannot be read", file=path, expected=_EXPECTED
        ) from error


def _check_layout(file: h5py.File) -> None:
    """Raise ValueError, or what reading brings, unless all is there and as `join` writes it."""
    count = file["member"].size
    keys, names = ([str(n) for n in np.atleast_1d(file.attrs[k])] for k in ("keys", "numbers"))
    drawn = {str(key) for key in np.atleast_1d(file.attrs["drawn"])}
    whole = drawn <= set(keys) and set(names) <= set(NUMBERS)
    whole &= all(isinstance(file.attrs[k], str) for k in ("title", "design", "study", "scene"))
    whole &= isinstance(file.attrs["draws"], int | np.integer)
    texts = [file["failure"], *(file[key] for key in keys if file[key].dtype.kind == "O")]
    plain = [file[key] for key in keys if file[key].dtype.kind != "O"]
    whole &= all(h5py.check_string_dtype(dataset.dtype) is not None for dataset in texts)
    whole &= all(dataset.dtype.kind in "fi" for dataset in plain)
    whole &= all(file[name].dtype == np.float64 for name in names)
    each = [file["member"], *texts, *plain, *(file[name] for name in names)]
    whole &= all(dataset.shape == (count,) for dataset in each)
    whole &= all(isinstance(dataset.attrs.get("units", ""), str) for dataset in each)
    for field, axes in zip(parts.FIELDS, _AXES, strict=True):
        if field in file:
            sizes = [file[axis].size for axis in axes]
            whole &= file[field].shape == (count, *sizes) and file[field].dtype.kind in "fu"
            whole &= all(file[axis].dtype.kind in "fi" for axis in axes)
    whole &= all(_scaled_well(node) for node in file.values() if isinstance(node, h5py.Dataset))
    whole = whole and all((abs(dataset[()]) < _BEYOND).all() for dataset in plain)
    if not whole or any(out_of_all_measure(file[name][()]) for name in names):
        raise ValueError


def _scaled_well(dataset: h5py.Dataset) -> bool:
    """Whether its lists of axes are of the type that HDF5 takes them for, unseen."""
    kinds = {name: dataset.attrs.get_id(name) for name in _LISTS if name in dataset.attrs}
    axes, users = (kinds.get(name) for name in _LISTS)
    if axes and (h5py.check_vlen_dtype(axes.dtype) is None or axes.shape != (dataset.ndim,)):
        return False
    return not users or (users.dtype.names == ("dataset", "dimension") and len(users.shape) == 1)


def out_of_all_measure(values: Floats) -> bool:
    """Whether some number is finite and yet so large that its square is not."""
    return bool((abs(values[np.isfinite(values)]) >= _BEYOND).any())


def is_study(path: str | Path) -> bool:
    """Whether the file is a study file (and not a plate, say)."""
    try:
        with h5py.File(path) as file:
            return file.attrs.get("wavesim_study") == VERSION and "member" in file
    except parts.DAMAGED:
        return False


def plan_of(path: str | Path) -> StudyPlan:
    """The study that a file was made from; tables that it names are looked for where they were.

    Raises
    ------
    PlateFileError
        The file is missing, damaged or not a study file.
    SceneError
        A table that the study draws from is gone.
    """
    check_study(path)
    try:
        with h5py.File(path) as file:
            text, scene, scene_folder, study_folder = (str(file.attrs[n]) for n in _NEEDED)
        home = Path(path).parent  # an absolute name, as older files hold it, stays what it is
        table = table_of(text, str(path))
        base = parse(scene, file=str(path)).beside(str(home / scene_folder))
    except (*parts.DAMAGED, SceneError) as error:
        raise PlateFileError(
            "does not hold the study that made it, or one that this version can read",
            file=path,
            expected=f"{_EXPECTED}; run the study again if an earlier version wrote it",
        ) from error
    return StudyPlan(table, base, text, str(path), home / study_folder)


def member_scene(path: str | Path, member: int) -> Scene:
    """The scene of one member of a study file, to be exposed again.

    Raises
    ------
    PlateFileError
        The file is missing, damaged or not a study file.
    InputError
        The study has no such member.
    SceneError
        The member failed since the scene does not take its values.
    """
    return Design(plan_of(path)).member(member)


def open_study(path: str | Path) -> xarray.Dataset:
    """A study file as a labelled data set, opened lazily.

    Dimensions: `member`; `order` of profiles; `picture_y`, `picture_x`, `channel` of pictures;
    `y`, `x` of plates. The varied keys are coordinates along `member` under their dotted names,
    in SI units; the study's text, its scene and the version stand in the attributes. A member is
    exposed again by `wavesim.expose(wavesim.member_scene(path, 3))`.

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
    try:
        found = xarray.open_dataset(path, engine="h5netcdf")
        keys = [str(key) for key in np.atleast_1d(found.attrs["keys"])]
        return found.set_coords(keys)
    except parts.DAMAGED as error:
        raise PlateFileError("is damaged", file=path, expected=_EXPECTED) from error
