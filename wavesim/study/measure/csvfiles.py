"""Tables that a person types or a scanner writes: profiles and settings of a circle.

Lines that begin with # are remarks; commas, semicolons or tabs separate.
"""

from __future__ import annotations

import csv
import io
import math
from pathlib import Path

import numpy as np

from wavesim.errors import TableError
from wavesim.study.measure.circle import Setting, dms
from wavesim.study.measure.profile import Profile, profile

_LENGTHS_M = {"x_m": 1.0, "x_mm": 1e-3, "x_um": 1e-6, "x_nm": 1e-9}
_RIGHT_PROFILE = 'a header such as "x_mm,value" (or "pixel,value" together with the pixel\'s width)'
_RIGHT_SETTINGS = 'a header "order,degrees,minutes,seconds" and, if wanted, "name"'
_MOST_BYTES = 50_000_000


def read_profile(
    path: str | Path, *, pixel_m: float | None = None, slit_image_m: float = 0.0
) -> Profile:
    """A profile from a CSV file.

    First column `x_m`, `x_mm`, `x_um` or `x_nm`; or `pixel`, which `pixel_m` [m] scales. Second
    column: linear light in any unit.

    Raises
    ------
    TableError
        The file is missing, its header is unknown, or a row is not two numbers.
    """
    header, rows = _table(Path(path), _RIGHT_PROFILE)
    scale = _LENGTHS_M.get(header[0])
    if header[0] == "pixel":
        scale = pixel_m
    if scale is None or len(header) < 2:
        raise TableError(
            "the first column has no known scale", file=path, key="line 1",
            value=",".join(header), expected=_RIGHT_PROFILE,
        )  # fmt: skip
    short = next((line for line, row in rows if len(row) < 2), None)
    if short is not None:
        raise TableError(
            "is no row of two numbers", file=path, key=f"line {short}", expected=_RIGHT_PROFILE
        )
    values = np.array([[_number(cell, path, line) for cell in row[:2]] for line, row in rows])
    values = values[np.argsort(values[:, 0])]
    return profile(values[:, 0] * scale, values[:, 1], slit_image_m=slit_image_m, origin=str(path))


def read_settings(path: str | Path) -> tuple[Setting, ...]:
    """Settings of a divided circle from a CSV file.

    Columns: `order`, `degrees`, and if wanted `minutes`, `seconds`, `degrees2`, `minutes2`,
    `seconds2` (the opposite vernier), `name`.

    Raises
    ------
    TableError
        The file is missing, a column is, or a cell is no number.
    """
    header, rows = _table(Path(path), _RIGHT_SETTINGS)
    known = {"order", "name", *(f"{u}{n}" for u in _UNITS for n in ("", "2"))}
    unknown = [name for name in header if name not in known]
    if unknown or "order" not in header or "degrees" not in header:
        raise TableError(
            "is no table of settings", file=path, key="line 1", value=",".join(header),
            expected=_RIGHT_SETTINGS,
        )  # fmt: skip
    return tuple(_setting(dict(zip(header, row, strict=False)), path, line) for line, row in rows)


_UNITS = ("degrees", "minutes", "seconds")


def _setting(cells: dict[str, str], path: str | Path, line: int) -> Setting:
    order = _number(cells.get("order", ""), path, line)
    if order != int(order):
        raise TableError(
            "is no order", file=path, key=f"line {line}", value=cells["order"],
            expected="a whole number, 0 for the straight-through image",
        )  # fmt: skip
    second = None
    if cells.get("degrees2", "").strip():
        second = _angle(cells, "2", path, line)
    return Setting(int(order), _angle(cells, "", path, line), second, cells.get("name", "").strip())


def _angle(cells: dict[str, str], end: str, path: str | Path, line: int) -> float:
    values = []
    for unit in _UNITS:
        text = cells.get(unit + end, "").strip()
        values.append(_number(text, path, line) if text or unit == "degrees" else 0.0)
    if not (0 <= values[1] < 60 and 0 <= values[2] < 60):
        raise TableError(
            "minutes and seconds run from 0 to 60", file=path, key=f"line {line}",
            value=f"{values[1]:g}' {values[2]:g}\"", expected="less than 60 of each",
        )  # fmt: skip
    return dms(*values)


def _table(path: Path, right: str) -> tuple[list[str], list[tuple[int, list[str]]]]:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise TableError("is larger than 50 MB", file=path, expected="a shorter table")
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise TableError(
            f"cannot be read: {error.strerror or error}", file=path, expected="a CSV file"
        ) from None
    except UnicodeDecodeError:
        raise TableError("is not UTF-8 text", file=path, expected="a CSV file") from None
    first = next((t for t in text.splitlines() if t.strip() and not t.startswith("#")), "")
    separator = next((c for c in ("\t", ";") if c in first), ",")
    rows = [
        (number, [cell.strip() for cell in row])
        for number, row in enumerate(csv.reader(io.StringIO(text), delimiter=separator), 1)
        if row and any(cell.strip() for cell in row) and not row[0].startswith("#")
    ]
    if len(rows) < 2:
        raise TableError("holds no rows below a header", file=path, expected=right)
    return [cell.lower() for cell in rows[0][1]], rows[1:]


def _number(text: str, path: str | Path, line: int) -> float:
    try:
        value = float(text)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise TableError(
            "is no number", file=path, key=f"line {line}", value=text, expected="a finite number"
        )
    return value
