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

import math
import re
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wavesim.errors import TableError
from wavesim.light import air

Reals = NDArray[np.float64]

LENGTHS_M = {"m": 1.0, "mm": 1e-3, "um": 1e-6, "µm": 1e-6, "nm": 1e-9, "pm": 1e-12, "A": 1e-10}
_WAVELENGTH = re.compile(r"wavelength(_air|_vacuum)?_(\S+)", re.IGNORECASE)
_DENSITY = re.compile(r"(radiance_W_m-2_sr-1|irradiance_W_m-2)_(\S+?)-1", re.IGNORECASE)
_RIGHT = 'a header such as "wavelength_nm,relative" or "wavelength_nm,radiance_W_m-2_sr-1_nm-1"'
_RIGHT_FILTER = 'a header such as "wavelength_nm,transmittance" or "wavelength_nm,density"'
_MOST_BYTES = 200_000_000


@dataclass(frozen=True)
class Measured:
    """Air wavelength [m], ascending, and values; (n,) both. `quantity` names what they are:
    "relative", "radiance" [W m-2 sr-1 m-1], "irradiance" [W m-2 m-1] or "transmittance"."""

    wavelength_m: Reals
    value: Reals
    quantity: str


def source_table(path: Path) -> Measured:
    """A measured spectrum.

    Raises
    ------
    TableError
        Missing or unreadable file, unknown header, a row that is not two numbers, wavelengths
        that do not ascend, negative or non-finite values: with file and line.
    """
    wavelength, value, second = _read(path, _RIGHT)
    if second.lower() == "relative":
        return Measured(wavelength, value, "relative")
    found = _DENSITY.fullmatch(second)
    if found is None or found.group(2) not in LENGTHS_M:
        raise TableError("unknown second column", file=path, key="line 1", value=second,
                         expected=_RIGHT)  # fmt: skip
    unit = LENGTHS_M[found.group(2)]
    return Measured(wavelength, value / unit, found.group(1).split("_")[0].lower())


def filter_table(path: Path) -> Measured:
    """A measured filter, as transmittance. Densities become 10^-density at each point.

    Raises
    ------
    TableError
        As `source_table`; also a transmittance above 1.
    """
    wavelength, value, second = _read(path, _RIGHT_FILTER)
    kind = second.lower()
    if kind == "density":
        return Measured(wavelength, 10.0**-value, "transmittance")
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
    return Measured(wavelength, value, "transmittance")


def _read(path: Path, right: str) -> tuple[Reals, Reals, str]:
    numbered = [
        (number, line.strip())
        for number, line in enumerate(_text(path).splitlines(), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not numbered:
        raise TableError("is empty", file=path, expected=right)
    header_line, header = numbered[0]
    separator = next((s for s in "\t;," if s in header), None)
    names = [name.strip().strip('"') for name in header.split(separator)] if separator else []
    found = _WAVELENGTH.fullmatch(names[0]) if len(names) > 1 else None
    if found is None or found.group(2) not in LENGTHS_M or separator is None:
        raise TableError("has no header that names its columns and units", file=path,
                         key=f"line {header_line}", value=header, expected=right)  # fmt: skip
    rows = np.array([_row(path, n, line, separator) for n, line in numbered[1:]]).reshape(-1, 2)
    _check_wavelengths(path, [n for n, _ in numbered[1:]], rows[:, 0])
    wavelength = rows[:, 0] * LENGTHS_M[found.group(2)]
    if wavelength[0] < 1e-8 or wavelength[-1] > 1e-3:
        raise TableError("wavelengths are far from light", file=path, value=names[0],
                         expected="the unit of the first column in its header")  # fmt: skip
    if (found.group(1) or "").lower() == "_vacuum":
        wavelength = air.from_vacuum(wavelength)
    return wavelength, rows[:, 1], names[1]


def _text(path: Path) -> str:
    try:
        if path.stat().st_size > _MOST_BYTES:
            raise TableError("is too large for a table", file=path, expected="less than 200 MB")
        return path.read_text(encoding="utf-8-sig")
    except OSError as error:
        reason = error.strerror or str(error)
        raise TableError(f"cannot be read: {reason}", file=path, expected="a CSV file") from error
    except UnicodeDecodeError as error:
        raise TableError("is not text in UTF-8", file=path, expected="a CSV file") from error


def _row(path: Path, number: int, line: str, separator: str) -> tuple[float, float]:
    place = f"line {number}"
    cells = [cell.strip() for cell in line.split(separator)]
    try:
        wavelength, value = float(cells[0]), float(cells[1])
    except (ValueError, IndexError):
        hint = "two numbers with decimal points"
        raise TableError("is not a row of numbers", file=path, key=place, value=line,
                         expected=hint) from None  # fmt: skip
    if not (math.isfinite(wavelength) and wavelength > 0.0):
        raise TableError("wavelength is not a positive number", file=path, key=place,
                         value=cells[0])  # fmt: skip
    if not (math.isfinite(value) and value >= 0.0):
        raise TableError("value is negative or not a number", file=path, key=place,
                         value=cells[1], expected="0 or more")  # fmt: skip
    return wavelength, value


def _check_wavelengths(path: Path, numbers: list[int], wavelength: Reals) -> None:
    if wavelength.size < 2:
        raise TableError("has fewer than two rows", file=path, expected="two rows or more")
    bad = np.flatnonzero(np.diff(wavelength) <= 0.0)
    if bad.size:
        raise TableError(
            "wavelength does not ascend",
            file=path,
            key=f"line {numbers[bad[0] + 1]}",
            value=float(wavelength[bad[0] + 1]),
            expected=f"more than {float(wavelength[bad[0]])!r}",
        )
