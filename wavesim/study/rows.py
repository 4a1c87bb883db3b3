"""Tables: frozen rows that turn into plain dictionaries, JSON, a pandas frame or a page."""

from __future__ import annotations

import dataclasses
import html
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance
    from pandas import DataFrame  # type: ignore[import-untyped,unused-ignore]

    _Row = TypeVar("_Row", bound=DataclassInstance)
else:
    _Row = TypeVar("_Row")

_MOST_SHOWN = 100  # rows of a page


@dataclass(frozen=True, repr=False)
class Table(Generic[_Row]):
    """Rows of one kind, in order.

    Attributes
    ----------
    rows : the rows, frozen dataclasses whose fields end in their units
    """

    rows: tuple[_Row, ...]

    def __len__(self) -> int:
        return len(self.rows)

    def as_dicts(self) -> list[dict[str, object]]:
        """One dictionary a row, ready for `json.dumps` or `pandas.DataFrame`."""
        return [plain(row) for row in self.rows]

    def to_pandas(self) -> DataFrame:
        """The table as a pandas frame (pandas must be installed; it is imported only here)."""
        import pandas

        return pandas.DataFrame(self.as_dicts())

    def __repr__(self) -> str:
        return f"<{type(self).__name__}: {len(self)} rows>"

    def _repr_html_(self) -> str:
        """The table, as Jupyter shows it."""
        return html_table(self.as_dicts())


def plain(row: DataclassInstance) -> dict[str, object]:
    """A row as a dictionary of numbers, texts, lists and None."""
    return {f.name: _plain(getattr(row, f.name)) for f in dataclasses.fields(row)}


def html_table(rows: Sequence[dict[str, object]], title: str = "") -> str:
    """Rows as HTML, SI numbers to seven digits; columns in which no row says anything left out."""
    names = [
        name for name in (rows[0] if rows else ()) if any(row[name] not in _NOTHING for row in rows)
    ]
    head = "".join(f"<th>{html.escape(name)}</th>" for name in names)
    body = "".join(f"<tr>{_cells(row, names)}</tr>" for row in rows[:_MOST_SHOWN])
    rest = len(rows) - _MOST_SHOWN
    more = f"<p>{rest:,} more rows</p>" if rest > 0 else ""
    caption = f"<caption>{html.escape(title)}</caption>" if title else ""
    return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"


_NOTHING: tuple[object, ...] = (None, "", [])


def _cells(row: dict[str, object], names: Sequence[str]) -> str:
    return "".join(f"<td>{html.escape(_shown(row[name]))}</td>" for name in names)


def _shown(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.7g}"
    return "" if value is None else str(value)


def _plain(value: object) -> object:
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return plain(value)
    if hasattr(value, "tolist"):
        return value.tolist()
    return value
