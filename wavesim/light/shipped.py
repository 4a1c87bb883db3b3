"""The tables that are shipped with the package; data/README.md says where each comes from."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np

from wavesim.arrays import Floats, frozen

DATA = Path(__file__).parent / "data"


@cache
def rows(name: str) -> list[dict[str, str]]:
    """The rows of a table of texts, by the names of its columns."""
    with (DATA / name).open(newline="") as stream:
        return list(csv.DictReader(stream))


def curves(path: Path) -> tuple[Floats, Floats]:
    """Wavelengths (n,) [m] and curves (n, c) of a table whose first column is in nm.

    Shared between callers: neither can be written to.
    """
    table = np.loadtxt(path, delimiter=",", skiprows=1)
    return frozen(table[:, 0] * 1e-9), frozen(np.ascontiguousarray(table[:, 1:]))
