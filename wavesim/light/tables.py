"""Measured spectra and filters from CSV files whose header names the units.

    wavelength_nm, radiance_W_m-2_sr-1_nm-1
    380.0, 0.0123
    ...

First column: `wavelength_UNIT`, `wavelength_air_UNIT` or `wavelength_vacuum_UNIT`, with UNIT m, mm,
um, nm, pm or A. Second column, of a source: `relative`, or `radiance_W_m-2_sr-1_UNIT-1`, or
`irradiance_W_m-2_UNIT-1`; of a filter: `transmittance`, `transmittance_percent` or `density`.
Commas, semicolons or tabs separate; lines that begin with # and further columns are ignored.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from wavesim import tables
from wavesim.arrays import Floats
from wavesim.errors import TableError
from wavesim.light import air
from wavesim.tables import LENGTHS_M, TextTable

_WAVELENGTH = re.compile(r"wavelength(_air|_vacuum)?_(\S+)", re.IGNORECASE)
_DENSITY = re.compile(r"(radiance_W_m-2_sr-1|irradiance_W_m-2)_(\S+?)-1", re.IGNORECASE)
_LARGEST = 1e100  # sums and products of values stay finite
_EXPECTED = 'a header such as "wavelength_nm,relative" or "wavelength_nm,radiance_W_m-2_sr-1_nm-1"'
_RIGHT_FILTER = 'a header such as "wavelength_nm,transmittance" or "wavelength_nm,density"'


@dataclass(frozen=True)
class MeasuredTable:
    """Air wavelength [m], ascending, and values; (n,) both. `quantity` names what they are:
    "relative", "radiance" [W m-2 sr-1 m-1], "irradiance" [W m-2 m-1] or "transmittance"."""

    wavelength_m: Floats
    value: Floats
    quantity: str


def source_table(path: Path) -> MeasuredTable:
    """A measured spectrum.

    Raises
    ------
    TableError
        Missing or unreadable file, unknown header, a row that is not two numbers, wavelengths
        that do not ascend, negative or non-finite values: with file and line.
    """
    wavelength, value, second = _read(path, _EXPECTED)
    if second.lower() == "relative":
        return MeasuredTable(wavelength, value, "relative")
    found = _DENSITY.fullmatch(second)
    if found is None or found.group(2) not in LENGTHS_M:
        raise TableError("unknown second column", file=path, key="line 1", value=second,
                         expected=_EXPECTED)  # fmt: skip
    unit = LENGTHS_M[found.group(2)]
    return MeasuredTable(wavelength, value / unit, found.group(1).split("_")[0].lower())


def filter_table(path: Path) -> MeasuredTable:
    """A measured filter, as transmittance. Densities become 10^-density at each point.

    Raises
    ------
    TableError
        As `source_table`; also a transmittance above 1.
    """
    wavelength, value, second = _read(path, _RIGHT_FILTER)
    kind = second.lower()
    if kind == "density":
        return MeasuredTable(wavelength, 10.0**-value, "transmittance")
    if kind not in ("transmittance", "transmittance_percent"):
        raise TableError("unknown second column", file=path, key="line 1", value=second,
                         expected=_RIGHT_FILTER)  # fmt: skip
    if kind.endswith("percent"):
        value = value / 100.0
    if value.max() > 1.0:
        raise TableError(
            "a transmittance is above 1",
            file=path,
            value=float(value.max()),
            expected="values from 0 to 1, or the header transmittance_percent",
        )
    return MeasuredTable(wavelength, value, "transmittance")


def _read(path: Path, expected: str) -> tuple[Floats, Floats, str]:
    table = tables.read(path, empty="is empty", expected=expected)
    found = _WAVELENGTH.fullmatch(table.header[0]) if len(table.header) > 1 else None
    if found is None or found.group(2) not in LENGTHS_M:
        problem = "has no header that names its columns and units"
        raise table.wrong(-1, problem, expected=expected)
    rows = table.pairs("is not a row of numbers")
    _check(table, rows)
    wavelength = rows[:, 0] * LENGTHS_M[found.group(2)]
    if wavelength[0] < 1e-8 or wavelength[-1] > 1e-3:
        raise TableError("wavelengths are far from the visible", file=path, value=table.header[0],
                         expected="the unit of the first column in its header")  # fmt: skip
    if (found.group(1) or "").lower() == "_vacuum":
        wavelength = air.from_vacuum(wavelength)
    return wavelength, rows[:, 1], table.header[1]


def _check(table: TextTable, rows: Floats) -> None:
    wavelength, value = rows.T
    for column, valid, problem, allowed in (
        (0, wavelength > 0, "wavelength is not a positive number", "more than 0"),
        (1, value >= 0, "value is negative or not a number", "0 or more"),
        (1, value <= _LARGEST, "value is out of range", f"at most {_LARGEST:g}"),
    ):
        bad = np.flatnonzero(~(valid & np.isfinite(rows[:, column])))
        if bad.size:
            raise table.wrong(int(bad[0]), problem, table.row(int(bad[0]))[column], allowed)
    table.check_rising(wavelength, "wavelength does not ascend")
