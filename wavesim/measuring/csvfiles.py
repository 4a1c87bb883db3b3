"""Tables that a person types or a scanner writes: profiles and settings of a circle.

Read as `wavesim.tables` has it.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from wavesim import tables
from wavesim.errors import TableError
from wavesim.measuring.circle import CircleSetting, dms, refuse_many
from wavesim.measuring.profile import Profile, profile
from wavesim.tables import LENGTHS_M, TextTable

_LENGTHS_M = {f"x_{unit}": size for unit, size in LENGTHS_M.items()}
_RIGHT_PROFILE = 'a header such as "x_mm,value" (or "pixel,value" together with the pixel\'s width)'
_EXPECTED_SETTINGS = 'a header "order,degrees,minutes,seconds" and optionally "name"'


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
    table = _table(path, _RIGHT_PROFILE)
    unit = table.header[0].lower()
    scale = pixel_m if unit == "pixel" else _LENGTHS_M.get(unit)
    if scale is None or len(table.header) < 2:
        problem = "the first column has no known scale"
        raise table.wrong(-1, problem, expected=_RIGHT_PROFILE)
    values = table.pairs("is not a row of two numbers")
    table.check_finite(values)
    values = values[np.argsort(values[:, 0])]
    return profile(values[:, 0] * scale, values[:, 1], slit_image_m=slit_image_m, origin=str(path))


def read_settings(path: str | Path) -> tuple[CircleSetting, ...]:
    """Settings of a divided circle from a CSV file.

    Columns: `order`, `degrees`, and if wanted `minutes`, `seconds`, `degrees2`, `minutes2`,
    `seconds2` (the opposite vernier), `name`, `wavelength_nm` (of a known line, in the room's air).

    Raises
    ------
    TableError
        The file is missing, a column is, or a cell is not a number.
    """
    table = _table(path, _EXPECTED_SETTINGS)
    refuse_many(len(table.texts), Path(path))
    names = [name.lower() for name in table.header]
    known = {"order", "name", "wavelength_nm", *(f"{u}{n}" for u in _UNITS for n in ("", "2"))}
    if not known.issuperset(names) or "order" not in names or "degrees" not in names:
        raise table.wrong(-1, "is not a table of settings", expected=_EXPECTED_SETTINGS)
    return tuple(
        _setting(table, k, dict(zip(names, table.row(k), strict=False)))
        for k in range(len(table.texts))
    )


_UNITS = ("degrees", "minutes", "seconds")


def _table(path: str | Path, expected: str) -> TextTable:
    table = tables.read(Path(path), empty="holds no rows below a header", expected=expected)
    if not table.texts:
        raise TableError("holds no rows below a header", file=path, expected=expected)
    return table


def _setting(table: TextTable, k: int, cells: dict[str, str]) -> CircleSetting:
    order = table.number(k, cells.get("order", ""))
    if order != int(order):
        expected = "a whole number, 0 for the straight-through image"
        raise table.wrong(k, "is not an order", cells["order"], expected)
    second = _angle(table, k, cells, "2") if cells.get("degrees2") else None
    name, stated = cells.get("name", ""), cells.get("wavelength_nm", "")
    known_m = table.number(k, stated) * 1e-9 if stated else None
    if known_m is not None and not 1e-8 < known_m < 1e-4:
        raise table.wrong(k, "is not a wavelength", stated, "nanometres, such as 546.075")
    name = name or (f"{stated} nm" if stated else "")
    return CircleSetting(int(order), _angle(table, k, cells, ""), second, name, known_m)


def _angle(table: TextTable, k: int, cells: dict[str, str], end: str) -> float:
    values = []
    for unit in _UNITS:
        cell = cells.get(unit + end, "")
        values.append(table.number(k, cell) if cell or unit == "degrees" else 0.0)
    if not (0 <= values[1] < 60 and 0 <= values[2] < 60):
        found = f"{values[1]:g}' {values[2]:g}\""
        raise table.wrong(
            k, "minutes or seconds are not from 0 to 60", found, "less than 60 of each"
        )
    return dms(*values)
