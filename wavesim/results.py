"""What studies and measurements give back: a title, sentences, tables, a record.

    found = wavesim.predict(scene)
    found                            its title and sentences, on one screen
    found.sentences, found.tables    as the command prints them
    found.record()                   plain values in SI units, ready for JSON

The numbers themselves are the fields of each result; its tables hold them in words.
"""

from __future__ import annotations

import dataclasses
import html
import textwrap
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, ClassVar, Generic, TypeVar

if TYPE_CHECKING:
    from _typeshed import DataclassInstance
    from pandas import DataFrame  # type: ignore[import-untyped,unused-ignore]

    _Row = TypeVar("_Row", bound=DataclassInstance)
else:
    _Row = TypeVar("_Row")

WIDTH = 80  # columns of a page without a terminal
_LABEL = 12
_MOST_SHOWN = 100  # rows of a page
_SCREEN = 24  # lines of a `repr`
_GAP = 2  # between columns
_LEAST_WRAPPED = 14  # width of a column whose text may be broken


@dataclass(frozen=True)
class Sentence:
    """One thing that a result says; `label` names its subject and may be empty."""

    label: str
    text: str


@dataclass(frozen=True)
class Column:
    """Heading of a column; `unit` of all its cells, `wraps` where they are text of any length."""

    name: str
    unit: str = ""
    wraps: bool = False


@dataclass(frozen=True)
class Listing:
    """A table as it is printed.

    Attributes
    ----------
    title : what the rows are
    columns : their headings and units; the first one names the row
    rows : a text for each column
    """

    title: str
    columns: tuple[Column, ...]
    rows: tuple[tuple[str, ...], ...]

    def text(self, width: int = WIDTH) -> str:
        """The table, at most `width` columns wide; what does not fit follows below.

        The first column is repeated in each part; columns without an entry are left out.
        """
        parts = [self._block(chosen, width) for chosen in self._blocks(width)]
        return "\n\n".join(["\n".join([*textwrap.wrap(self.title, width), parts[0]]), *parts[1:]])

    def _blocks(self, width: int) -> Iterator[list[int]]:
        """Numbers of the columns of each part."""
        least = [self._least(k) for k in range(len(self.columns))]
        chosen, used = [0], least[0]
        for k in range(1, len(self.columns)):
            if self.rows and all(row[k] in ("", "-") for row in self.rows):
                continue
            if len(chosen) > 1 and used + _GAP + least[k] > width:
                yield chosen
                chosen, used = [0], least[0]
            chosen.append(k)
            used += _GAP + least[k]
        yield chosen

    def _least(self, k: int) -> int:
        """Width below which a column cannot be drawn."""
        natural = self._natural(k)
        return min(natural, _LEAST_WRAPPED) if self.columns[k].wraps else natural

    def _natural(self, k: int) -> int:
        """Width that a column asks for."""
        column = self.columns[k]
        texts = (line for row in self.rows for line in row[k].split("\n"))
        return max(map(len, [*column.name.split("\n"), column.unit, *texts]))

    def _block(self, chosen: list[int], width: int) -> str:
        from rich import box
        from rich.console import Console
        from rich.table import Table as Drawn

        drawn = Drawn(
            box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, padding=(0, 1, 0, 0),
            header_style="",
        )  # fmt: skip
        lines = max(len(self.columns[k].name.split("\n")) for k in chosen)
        for k in chosen:
            column = self.columns[k]
            name = "\n" * (lines - len(column.name.split("\n"))) + column.name
            heading = f"{name}\n{column.unit}" if self._has_units(chosen) else name
            drawn.add_column(
                heading,
                justify="left" if column.wraps or self._names(k) else "right",
                no_wrap=not column.wraps,
                overflow="fold",
            )
        for row in self.rows:
            drawn.add_row(*(printable(row[k]) for k in chosen))
        console = Console(width=width, highlight=False, markup=False, color_system=None)
        with console.capture() as captured:
            console.print(drawn)
        return "\n".join(line.rstrip() for line in captured.get().rstrip("\n").split("\n"))

    def _names(self, k: int) -> bool:
        """Whether a column is the first one and holds no numbers."""
        return k == 0 and not all(row[0].lstrip("+-")[:1].isdigit() for row in self.rows)

    def _has_units(self, chosen: list[int]) -> bool:
        return any(self.columns[k].unit for k in chosen)

    def to_html(self) -> str:
        """The table as HTML, a hundred rows at the most."""
        heads = (f"{c.name} [{c.unit}]" if c.unit else c.name for c in self.columns)
        head = "".join(f"<th>{html.escape(name)}</th>" for name in heads)
        body = "".join(
            "<tr>" + "".join(f"<td>{html.escape(cell)}</td>" for cell in row) + "</tr>"
            for row in self.rows[:_MOST_SHOWN]
        )
        return _page(self.title, head, body, len(self.rows))


class Result:
    """What a study or a measurement found.

    A subclass gives, in `report`, its sentences and tables in the order in which they are read;
    `title` is that of the scene, where it has one.
    """

    def report(self) -> Iterable[Sentence | Listing]:
        """Sentences and tables, in order."""
        raise NotImplementedError

    @property
    def heading(self) -> str:
        """What it is, and of which scene: "prediction of 'Five slits'"."""
        title = getattr(self, "title", "")
        return f"{self.kind} of {title!r}" if title else self.kind

    kind: ClassVar[str]  # what it is, in a word or two: "prediction"

    @property
    def sentences(self) -> tuple[Sentence, ...]:
        """All that is said in words."""
        return tuple(part for part in self.report() if isinstance(part, Sentence))

    @property
    def tables(self) -> tuple[Listing, ...]:
        """All tables."""
        return tuple(part for part in self.report() if isinstance(part, Listing))

    def record(self) -> dict[str, object]:
        """All its values as plain numbers, texts, lists and dictionaries, SI."""
        return plain(self)  # type: ignore[arg-type]

    def text(self, width: int = WIDTH) -> str:
        """Sentences and tables as the command prints them."""
        return paragraphs(self.report(), width)

    def __repr__(self) -> str:
        listed = [
            Sentence("table", f"{item.title} ({len(item.rows)} rows)") for item in self.tables
        ]
        lines = labelled([*self.sentences, *listed], WIDTH).split("\n")
        if len(lines) > _SCREEN - 2:
            lines = [*lines[: _SCREEN - 3], "..."]
        return "\n".join([f"<{self.heading}>", *lines])

    def _repr_html_(self) -> str:
        """Title, sentences and tables, as Jupyter shows them."""
        rows = "".join(
            f"<tr><th>{html.escape(item.label)}</th><td>{html.escape(item.text)}</td></tr>"
            for item in self.sentences
        )
        heading = html.escape(self.heading)
        out = f"<h4>{heading}</h4><table><tbody>{rows}</tbody></table>"
        return out + "".join(item.to_html() for item in self.tables)


def paragraphs(parts: Iterable[Sentence | Listing], width: int = WIDTH) -> str:
    """Sentences and tables as they are printed."""
    return "\n\n".join(_paragraphs(parts, width))


def _paragraphs(parts: Iterable[Sentence | Listing], width: int) -> Iterator[str]:
    """Tables, and sentences that follow one another as one paragraph."""
    out: list[Sentence] = []
    for part in parts:
        if isinstance(part, Sentence):
            out.append(part)
            continue
        if out:
            yield labelled(out, width)
            out = []
        yield part.text(width)
    if out:
        yield labelled(out, width)


def labelled(sentences: Iterable[Sentence], width: int = WIDTH) -> str:
    """Sentences under one another, the texts wrapped and aligned behind their labels."""
    return "\n".join(
        textwrap.fill(
            printable(item.text),
            width,
            initial_indent=f"{item.label:<{_LABEL}}",
            subsequent_indent=" " * _LABEL,
            break_long_words=False,
            break_on_hyphens=False,
        )
        for item in sentences
    )


def printable(text: str) -> str:
    """Text in which nothing can steer a terminal."""
    return "".join(c if c.isprintable() or c == "\n" else "\N{REPLACEMENT CHARACTER}" for c in text)


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
    return _page(title, head, body, len(rows))


def _page(title: str, head: str, body: str, rows: int) -> str:
    more = f"<p>{rows - _MOST_SHOWN:,} more rows</p>" if rows > _MOST_SHOWN else ""
    caption = f"<caption>{html.escape(title)}</caption>" if title else ""
    return f"<table>{caption}<thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{more}"


_NOTHING: tuple[object, ...] = (None, "", [])


def _cells(row: dict[str, object], names: Sequence[str]) -> str:
    return "".join(f"<td>{html.escape(_shown(row[name]))}</td>" for name in names)


def _shown(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.7g}"
    return "" if value is None else str(value)


def _plain(value: Any) -> object:
    if isinstance(value, tuple):
        return [_plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return plain(value)
    if hasattr(value, "tolist"):
        return value.tolist()
    return value
