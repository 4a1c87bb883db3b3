"""The measured table: ghosts of known lines in several orders, from a CSV file.

    order, offset [orders], strength          order, line [nm], ghost [nm], strength
    1, 0.0104166, 5.68e-5                     1, 546.075, 551.763, 5.68e-5

`offset` is the ghost's position less its line's, in orders; or `line` is the true wavelength and
`ghost` the one that the ghost would be taken for in that order. `strength` is relative to the line.
Columns `offset error [orders]` (or `ghost error [nm]`) and `strength error` may follow.
"""

from __future__ import annotations

from dataclasses import dataclass, fields
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wavesim import tables
from wavesim.arrays import Floats
from wavesim.errors import TableError

_OFFSET_ERROR = 1e-3  # of the offset, where the table gives none
_STRENGTH_ERROR = 0.03  # of the strength, where the table gives none
_MOST_ORDERS = 10_000
_MOST_GHOSTS = 2000  # all apart, a diagnosis of them takes a quarter of a minute
_LEAST = 1e-60  # its fourth power is still a number
_EXPECTED = (
    "a CSV table with the columns order, offset [orders] (or line [nm] and ghost [nm]) and strength"
)


@dataclass(frozen=True, eq=False)
class GhostTable:
    """Ghosts as measured; all arrays (n,).

    Attributes
    ----------
    order : m of the line
    offset : of the ghost from its line [orders]
    offset_error : standard error [orders]
    strength : over the line's
    strength_error : standard error
    """

    order: Floats
    offset: Floats
    offset_error: Floats
    strength: Floats
    strength_error: Floats

    def part(self, rows: npt.NDArray[np.intp]) -> GhostTable:
        """Some of the ghosts."""
        return GhostTable(**{name: values[rows] for name, values in vars(self).items()})


def read(*paths: str | Path) -> GhostTable:
    """Read tables of ghosts, one after the other, as one.

    Raises
    ------
    TableError
        A file is missing, a column is missing, a number is out of range, or ghosts are too many.
    """
    tables = [_read(Path(path)) for path in paths]
    _refuse_many(sum(table.order.size for table in tables), *paths)
    names = (field.name for field in fields(GhostTable))
    return GhostTable(
        **{name: np.concatenate([getattr(table, name) for table in tables]) for name in names}
    )


def _refuse_many(ghosts: int, *paths: str | Path) -> None:
    if ghosts > _MOST_GHOSTS:
        raise TableError(
            f"holds {ghosts:,} ghosts", file=", ".join(map(str, paths)),
            expected=f"at most {_MOST_GHOSTS:,}: keep the strongest of each order",
        )  # fmt: skip


def _read(path: Path) -> GhostTable:
    columns = _columns(path)
    order = _needed(columns, "order", path)
    strength = _needed(columns, "strength", path)
    if "offset [orders]" in columns:
        offset, wide = columns["offset [orders]"], columns.get("offset error [orders]")
    else:
        line, ghost = _needed(columns, "line [nm]", path), _needed(columns, "ghost [nm]", path)
        _above_zero(path, **{"line [nm]": line, "ghost [nm]": ghost})
        offset = order * (ghost / line - 1)
        error = columns.get("ghost error [nm]")
        wide = None if error is None else np.abs(order) * error / line
    _check(path, order, offset, strength)
    wide = np.abs(offset) * _OFFSET_ERROR if wide is None else wide
    doubt = columns.get("strength error", strength * _STRENGTH_ERROR)
    _above_zero(path, **{"offset error": wide, "strength error": doubt})
    return GhostTable(
        order=order,
        offset=offset,
        offset_error=wide,
        strength=strength,
        strength_error=doubt,
    )


def _columns(path: Path) -> dict[str, Floats]:
    table = tables.read(path, empty="holds no ghosts", expected=_EXPECTED)
    if not table.texts:
        raise TableError("holds no ghosts", file=path, expected=_EXPECTED)
    _refuse_many(len(table.texts), path)
    values = np.empty((len(table.texts), len(table.header)))
    for k in range(len(table.texts)):
        cells = table.row(k)
        if len(cells) != len(table.header):
            raise table.wrong(
                k, "has a row whose length differs from that of the header", expected=_EXPECTED
            )
        values[k] = [table.number(k, cell) for cell in cells]
    return {name.lower(): values[:, k] for k, name in enumerate(table.header)}


def _needed(columns: dict[str, Floats], name: str, path: Path) -> Floats:
    if name not in columns:
        raise TableError(f"has no column {name!r}", file=path, expected=_EXPECTED)
    return columns[name]


def _check(path: Path, order: Floats, offset: Floats, strength: Floats) -> None:
    if np.any(order != np.rint(order)) or np.any(np.abs(order) > _MOST_ORDERS):
        raise TableError(
            "holds an order that is not a plausible whole number", file=path, key="order",
            expected=f"whole numbers up to {_MOST_ORDERS:,}",
        )  # fmt: skip
    if np.any(offset == 0):
        raise TableError("holds a ghost on its own line", file=path, key="offset [orders]")
    if np.any(np.abs(offset) > _MOST_ORDERS):
        raise TableError(
            "holds a ghost that is nowhere near its line", file=path, key="offset [orders]",
            value=float(np.abs(offset).max()), expected=f"up to {_MOST_ORDERS:,} orders",
        )  # fmt: skip
    _above_zero(path, strength=strength)


def _above_zero(path: Path, **columns: Floats) -> None:
    """Refuse numbers that are not above zero, or beyond what can be squared."""
    for name, values in columns.items():
        if np.any(values <= 0):
            raise TableError(f"holds a {name} that is not above zero", file=path, key=name)
        if np.any((values < _LEAST) | (values > 1 / _LEAST)):
            raise TableError(
                f"holds a {name} outside any plausible range", file=path, key=name,
                expected=f"from {_LEAST:g} to {1 / _LEAST:g}",
            )  # fmt: skip
