"""A Plate into an HDF5 file in NeXus conventions."""

from __future__ import annotations

import datetime
import json
import zlib
from pathlib import Path
from typing import TYPE_CHECKING

import h5py
import numpy as np
from numpy.typing import NDArray

from wavesim.colorimetry.plates import picture_of
from wavesim.errors import SceneError
from wavesim.scene import Scene, parse, resolved
from wavesim.store import layout
from wavesim.store.sink import hdf5_replacing
from wavesim.version import __version__

if TYPE_CHECKING:
    from wavesim.plate import Plate

_WORTH_PACKING = 0.2  # of the size; see `_packing`


def write(plate: Plate, path: str | Path, precision: str) -> None:
    """Write `plate` to `path`, atomically: an interrupted run leaves the old file or none.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full.
    """
    picture_of(plate)  # kept; made here, where an interrupt need not wait
    with hdf5_replacing(path) as file:
        _entry(file, plate, "single" if layout.is_single(plate, precision) else "double")


def _entry(file: h5py.File, plate: Plate, precision: str) -> None:
    file.attrs.update({"NX_class": "NXroot", "default": "entry", "creator": "wavesim"})
    file.attrs[layout.VERSION_ATTRIBUTE] = layout.VERSION
    entry = _group(file, "entry", "NXentry", default="plate")
    entry["title"] = plate.scene.title
    _plate(entry, plate)
    _profile(entry, plate)
    for field in layout.AXES:
        _array(file, field, getattr(plate, field.attribute))
    kind = layout.KINDS[precision]
    for field in layout.fields_of(plate):
        _array(file, field, getattr(plate, field.attribute).astype(kind, copy=False))
    _scene(entry, plate.scene)
    _process(entry, plate)


def _plate(entry: h5py.Group, plate: Plate) -> None:
    group = _group(entry, "plate", "NXdata", signal="irradiance", axes=["y", "x"])
    _axis(group, "y", plate.y_m * 1e3, "mm")
    _axis(group, "x", plate.x_m * 1e3, "mm")
    _axis(group, "picture_y", plate.y_m[::-1] * 1e3, "mm")
    _axis(group, "tristimulus", np.array([b"X", b"Y", b"Z"]))
    _axis(group, "channel", np.array([b"R", b"G", b"B"]))
    image = _dataset(group, "picture", picture_of(plate))
    _scales(image, ("picture_y", "x", "channel"))
    image.attrs["long_name"] = "sRGB picture"
    # so that HDF5 viewers show it as a picture (HDF5 Image specification 1.2)
    image.attrs.update({"CLASS": "IMAGE", "IMAGE_VERSION": "1.2"})
    image.attrs.update({"IMAGE_SUBCLASS": "IMAGE_TRUECOLOR", "INTERLACE_MODE": "INTERLACE_PIXEL"})


def _profile(entry: h5py.Group, plate: Plate) -> None:
    group = _group(entry, "profile", "NXdata", signal="irradiance", axes=["x"])
    _axis(group, "x", plate.x_m * 1e3, "mm")
    _axis(group, "wavelength", plate.profile_wavelength_m * 1e9, "nm")


def _scene(entry: h5py.Group, scene: Scene) -> None:
    group = _group(entry, "scene", "NXcollection")
    _text(group, "text", _text_of(scene))
    _text(group, "resolved", json.dumps(resolved(scene), indent=1, ensure_ascii=False))
    _text(group, "folder", str(scene.folder.absolute()))


def _text_of(scene: Scene) -> str:
    """The scene's own text; nothing where the scene was changed after it was read."""
    try:
        return scene.text if scene.text and parse(scene.text) == scene else ""
    except SceneError:
        return ""


def _process(entry: h5py.Group, plate: Plate) -> None:
    from wavesim.store.record import PlateRecord

    group = _group(entry, "process", "NXprocess")
    group["program"] = "wavesim"
    group["version"] = __version__
    group["date"] = datetime.datetime.now(datetime.UTC).isoformat(timespec="seconds")
    group["seeds"] = np.array(plate.report.seeds, dtype=np.int64)
    accuracy = _group(group, "accuracy", "NXcollection")
    accuracy["pixel_error"] = plate.report.pixel_error
    accuracy["bin_error"] = plate.report.bin_error
    seconds = _group(group, "wall_time", "NXcollection")
    for stage, value in plate.report.seconds.items():
        seconds[stage.replace("/", " ")] = value
        seconds[stage.replace("/", " ")].attrs["units"] = "s"
    note = _group(group, "report", "NXnote")
    note["type"] = "application/json"
    _text(note, "data", PlateRecord.of(plate).model_dump_json(indent=1))


def _group(parent: h5py.Group, name: str, kind: str, **attributes: object) -> h5py.Group:
    group = parent.create_group(name)
    group.attrs["NX_class"] = kind
    group.attrs.update(attributes)
    return group


def _text(group: h5py.Group, name: str, text: str) -> None:
    """One string of fixed length: unlike HDF5's variable ones it is covered by a checksum."""
    data = text.encode()
    kind = h5py.string_dtype("utf-8", max(len(data), 1))
    group.create_dataset(name, data=np.array([data], dtype=kind), chunks=(1,), fletcher32=True)


def _axis(group: h5py.Group, name: str, values: NDArray[np.generic], unit: str = "") -> None:
    group[name] = values
    group[name].make_scale(name)
    if unit:
        group[name].attrs["units"] = unit


def _array(file: h5py.File, field: layout.Field, values: NDArray[np.generic]) -> None:
    folder, _, name = field.path.rpartition("/")
    dataset = _dataset(file[folder], name, values)
    _scales(dataset, field.axes)
    dataset.attrs.update({"units": field.unit, "long_name": f"{field.meaning} [{field.unit}]"})


def _scales(dataset: h5py.Dataset, axes: tuple[str, ...]) -> None:
    for dimension, axis in zip(dataset.dims, axes, strict=True):
        dimension.attach_scale(dataset.parent[axis])
        dimension.label = axis


def _dataset(group: h5py.Group, name: str, values: NDArray[np.generic]) -> h5py.Dataset:
    values = np.ascontiguousarray(values)
    return group.create_dataset(
        name,
        data=values,
        chunks=layout.chunks_of(values.shape, values.itemsize),
        fletcher32=True,
        **_packing(values),
    )


def _packing(values: NDArray[np.generic]) -> dict[str, object]:
    """gzip level 1 after a byte shuffle where it pays, else nothing.

    Tried on one chunk in the middle. Rows that repeat (a flat field along the slits) pack to 1 to
    10 % and are written as fast as unpacked. Rows that differ in every bit pack to 36 % (2,400 x
    240 pixels behind a source slit) at three times the writing time, others to 75 % at ten
    times. lzf packs less at the same speed, and few readers know it.
    """
    chunks = layout.chunks_of(values.shape, values.itemsize)
    chunk = values[tuple(_middle(n, c) for n, c in zip(values.shape, chunks, strict=True))]
    shuffled = np.ascontiguousarray(chunk).view(np.uint8).reshape(-1, values.itemsize).T.tobytes()
    if len(zlib.compress(shuffled, 1)) > _WORTH_PACKING * len(shuffled):
        return {}
    return {"compression": "gzip", "compression_opts": 1, "shuffle": values.itemsize > 1}


def _middle(size: int, part: int) -> slice:
    start = (size - part) // 2
    return slice(start, start + part)
