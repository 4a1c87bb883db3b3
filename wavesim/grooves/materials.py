"""Optical constants: complex index n + i k over wavelength in vacuum, each with its source."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np

from wavesim import tables
from wavesim.arrays import Complexes, Floats
from wavesim.errors import LimitError
from wavesim.tables import LENGTHS_M

DATA = Path(__file__).parent / "data"
_MOST_ROWS = 100_000
_LEAST_N, _MOST_INDEX = 1e-3, 1000.0  # a wide margin about any substance in light

SHIPPED = {
    "aluminium": "aluminium_rakic1995",
    "aluminium-fresh": "aluminium_mcpeak2015",
    "silver": "silver_johnson1972",
    "silver-fresh": "silver_mcpeak2015",
    "gold": "gold_johnson1972",
    "gold-fresh": "gold_mcpeak2015",
    "chromium": "chromium_johnson1974",
    "nickel": "nickel_johnson1974",
    "magnesium fluoride": "magnesium_fluoride_dodge1984",
    "fused silica": "fused_silica_malitson1965",
    "crown glass": "crown_glass_nbk7_schott2017",
    "acrylic": "acrylic_pmma_beadie2015",
    "resin": "uv_curing_resin_joseph2020",
}


@dataclass(frozen=True, eq=False)
class OpticalMaterial:
    """A table of the complex index, or one index for all wavelengths.

    Attributes
    ----------
    name, source : what it is, and where the numbers are from
    wavelength_m : (n,) in vacuum, ascending [m]; empty for a constant
    index : (n,) n + i k, k >= 0; (1,) for a constant
    file : the table, for messages
    """

    name: str
    source: str
    wavelength_m: Floats
    index: Complexes
    file: Path | None = None

    def at(self, wavelength_m: Floats) -> Complexes:
        """Index at wavelengths in vacuum: cubic between the points, monotone (Fritsch & Carlson).

        Raises
        ------
        LimitError
            A wavelength lies outside the table.
        """
        if self.wavelength_m.size == 0:
            return np.full(np.shape(wavelength_m), self.index[0])
        self.check_covers(float(np.min(wavelength_m)), float(np.max(wavelength_m)))
        from scipy.interpolate import PchipInterpolator

        curve = PchipInterpolator(self.wavelength_m, self.index.view(np.float64).reshape(-1, 2))
        both = curve(wavelength_m)
        return np.asarray(both[..., 0] + 1j * both[..., 1])

    def check_covers(self, lo_m: float, hi_m: float) -> None:
        """Refuse wavelengths outside the table."""
        if self.wavelength_m.size == 0:
            return
        first, last = float(self.wavelength_m[0]), float(self.wavelength_m[-1])
        if lo_m < first * (1 - 1e-9) or hi_m > last * (1 + 1e-9):
            raise LimitError(
                f"{self.name}: its optical constants do not cover the wavelengths needed, "
                f"{lo_m * 1e9:.4g} to {hi_m * 1e9:.4g} nm",
                file=self.file,
                key="material",
                value=f"{first * 1e9:.4g} to {last * 1e9:.4g} nm",
                expected="a table that covers them, or a filter that keeps the light within it",
            )

    @property
    def metallic(self) -> bool:
        """Whether it absorbs strongly somewhere in its table."""
        return bool(np.max(self.index.imag) > 0.05)


def constant(index: complex, name: str = "") -> OpticalMaterial:
    """One index for all wavelengths."""
    text = name or f"index {index:g}"
    return OpticalMaterial(text, "given", np.empty(0), np.array([index], dtype=np.complex128))


@cache
def shipped(name: str) -> OpticalMaterial:
    """A material of the tables that come with the program.

    Raises
    ------
    LimitError
        No such material.
    """
    if name not in SHIPPED:
        raise LimitError(
            "is not a known material",
            key="material",
            value=name,
            expected=f"one of {', '.join(sorted(SHIPPED))}, or a file",
        )
    path = DATA / f"optical_constants_{SHIPPED[name]}.csv"
    return read(path, name=name)


def read(path: Path, *, name: str = "") -> OpticalMaterial:
    """A table with the header `wavelength_UNIT,n,k`, wavelengths in vacuum; # begins a remark.

    Raises
    ------
    TableError
        Missing or unreadable file, an unknown header, wavelengths that do not ascend, n or k
        that no substance has, or a row that is not three numbers: with file and line.
    """
    expected = "the header wavelength_nm,n,k"
    table = tables.read(
        path, empty="is empty", expected=expected, separators=",", most_rows=_MOST_ROWS
    )
    unit = table.header[0].lower().removeprefix("wavelength_").removeprefix("vacuum_")
    heads = [text.lower() for text in table.header[1:3]]
    if heads != ["n", "k"] or unit not in LENGTHS_M or unit == table.header[0].lower():
        raise table.wrong(-1, "is not a table of optical constants", expected=expected)
    values = table.numbers(3, "is not a row of three numbers")
    table.check_finite(values)
    _, n, k = values.T
    bad = np.flatnonzero((n < _LEAST_N) | (n > _MOST_INDEX) | (k < 0) | (k > _MOST_INDEX))
    if bad.size:
        expected = f"n of {_LEAST_N:g} to {_MOST_INDEX:,.0f} and k of 0 to {_MOST_INDEX:,.0f}"
        raise table.wrong(int(bad[0]), "is not an index", table.texts[bad[0]], expected)
    table.check_rising(values[:, 0], "wavelength does not ascend")
    index = values[:, 1] + 1j * values[:, 2]
    return OpticalMaterial(
        name or path.stem, _source(path), values[:, 0] * LENGTHS_M[unit], index, path
    )


def _source(path: Path) -> str:
    """The line of a table's head that begins "# Source:"."""
    with path.open(encoding="utf-8", errors="replace") as stream:
        for line in stream:
            if line.startswith("# Source:"):
                return line.removeprefix("# Source:").strip()
            if not line.startswith("#"):
                break
    return str(path.name)
