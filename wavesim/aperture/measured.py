"""Measured profiles and displacements from CSV or HDF5 files."""

from __future__ import annotations

import math
import re
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim import tables
from wavesim.arrays import Floats
from wavesim.errors import TableError
from wavesim.inputs import MOST_PACKED, check_regular
from wavesim.memory import require_memory
from wavesim.tables import LENGTHS_M, TextTable

if TYPE_CHECKING:
    import h5py

_UNITS = {**LENGTHS_M, "rad": 1.0, "deg": math.pi / 180, "waves": 2 * math.pi, "": 1.0}
_MOST_BYTES = 200_000_000
_READING = 4  # times the numbers themselves at the peak of reading


def two_columns(
    path: Path, first: tuple[str, ...], second: tuple[str, ...]
) -> tuple[str, Floats, Floats]:
    """Two columns whose header names quantity and unit, as in `x_mm,displacement_nm`.

    Returns the first column's quantity and both columns in SI units (waves as radians);
    the first ascends strictly. Lines that begin with # are ignored.

    Raises
    ------
    TableError
        Missing or unreadable file, an unknown header, or a bad row: with file and line.
    """
    expected = f'a header such as "{first[0]},{second[0]}"'
    table = tables.read(path, empty="is empty", expected=expected, separators=",")
    if len(table.header) < 2:
        raise table.wrong(-1, "has no header that names its columns", expected=expected)
    name, scale = _column(table, 0, first, expected)
    _, scale2 = _column(table, 1, second, expected)
    values = table.pairs("is not a row of two numbers")
    table.check_finite(values)
    table.check_rising(values[:, 0], "first column does not ascend")
    return name, values[:, 0] * scale, values[:, 1] * scale2


def dataset(path: Path, name: str) -> Floats:
    """A one-dimensional HDF5 dataset; its `units` attribute is a length or an angle.

    Raises
    ------
    TableError
        The file or the dataset is missing, is not a finite line of numbers, or has no unit.

    Notes
    -----
    HDF5 2.0 can loop for ever over a text of variable length in a damaged file, as `units` may be
    (one of 2,000 mutated files; tests/mutated_files.py). Plate files hold none.
    """
    import h5py

    check_regular(path, TableError, "an HDF5 file")
    problem: str | None = None
    try:
        with h5py.File(path, "r") as file:
            node = _node(file, name)
            problem = _why_unread(node, path.stat().st_size)
            values = np.asarray(node[()] if problem is None else (), dtype=np.float64)
            unit = str(node.attrs.get("units", "?"))
    except (OSError, KeyError, TypeError, ValueError, RuntimeError, MemoryError) as error:
        raise TableError(
            "cannot be read", file=path, key=name, expected="an HDF5 file with that dataset"
        ) from error
    if problem is not None:
        raise TableError(
            problem, file=path, key=name, expected="a one-dimensional array of finite numbers"
        )
    if values.ndim != 1 or values.size < 1 or not np.isfinite(values).all():
        raise TableError("is not a one-dimensional array of finite numbers", file=path, key=name)
    if unit not in _UNITS:
        raise TableError(
            "has no unit", file=path, key=name, value=unit, expected="the attribute units"
        )
    return values * _UNITS[unit]


def _node(file: h5py.File, name: str) -> Any:
    """What stands there in this very file: no link to another one is followed."""
    import h5py

    node: Any = file
    for part in name.strip("/").split("/"):
        if not isinstance(node.get(part, getlink=True), h5py.HardLink):
            raise KeyError(part)
        node = node[part]
    return node


def _why_unread(node: Any, file_bytes: int) -> str | None:
    """What keeps a dataset from being read, or None; nothing of it has been read then."""
    import h5py

    if not isinstance(node, h5py.Dataset) or node.dtype.kind not in "iuf" or node.shape is None:
        return "is not a one-dimensional array of numbers"
    if node.ndim != 1:
        return f"has {node.ndim} dimensions"
    if node.external or node.is_virtual:
        return "lies in another file"
    chunk = math.prod(node.chunks) if node.chunks else 0
    if max(node.size, chunk) * 8 > _MOST_BYTES:
        return "is too large for a table"
    if max(node.size, chunk) * node.dtype.itemsize > MOST_PACKED * file_bytes:
        return "declares more numbers than the file can hold"
    require_memory(
        _READING * 8 * max(node.size, chunk),
        what=" for a table",
        key=None,
        expected="a shorter one",
    )
    return None


def _column(table: TextTable, k: int, known: tuple[str, ...], expected: str) -> tuple[str, float]:
    """Quantity and unit of a column such as `x_mm`; `known` lists one example of each quantity."""
    header = table.header[k]
    found = re.fullmatch(r"([a-z]+)(?:_(\S+))?", header)
    quantities = {example.split("_")[0]: example for example in known}
    if found is None or found.group(1) not in quantities:
        ours = header if k else None  # what is not a table of ours is not repeated
        raise table.wrong(-1, "unknown column", ours, expected)
    unit = found.group(2) or ""
    has_unit = "_" in quantities[found.group(1)]
    if unit not in _UNITS or has_unit != bool(unit):
        raise table.wrong(-1, "unknown unit", header, expected)
    return found.group(1), _UNITS[unit]
