"""Tables in text files: a header that names the columns, below it rows of cells.

    # a densitometer's run
    x_mm; value
    0.0; 0.0123

Tabs, semicolons or commas separate, whichever the header holds. Lines that begin with # and empty
lines are remarks. What a header must say, and what numbers are right, is the reader's own matter.
"""

from __future__ import annotations

import codecs
import contextlib
import csv
import math
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wavesim.arrays import Offsets
from wavesim.errors import TableError
from wavesim.inputs import read_bounded
from wavesim.memory import require_memory

LENGTHS_M = {"m": 1.0, "mm": 1e-3, "um": 1e-6, "µm": 1e-6, "nm": 1e-9, "pm": 1e-12, "A": 1e-10}
MOST_ROWS = 12_000_000  # one for each of the most rulings that a grating may have
_MOST_BYTES = 200_000_000
_LONGEST = 20_000  # bytes of a line
_LINE_BYTES = 96  # at the peak of reading, for each line beside its text: places and numbers
_BLOCK = 1 << 16  # lines, or times 64 bytes, at a time
_NEWLINE, _RETURN, _REMARK = b"\n\r#"
_NOT_ASCII = 0x80  # from here on
_BLANK = np.array([chr(code).isspace() for code in range(_NOT_ASCII)] + [False] * _NOT_ASCII)
_COUNTS = ("no", "one", "two", "three", "four")


@dataclass(frozen=True, eq=False)
class TextLines:
    """Lines of a text that are no remarks and not empty, decoded when they are asked for.

    Attributes
    ----------
    content : the whole text, UTF-8
    first, beyond : (n,) where each begins and ends
    number : (n,) of each in the text, from 1
    """

    content: bytes
    first: Offsets
    beyond: Offsets
    number: Offsets

    def __len__(self) -> int:
        return self.first.size

    def __getitem__(self, k: int) -> str:
        return self.content[self.first[k] : self.beyond[k]].decode().strip()

    def __iter__(self) -> Iterator[str]:
        for block in range(0, len(self), _BLOCK):
            yield from self.block(block, block + _BLOCK)

    def block(self, first: int, beyond: int) -> list[str]:
        """Some of them."""
        a, b, n = self.first[first:beyond], self.beyond[first:beyond], self.number[first:beyond]
        if n.size and n[-1] - n[0] == n.size - 1:  # nothing is left out between them
            texts = self.content[a[0] : b[-1]].decode().replace("\r\n", "\n").split("\n")
            if len(texts) == n.size:
                return [text.strip() for text in texts]
        return [self.content[i:j].decode().strip() for i, j in np.stack([a, b], axis=1).tolist()]

    def after(self, k: int) -> TextLines:
        """Those from number k on."""
        return TextLines(self.content, self.first[k:], self.beyond[k:], self.number[k:])


@dataclass(frozen=True, eq=False)
class TextTable:
    """A table as text.

    Attributes
    ----------
    file : where it stands
    header : names of the columns, as written; a single one where nothing separates
    separator : what separates them
    header_line : of the file
    texts : (n,) rows as written
    """

    file: Path
    header: tuple[str, ...]
    separator: str
    header_line: int
    texts: TextLines

    def row(self, k: int) -> list[str]:
        """Cells of a row, without quotes and outer blanks."""
        return _split(self.texts[k], self.separator)

    def wrong(
        self, k: int, problem: str, value: object = None, expected: str | None = None
    ) -> TableError:
        """What is wrong with a row (the header: -1), with file and line."""
        line = int(self.texts.number[k]) if k >= 0 else self.header_line
        return TableError(problem, file=self.file, key=f"line {line}", value=value,
                          expected=expected)  # fmt: skip

    def number(self, k: int, cell: str) -> float:
        """A cell of a row as a finite number, or a TableError."""
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise self.wrong(k, "is not a number", cell, "a finite number")
        return value

    def numbers(self, columns: int, problem: str) -> npt.NDArray[np.float64]:
        """(n, columns) first cells of every row; `problem` says it where they are no numbers."""
        values = np.empty((len(self.texts), columns))
        for first in range(0, len(self.texts), _BLOCK):
            part, texts = values[first : first + _BLOCK], self.texts.block(first, first + _BLOCK)
            try:
                part[:] = _parsed(texts, self.separator, columns)
            except ValueError:  # a cell that is no number, or is one in another spelling
                for k, text in enumerate(texts):
                    cells = _split(text, self.separator)[:columns]
                    if len(cells) < columns or not all(map(_is_number, cells)):
                        expected = f"{_COUNTS[columns]} numbers with decimal points"
                        raise self.wrong(first + k, problem, text, expected) from None
                    part[k] = list(map(float, cells))
        return values

    def pairs(self, problem: str) -> npt.NDArray[np.float64]:
        """(n, 2) first two cells of every row as numbers; `problem` says it where they are none."""
        return self.numbers(2, problem)

    def check_finite(self, values: npt.NDArray[np.float64]) -> None:
        """Refuse rows (n, columns) that hold infinities or what is not a number."""
        bad = np.flatnonzero(~np.isfinite(values).all(axis=1))
        if bad.size:
            raise self.wrong(int(bad[0]), "is not finite", self.texts[bad[0]], "finite numbers")

    def check_rising(self, values: npt.NDArray[np.float64], problem: str) -> None:
        """Refuse fewer than two rows, and a number (n,) that is no larger than the one before."""
        if values.size < 2:
            raise TableError("has fewer than two rows", file=self.file, expected="two rows or more")
        bad = np.flatnonzero(np.diff(values) <= 0)
        if bad.size:
            k = int(bad[0]) + 1
            before = f"more than {float(values[k - 1])!r}"
            raise self.wrong(k, problem, float(values[k]), before)


def read(
    path: Path, *, empty: str, expected: str, separators: str = "\t;,", most_rows: int = MOST_ROWS
) -> TextTable:
    """A table of a UTF-8 text file below 200 MB.

    Parameters
    ----------
    empty, expected : what is wrong with a table without a header, and what would be right
    separators : the first of these that the header holds separates
    most_rows : that the table may have

    Raises
    ------
    TableError
        The file is missing, unreadable, too large, no text, has too many rows or a line far too
        long, or holds no line but remarks.
    LimitError
        Its lines would need more memory than is free.
    """
    lines = _lines(path)
    if not len(lines):
        raise TableError(empty, file=path, expected=expected)
    if len(lines) - 1 > most_rows:
        raise TableError(f"has {len(lines) - 1:,} rows", file=path,
                         expected=f"at most {most_rows:,}")  # fmt: skip
    head = lines[0]
    separator = next((s for s in separators if s in head), separators[-1])
    header = tuple(_split(head, separator))
    return TextTable(path, header, separator, int(lines.number[0]), lines.after(1))


def _lines(path: Path) -> TextLines:
    content = read_bounded(path, _MOST_BYTES, TableError, "a CSV file below 200 MB")
    count = content.count(b"\n") + content.count(b"\r") - content.count(b"\r\n")
    if count > MOST_ROWS:
        expected = f"at most {MOST_ROWS:,}"
        raise TableError(f"has {count:,} lines", file=path, expected=expected)
    need = len(content) + _LINE_BYTES * count
    require_memory(need, what=" for a table", key=None, file=path, expected="a shorter table")
    _check_text(content, path)
    first, ends = _ends(content)
    if content.startswith(codecs.BOM_UTF8):
        first[0] = len(codecs.BOM_UTF8)
    longest = int((ends - first).argmax())
    if ends[longest] - first[longest] > _LONGEST:
        raise TableError(
            f"has {ends[longest] - first[longest]:,} bytes in one line", file=path,
            key=f"line {longest + 1}", expected=f"at most {_LONGEST:,} in a line of a table",
        )  # fmt: skip
    rows = _of_rows(content, first, ends)
    return TextLines(content, first[rows], ends[rows], (np.flatnonzero(rows) + 1).astype(np.int32))


def _check_text(content: bytes, path: Path) -> None:
    """Refuse what is no UTF-8, a piece at a time."""
    if content.isascii():
        return
    decoder = codecs.getincrementaldecoder("utf-8")()
    try:
        for first in range(0, len(content), 64 * _BLOCK):
            decoder.decode(content[first : first + 64 * _BLOCK])
        decoder.decode(b"", final=True)
    except UnicodeDecodeError as error:
        raise TableError("is not text in UTF-8", file=path, expected="a CSV file") from error


def _ends(content: bytes) -> tuple[Offsets, Offsets]:
    """Where lines begin and end: at \\n, \\r or both, which end but one."""
    data, found = np.frombuffer(content, np.uint8), [np.full(1, -1, np.int32)]
    for first in range(0, data.size, 64 * _BLOCK):
        part = data[first : first + 64 * _BLOCK]
        at = np.flatnonzero((part == _NEWLINE) | (part == _RETURN)) + first
        found.append(at.astype(np.int32))
    at = np.append(np.concatenate(found), np.int32(data.size))
    beyond, begin = at[1:], at[:-1] + np.int32(1)
    empty = begin[1:-1] == beyond[1:-1]  # between two signs
    both = empty & (data[begin[1:-1] - 1] == _RETURN) & (data[beyond[1:-1]] == _NEWLINE)
    keep = np.append(np.insert(~both, 0, True), True) if at.size > 2 else np.ones(at.size - 1, bool)
    return begin[keep], beyond[keep]


def _of_rows(content: bytes, first: Offsets, beyond: Offsets) -> npt.NDArray[np.bool_]:
    """Which lines are rows: neither empty nor remarks. Their leading blanks are skipped."""
    data = np.frombuffer(content, np.uint8)
    rows = beyond > first
    blank = np.flatnonzero(rows)
    while (blank := blank[_BLANK[data[first[blank]]]]).size:
        first[blank] += 1
        rows[blank] = first[blank] < beyond[blank]
        blank = blank[rows[blank]]
    begin = data[first[rows]]
    unclear = np.flatnonzero(rows)[begin >= _NOT_ASCII]  # other blanks among them
    rows[rows] = begin != _REMARK
    for k in unclear.tolist():
        text = content[first[k] : beyond[k]].decode().strip()
        rows[k] = bool(text) and not text.startswith("#")
    return rows


def _is_number(cell: str) -> bool:
    try:
        float(cell)
    except ValueError:
        return False
    return True


def _parsed(texts: list[str], separator: str, columns: int) -> npt.NDArray[np.float64]:
    """(n, columns) first cells of rows; ValueError where they are not plain numbers."""
    found = np.loadtxt(
        texts, delimiter=separator, usecols=range(columns), comments=None, quotechar='"', ndmin=2
    )
    if len(found) != len(texts):
        raise ValueError("a quote goes on over the end of a line")
    return found


def _split(text: str, separator: str) -> list[str]:
    cells = text.split(separator)
    if '"' in text:
        with contextlib.suppress(csv.Error):  # a cell beyond all measure: as it stands
            cells = next(csv.reader([text], delimiter=separator))
    return [cell.strip() for cell in cells]
