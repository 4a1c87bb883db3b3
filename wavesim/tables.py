"""Tables in text files: a header that names the columns, below it rows of cells.

    # a densitometer's run
    x_mm; value
    0.0; 0.0123

Tabs, semicolons or commas separate, whichever the header holds. Lines that begin with # and empty
lines are remarks. What a header must say, and what numbers are right, is the reader's own matter.
"""

from __future__ import annotations

import contextlib
import csv
import math
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wavesim.errors import TableError
from wavesim.inputs import read_bounded
from wavesim.memory import require_memory

LENGTHS_M = {"m": 1.0, "mm": 1e-3, "um": 1e-6, "µm": 1e-6, "nm": 1e-9, "pm": 1e-12, "A": 1e-10}
_MOST_BYTES = 200_000_000
_MOST_LINES = 12_000_000  # one for each of the most rulings that a grating may have
_LINE_BYTES = 260  # at the peak of reading, for each line beside its text


@dataclass(frozen=True)
class TextTable:
    """A table as text.

    Attributes
    ----------
    file : where it stands
    header : names of the columns, as written; a single one where nothing separates
    separator : what separates them
    line_numbers : (n + 1,) lines of the file, that of the header first
    texts : (n,) rows as written
    """

    file: Path
    header: tuple[str, ...]
    separator: str
    line_numbers: tuple[int, ...]
    texts: tuple[str, ...]

    def row(self, k: int) -> list[str]:
        """Cells of a row, without quotes and outer blanks."""
        return _split(self.texts[k], self.separator)

    def wrong(
        self, k: int, problem: str, value: object = None, expected: str | None = None
    ) -> TableError:
        """What is wrong with a row (the header: -1), with file and line."""
        location = f"line {self.line_numbers[k + 1]}"
        return TableError(problem, file=self.file, key=location, value=value, expected=expected)

    def number(self, k: int, cell: str) -> float:
        """A cell of a row as a finite number, or a TableError."""
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if not math.isfinite(value):
            raise self.wrong(k, "is not a number", cell, "a finite number")
        return value

    def pairs(self, problem: str) -> npt.NDArray[np.float64]:
        """(n, 2) first two cells of every row as numbers; `problem` says it where they are none."""
        values = np.empty((len(self.texts), 2))
        for k in range(len(self.texts)):
            cells = self.row(k)
            try:
                values[k] = float(cells[0]), float(cells[1])
            except (ValueError, IndexError):
                hint = "two numbers with decimal points"
                raise self.wrong(k, problem, self.texts[k], hint) from None
        return values

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


def read(path: Path, *, empty: str, expected: str, separators: str = "\t;,") -> TextTable:
    """A table of a UTF-8 text file below 200 MB.

    Parameters
    ----------
    empty, right : what is wrong with a table without a header, and what would be right
    separators : the first of these that the header holds separates

    Raises
    ------
    TableError
        The file is missing, unreadable, too large, no text, or holds no line but remarks.
    LimitError
        Its lines would need more memory than is free.
    """
    numbered = [
        (number, line.strip())
        for number, line in enumerate(_lines(path), start=1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    if not numbered:
        raise TableError(empty, file=path, expected=expected)
    line_numbers, texts = zip(*numbered, strict=True)
    separator = next((s for s in separators if s in texts[0]), separators[-1])
    return TextTable(path, tuple(_split(texts[0], separator)), separator, line_numbers, texts[1:])


def _lines(path: Path) -> list[str]:
    content = read_bounded(path, _MOST_BYTES, TableError, "a CSV file below 200 MB")
    lines = content.count(b"\n") + content.count(b"\r")
    if lines > _MOST_LINES:
        expected = f"at most {_MOST_LINES:,}"
        raise TableError(f"has {lines:,} lines", file=path, expected=expected)
    need = 6 * len(content) + _LINE_BYTES * lines
    require_memory(need, what=" for a table", key=None, file=path, expected="a shorter table")
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise TableError("is not text in UTF-8", file=path, expected="a CSV file") from error
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _split(text: str, separator: str) -> list[str]:
    cells = text.split(separator)
    if '"' in text:
        with contextlib.suppress(csv.Error):  # a cell beyond all measure: as it stands
            cells = next(csv.reader([text], delimiter=separator))
    return [cell.strip() for cell in cells]
