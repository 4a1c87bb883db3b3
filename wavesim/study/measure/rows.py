"""Tables: frozen rows that turn into plain dictionaries, JSON or a pandas frame."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import TYPE_CHECKING, Generic, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance
    from pandas import DataFrame  # type: ignore[import-untyped,unused-ignore]

    _Row = TypeVar("_Row", bound=DataclassInstance)
else:
    _Row = TypeVar("_Row")


@dataclass(frozen=True)
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


def plain(row: DataclassInstance) -> dict[str, object]:
    """A row as a dictionary of numbers, texts, lists and None."""
    return {f.name: _plain(getattr(row, f.name)) for f in dataclasses.fields(row)}


def _plain(value: object) -> object:
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return plain(value)
    if hasattr(value, "tolist"):
        return value.tolist()
    return value
