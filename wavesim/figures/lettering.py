"""Text as it will stand on paper: its width, its lines, and nothing in it that matplotlib reads."""

from __future__ import annotations

import re
import unicodedata
import warnings
from collections.abc import Iterable
from functools import lru_cache

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

FONT = "DejaVu Sans"
LEADING = 1.3
_SMALLEST = 0.75  # a title that is too long shrinks so far before it is cut


def plain(text: str) -> str:
    """Text whose dollar signs start no formula and whose unprintable letters are blanks."""
    lines = ("".join(map(_shown, line)) for line in text.split("\n"))
    return "\n".join(lines).replace("$", r"\$")


def _shown(letter: str) -> str:
    return " " if unicodedata.category(letter).startswith("C") else letter


def one_line(text: str) -> str:
    """The text without breaks and double blanks."""
    return " ".join(text.split())


@lru_cache(4096)
def width_of(text: str, points: float, *, bold: bool = False) -> float:
    """Width of a line of text [in]."""
    font = FontProperties(family=FONT, size=points, weight="bold" if bold else "normal")
    with warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")  # lent by another font, or a box
        width, _, _ = text_to_path.get_text_width_height_descent(plain(text), font, ismath=False)
    return float(width) / 72


def lines_in(text: str, points: float) -> float:
    """Height of text in lines [in]."""
    return (text.count("\n") + 1) * points * LEADING / 72 if text else 0.0


def wrapped(text: str, width_in: float, points: float, *, bold: bool = False) -> str:
    """Text broken at blanks into lines that fit; a word longer than a line is cut."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if width_of(longer, points, bold=bold) <= width_in:
            lines[-1] = longer
        else:
            lines.append(cut(word, width_in, points, bold=bold))
    return "\n".join(line for line in lines if line)


def cut(text: str, width_in: float, points: float, *, bold: bool = False) -> str:
    """As much of a line as fits, with an ellipsis where something is left out."""
    if width_of(text, points, bold=bold) <= width_in:
        return text
    fits, too_long = 0, len(text)
    while too_long - fits > 1:
        middle = (fits + too_long) // 2
        if width_of(text[:middle].rstrip() + "…", points, bold=bold) <= width_in:
            fits = middle
        else:
            too_long = middle
    return text[:fits].rstrip() + "…"


def fitted(text: str, width_in: float, points: float, *, bold: bool = False) -> tuple[str, float]:
    """A line and the size [pt] at which it fits: as wished, smaller, or cut."""
    text = one_line(text)
    wide = width_of(text, points, bold=bold)
    if wide <= width_in:
        return text, points
    smaller = max(points * width_in / wide * 0.999, _SMALLEST * points)
    return cut(text, width_in, smaller, bold=bold), smaller


def sentences_once(texts: Iterable[str]) -> str:
    """All texts as one, every sentence once: the last of equal ones stays."""
    sentences = [part for text in texts for part in re.split(r"(?<=\.)\s+", text.strip())]
    return " ".join(reversed(dict.fromkeys(reversed(sentences))))
