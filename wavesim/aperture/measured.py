"""Measured profiles and displacements from CSV or HDF5 files."""

from __future__ import annotations

import math
import re
from pathlib import Path

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.errors import TableError

LENGTHS_M = {"m": 1.0, "mm": 1e-3, "um": 1e-6, "µm": 1e-6, "nm": 1e-9, "pm": 1e-12}
_UNITS = {**LENGTHS_M, "rad": 1.0, "deg": math.pi / 180, "waves": 2 * math.pi, "": 1.0}
_MOST_BYTES = 200_000_000


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
    right = f'a header such as "{first[0]},{second[0]}"'
    rows = _rows(path, right)
    header = [cell.strip() for cell in rows[0][1].split(",")]
    if len(header) < 2:
        raise TableError(
            "has no header that names its columns", file=path, value=rows[0][1], expected=right
        )
    name, scale = _column(path, header[0], first, right)
    _, scale2 = _column(path, header[1], second, right)
    values = np.array([_numbers(path, number, line) for number, line in rows[1:]]).reshape(-1, 2)
    if values.shape[0] < 2:
        raise TableError("has fewer than two rows", file=path, expected="two rows or more")
    bad = np.flatnonzero(np.diff(values[:, 0]) <= 0)
    if bad.size:
        place = rows[int(bad[0]) + 2][0]
        raise TableError("first column does not ascend", file=path, key=f"line {place}")
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

    problem: str | None = None
    try:
        with h5py.File(path, "r") as file:
            node = file[name]
            problem = _why_unread(node)
            values = np.asarray(node[()] if problem is None else (), dtype=np.float64)
            unit = str(node.attrs.get("units", "?"))
    except (OSError, KeyError, TypeError, ValueError, RuntimeError) as error:
        raise TableError(
            "cannot be read", file=path, key=name, expected="an HDF5 file with that dataset"
        ) from error
    if problem is not None:
        raise TableError(problem, file=path, key=name, expected="a line of finite numbers")
    if values.ndim != 1 or values.size < 1 or not np.isfinite(values).all():
        raise TableError("is not a line of finite numbers", file=path, key=name)
    if unit not in _UNITS:
        raise TableError(
            "has no unit", file=path, key=name, value=unit, expected="the attribute units"
        )
    return values * _UNITS[unit]


def _why_unread(node: object) -> str | None:
    """What keeps a dataset from being read, or None; nothing of it has been read then."""
    import h5py

    if not isinstance(node, h5py.Dataset) or node.dtype.kind not in "iuf" or node.shape is None:
        return "is not a line of numbers"
    if node.ndim != 1:
        return f"has {node.ndim} dimensions"
    if node.external or node.is_virtual:
        return "lies in another file"
    return "is too large for a table" if node.nbytes > _MOST_BYTES else None


def _rows(path: Path, right: str) -> list[tuple[int, str]]:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise TableError("is too large for a table", file=path, expected="less than 200 MB")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise TableError(
            f"cannot be read: {error.strerror or error}", file=path, expected="a CSV file"
        ) from error
    except UnicodeDecodeError as error:
        raise TableError("is not text in UTF-8", file=path, expected="a CSV file") from error
    rows = [
        (number, line.strip())
        for number, line in enumerate(text.splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not rows:
        raise TableError("is empty", file=path, expected=right)
    return rows


def _column(path: Path, header: str, known: tuple[str, ...], right: str) -> tuple[str, float]:
    """Quantity and unit of a column such as `x_mm`; `known` lists one example of each quantity."""
    found = re.fullmatch(r"([a-z]+)(?:_(\S+))?", header)
    quantities = {example.split("_")[0]: example for example in known}
    if found is None or found.group(1) not in quantities:
        raise TableError("unknown column", file=path, key="line 1", value=header, expected=right)
    unit = found.group(2) or ""
    has_unit = "_" in quantities[found.group(1)]
    if unit not in _UNITS or has_unit != bool(unit):
        raise TableError("unknown unit", file=path, key="line 1", value=header, expected=right)
    return found.group(1), _UNITS[unit]


def _numbers(path: Path, number: int, line: str) -> tuple[float, float]:
    cells = line.split(",")
    try:
        first, second = float(cells[0]), float(cells[1])
    except (ValueError, IndexError):
        raise TableError(
            "is not a row of two numbers", file=path, key=f"line {number}", value=line
        ) from None
    if not (math.isfinite(first) and math.isfinite(second)):
        raise TableError("is not finite", file=path, key=f"line {number}", value=line)
    return first, second
