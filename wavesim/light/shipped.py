"""The tables that are shipped with the package; data/README.md says where each comes from."""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path

import numpy as np

from wavesim.arrays import Floats

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


def frozen(values: Floats) -> Floats:
    """The same numbers, shared, in an array that cannot be written to."""
    view = values.view()
    view.flags.writeable = False
    return view
