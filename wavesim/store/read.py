"""An HDF5 file back into the Plate it was written from, trusting nothing in it."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

import h5py
import numpy as np
from numpy.typing import NDArray
from pydantic import ValidationError

from wavesim.errors import LimitError, PlateFileError, SceneError
from wavesim.inputs import MOST_PACKED, bytes_text, check_regular
from wavesim.memory import require_memory
from wavesim.scene import Scene, from_resolved
from wavesim.store import layout

if TYPE_CHECKING:
    from wavesim.plate import Plate

_MOST_TEXT = 2**23  # bytes of a text; a scene of 1 MiB resolves to a few
_CHUNK = 2**24  # bytes of a chunk that may be larger than its data
_READING = 1.4  # times the arrays themselves at the peak of reading
# what h5py raises over a damaged file, depending on where the damage lies
_DAMAGE = (OSError, RuntimeError, KeyError, ValueError, TypeError, ArithmeticError, AttributeError)


def read(path: str | Path) -> Plate:
    """The Plate in `path`, equal to the last bit to the one that was written.

    Raises
    ------
    PlateFileError
        The file is missing, damaged, cut short, or not a plate file of this program; or a plate
        in it would not fit into memory.
    """
    with _opened(Path(path)) as file:
        _check_version(file)
        held = _held(file)
        _judge(file, held)
        arrays = {field.attribute: _array(file, field) for field in held}
        _check_shapes(arrays, held)
        return _plate(arrays, _scene(file), _text(file, layout.REPORT))


def read_scene(path: str | Path) -> Scene:
    """The scene of the Plate in `path`. Raises as `read`."""
    with _opened(Path(path)) as file:
        _check_version(file)
        return _scene(file)


@contextmanager
def _opened(path: Path) -> Iterator[h5py.File]:
    """The open file; every error inside the block comes out as a PlateFileError naming it."""
    check_regular(path, PlateFileError, "a plate file (.h5) written by wavesim")
    if not h5py.is_hdf5(path):
        raise PlateFileError(
            "is not an HDF5 file, or is truncated",
            file=path,
            expected="a plate file written by wavesim",
        )
    try:
        with h5py.File(path, "r", locking="best-effort") as file:
            yield file
    except PlateFileError as error:
        raise PlateFileError(
            error.problem, file=path, key=error.key, value=error.value, expected=error.expected
        ) from error
    except LimitError as error:
        raise LimitError(error.problem, file=path, expected=error.expected) from error
    except _DAMAGE as error:
        raise PlateFileError(f"is damaged or cut short: {_first_line(error)}", file=path) from error


def _first_line(error: BaseException) -> str:
    text = str(error.args[0]) if error.args else type(error).__name__
    inner = re.search(r"\((.*)\)", text)  # "Unable to open object (address overflowed)"
    return (inner.group(1) if inner else text).split("\n")[0][:200]


def _check_version(file: h5py.File) -> None:
    version = file.attrs.get(layout.VERSION_ATTRIBUTE)
    if version is None:
        raise PlateFileError(
            "is an HDF5 file of another program", expected="a plate file written by wavesim"
        )
    if version != layout.VERSION:
        raise PlateFileError(
            "has a layout unknown to this version",
            key=layout.VERSION_ATTRIBUTE,
            value=version,
            expected=str(layout.VERSION),
        )


def _dataset(file: h5py.File, path: str) -> h5py.Dataset:
    """The dataset at `path`, if it lies in this file itself and not behind a link elsewhere."""
    node: h5py.Group = file
    for name in path.split("/"):
        if not isinstance(node, h5py.Group) or name not in node:
            raise PlateFileError("is missing", key=path)
        if not isinstance(node.get(name, getlink=True), h5py.HardLink):
            raise PlateFileError("is a link, not data", key=path)
        node = node[name]
    if not isinstance(node, h5py.Dataset) or node.external or node.is_virtual:
        raise PlateFileError("is not a plain dataset of this file", key=path)
    return node


def _array(file: h5py.File, field: layout.Field) -> NDArray[np.float64]:
    dataset = _dataset(file, field.path)
    kinds = ["<f8"] if field in layout.AXES else layout.KINDS.values()
    if dataset.dtype.str not in kinds or dataset.ndim != len(field.axes):
        raise PlateFileError(
            "has the wrong shape or type",
            key=field.path,
            value=f"{dataset.dtype} {dataset.shape}",
            expected=f"float64 along ({', '.join(field.axes)})",
        )
    values: NDArray[np.float64] = dataset[()].astype(np.float64, copy=False)
    if not np.isfinite(values).all():
        raise PlateFileError("holds a value that is not a number", key=field.path)
    return values


def _held(file: h5py.File) -> tuple[layout.Field, ...]:
    """The arrays that a plate file has to hold."""
    more = (layout.RECORDED,) if layout.RECORDED.path in file else ()
    return (*layout.AXES, *layout.FIELDS, *more)


def _judge(file: h5py.File, held: tuple[layout.Field, ...]) -> None:
    """Refuse a file whose arrays do not all fit into the memory that is free."""
    datasets = {field.path: _dataset(file, field.path) for field in held}
    for path, dataset in datasets.items():
        _check_room(file, dataset, path)
    need = _READING * sum(8 * dataset.size for dataset in datasets.values())
    require_memory(need, what=" for its plate", key=None, expected="a smaller plate")


def _check_room(file: h5py.File, dataset: h5py.Dataset, path: str) -> None:
    """Refuse a dataset that claims far more than the file can hold, in all or in a chunk."""
    stored = min(dataset.id.get_storage_size(), file.id.get_filesize())
    if dataset.nbytes > MOST_PACKED * stored:
        raise PlateFileError(
            "declares more data than the file can hold", key=path, value=dataset.shape
        )
    chunk = math.prod(dataset.chunks) * dataset.dtype.itemsize if dataset.chunks else 0
    if chunk > max(dataset.nbytes, _CHUNK):
        raise PlateFileError("has a chunk larger than its data", key=path, value=dataset.chunks)


def _check_shapes(arrays: dict[str, NDArray[np.float64]], held: tuple[layout.Field, ...]) -> None:
    """Every array along one axis has the same length, and axes rise."""
    sizes = {"tristimulus": 3}
    for field in held:
        for axis, size in zip(field.axes, arrays[field.attribute].shape, strict=True):
            if sizes.setdefault(axis, size) != size or size == 0:
                raise PlateFileError(
                    f"does not fit the {axis} axis",
                    key=field.path,
                    value=size,
                    expected=str(sizes[axis]),
                )
    for field in layout.AXES:
        if (np.diff(arrays[field.attribute]) <= 0).any():
            raise PlateFileError("does not increase throughout", key=field.path)


def _text(file: h5py.File, path: str) -> str:
    """A string of fixed length. (HDF5 2.0 can loop for ever over a damaged variable one.)"""
    dataset = _dataset(file, path)
    if dataset.shape != (1,) or dataset.dtype.kind != "S":
        raise PlateFileError("is not a text of fixed length", key=path)
    if dataset.nbytes > _MOST_TEXT:
        raise PlateFileError(f"is a text longer than {bytes_text(_MOST_TEXT)}", key=path)
    _check_room(file, dataset, path)
    return bytes(dataset[0]).decode()


def _scene(file: h5py.File) -> Scene:
    """The scene from its resolved values: the very numbers that the plate was made with."""
    values = _json(file, layout.SCENE_RESOLVED)
    try:
        scene = from_resolved(values, text=_text(file, layout.SCENE_TEXT))
    except SceneError as error:
        raise PlateFileError(f"is not a scene: {error}", key=layout.SCENE_RESOLVED) from error
    folder = _text(file, layout.SCENE_FOLDER)
    if not folder.isprintable():
        raise PlateFileError("is not a name of a folder", key=layout.SCENE_FOLDER)
    return scene.beside(folder)


def _json(file: h5py.File, path: str) -> dict[str, object]:
    try:
        content = json.loads(_text(file, path))
    except (ValueError, RecursionError) as error:
        raise PlateFileError(f"is not JSON: {_first_line(error)}", key=path) from error
    if not isinstance(content, dict):
        raise PlateFileError("is not a JSON object", key=path)
    return content


def _plate(arrays: dict[str, NDArray[np.float64]], scene: Scene, text: str) -> Plate:
    from wavesim.plate import Plate
    from wavesim.store.record import PlateRecord

    try:
        record = PlateRecord.model_validate_json(text)
    except ValidationError as error:
        raise _not_a_record(error) from error
    return Plate(
        **arrays,
        scene=scene,
        report=record.report,
        white_xyz=np.array(record.white_xyz),
        white_exposure_lx_s=record.white_exposure_lx_s,
        exposure_s=record.exposure_s,
        recorded_white_xyz=_recorded_white(arrays, record.recorded_white_xyz),
    )


def _recorded_white(
    arrays: dict[str, NDArray[np.float64]], white: tuple[float, float, float] | None
) -> NDArray[np.float64] | None:
    if (white is None) is ("recorded" in arrays):
        raise PlateFileError("does not fit what was recorded", key=layout.REPORT)
    return None if white is None else np.array(white)


def _not_a_record(error: ValidationError) -> PlateFileError:
    """The first of pydantic's findings, with the entry where it stands."""
    first = error.errors(include_url=False, include_context=False, include_input=False)[0]
    if first["type"] == "json_invalid":
        return PlateFileError("is not JSON", key=layout.REPORT)
    entry = ".".join(str(part) for part in first["loc"])
    return PlateFileError(f"is damaged at {entry!r}: {first['msg']}", key=layout.REPORT)
