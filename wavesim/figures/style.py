"""The house style: quiet, safe for colour-blind readers, the same on page, slide and screen.

Lines and letters stay vectors in PDF and SVG; only pictures of plates are pixels. Line colours
are those of Okabe and Ito (Color Universal Design, 2008), which stay apart for the common kinds
of colour blindness. The font is DejaVu Sans, which every matplotlib brings along, so a figure
looks the same on every machine.
"""

from __future__ import annotations

import math
import warnings
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from io import BytesIO
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text

from wavesim.errors import InputError, one_of
from wavesim.figures.glyphs import lend_glyphs
from wavesim.figures.lettering import FONT, LEADING, fitted, plain, sentences_once, wrapped
from wavesim.files import check_ending, replacing

BLUE, VERMILION, GREEN, ORANGE, PURPLE = "#0072B2", "#D55E00", "#009E73", "#E69F00", "#CC79A7"
SKY_BLUE, YELLOW = "#56B4E9", "#F0E442"
POSITION = "position on the plate (mm)"
FORMATS = (".png", ".pdf", ".svg")
_MOST_PIXELS = 1 << 15  # of a figure's height


@dataclass(frozen=True)
class Size:
    """What a figure is made for: inches, points, pixels per inch of a PNG, and its colours."""

    name: str
    width_in: float
    height_in: float | None  # None: as high as its content asks
    text_pt: float
    line_pt: float
    dpi: float
    paper: str = "#FFFFFF"
    ink: str = "#1B1F24"
    quiet: str = "#5F6873"
    rule: str = "#D3D8DE"
    accent: str = VERMILION
    series: tuple[str, ...] = (BLUE, VERMILION, GREEN, PURPLE, ORANGE)
    fill: float = 0.55  # opacity of a coloured area under a curve

    @property
    def small_pt(self) -> float:
        """Size of numbers and notes [pt]."""
        return 0.84 * self.text_pt

    @property
    def tiny_pt(self) -> float:
        """Size of cautions and footnotes [pt]."""
        return 0.75 * self.text_pt

    def line_in(self, points: float | None = None) -> float:
        """Height of a line of text [in]."""
        return (self.text_pt if points is None else points) * LEADING / 72


PAGE = Size("page", 6.3, None, 8.0, 0.8, 400.0)
WEB = Size("web", 8.0, None, 10.0, 1.1, 192.0)
SLIDE = Size(
    "slide",
    40 / 3,
    7.5,
    19.0,
    2.0,
    144.0,
    paper="#0B0D10",
    ink="#F2F4F6",
    quiet="#AEB6C0",
    rule="#3A4149",
    accent="#FF9A4D",
    series=(SKY_BLUE, ORANGE, "#35C99A", PURPLE, YELLOW),
    fill=0.85,
)
SIZES = {size.name: size for size in (PAGE, WEB, SLIDE)}


def size_named(size: str | Size) -> Size:
    """The size of that name; InputError names the known ones."""
    if isinstance(size, Size):
        return size
    one_of("size", size, SIZES, "size of figure")
    return SIZES[size]


def too_many(count: int) -> InputError:
    """The complaint that so many plates cannot be shown at this size."""
    return InputError(
        "hold too many plates for one sheet of this size",
        key="plates",
        value=count,
        expected='fewer plates, or size "page"',
    )


@contextmanager
def styled(size: Size) -> Iterator[None]:
    """Draw in the house style inside the block, and leave matplotlib's settings as they were."""
    with mpl.rc_context():
        mpl.rcParams.update(_settings(size))
        yield


def _settings(size: Size) -> dict[Any, Any]:
    return {
        "font.family": FONT,
        "mathtext.fontset": "dejavusans",
        "font.size": size.text_pt,
        "axes.titlesize": size.text_pt,
        "axes.labelsize": 0.94 * size.text_pt,
        "xtick.labelsize": size.small_pt,
        "ytick.labelsize": size.small_pt,
        "legend.fontsize": size.small_pt,
        "legend.frameon": False,
        "figure.facecolor": size.paper,
        "savefig.facecolor": size.paper,
        "axes.facecolor": "none",
        "text.color": size.ink,
        "axes.labelcolor": size.ink,
        "axes.edgecolor": size.quiet,
        "axes.linewidth": 0.7 * size.line_pt,
        "axes.spines.top": False,
        "axes.spines.right": False,
        "axes.axisbelow": True,
        "axes.unicode_minus": True,
        "axes.formatter.use_mathtext": True,
        "axes.labelpad": 0.45 * size.text_pt,
        "grid.color": size.rule,
        "grid.linewidth": 0.6 * size.line_pt,
        "lines.linewidth": size.line_pt,
        "lines.solid_capstyle": "round",
        "patch.linewidth": size.line_pt,
        **{f"{axis}tick.{key}": value for axis in "xy" for key, value in _ticks(size).items()},
        "svg.fonttype": "path",
        "pdf.fonttype": 42,
    }


def _ticks(size: Size) -> dict[str, object]:
    return {
        "color": size.quiet,
        "labelcolor": size.ink,
        "direction": "out",
        "major.size": 0.4 * size.text_pt,
        "minor.size": 0.22 * size.text_pt,
        "major.width": 0.7 * size.line_pt,
        "minor.width": 0.5 * size.line_pt,
        "major.pad": 0.3 * size.text_pt,
    }


@dataclass(frozen=True)
class Words:
    """What is written on a figure of one pair of axes."""

    title: str = ""
    subtitle: str = ""
    x_label: str = ""
    y_label: str = ""


@dataclass(frozen=True)
class Sheet:
    """A figure measured in inches from its upper left corner."""

    figure: Figure
    size: Size
    width_in: float
    height_in: float

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Axes whose upper left corner lies at (left, top)."""
        box = (
            left / self.width_in,
            1 - (top + height) / self.height_in,
            width / self.width_in,
            height / self.height_in,
        )
        return self.figure.add_axes(box)

    def text(self, left: float, top: float, text: str, **style: Any) -> Text:
        """Text hanging from (left, top); `style` as matplotlib takes it."""
        place = left / self.width_in, 1 - top / self.height_in
        return self.figure.text(*place, plain(text), **{"ha": "left", "va": "top", **style})

    def note(self, left: float, top: float, text: str, **style: Any) -> Text:
        """Small quiet text hanging from (left, top)."""
        return self.text(
            left, top, text, **{"color": self.size.quiet, "fontsize": self.size.small_pt, **style}
        )

    def line(self, left: float, top: float, text: str, points: float, **style: Any) -> Text:
        """One line that ends at the right margin, smaller or cut off if it must be."""
        room = 0.965 * self.width_in - left
        text, points = fitted(text, room, points, bold=style.get("weight") == "bold")
        return self.text(left, top, text, fontsize=points, **style)

    def heading(self, left: float, title: str, subtitle: str) -> None:
        """Title and subtitle at the upper edge; `heading_in` is the room they take."""
        size, line = self.size, self.size.line_in()
        top = 0.45 * line
        if title:
            self.line(left, top, title, 1.15 * size.text_pt, weight="bold")
            top += 1.3 * line
        self.line(left, top, subtitle, size.small_pt, color=size.quiet)


def heading_in(size: Size, title: str, subtitle: str) -> float:
    """Height that a heading takes [in]."""
    return (0.45 + (1.3 if title else 0.0) + (1.2 if subtitle else 0.0)) * size.line_in()


def graph(
    size: Size, words: Words, *, above_in: float = 0.0, left: float = 0.1
) -> tuple[Sheet, Axes]:
    """A sheet with its heading and one pair of axes, half as high as it is wide.

    `above_in` leaves room between heading and axes; `left` is the margin, as a part of the width.
    """
    line = size.line_in()
    head = heading_in(size, words.title, words.subtitle) + above_in
    sheet = blank(size, head + 0.5 * size.width_in + 2.9 * line)
    edge = left * size.width_in
    sheet.heading(edge, words.title, words.subtitle)
    axes = sheet.axes(edge, head, 0.96 * size.width_in - edge, sheet.height_in - head - 2.9 * line)
    axes.set_xlabel(plain(words.x_label), loc="left")
    axes.set_ylabel(plain(words.y_label))
    return sheet, axes


def blank(size: Size, height_in: float) -> Sheet:
    """An empty sheet as wide as the size says; a size with a height of its own keeps it.

    Raises
    ------
    InputError
        The content asks for more pixels than a picture may have.
    """
    height = height_in if size.height_in is None else size.height_in
    if height * size.dpi > _MOST_PIXELS:
        times = height / size.width_in
        raise InputError(
            f"would make a figure {times:,.0f} times as high as wide", key="plate.height",
            expected="a lower plate, or fewer plates on one sheet",
        )  # fmt: skip
    figure = Figure(figsize=(size.width_in, height), dpi=size.dpi, facecolor=size.paper)
    FigureCanvasAgg(figure)
    return Sheet(figure, size, size.width_in, height)


def annotate(
    axes: Axes,
    text: str,
    at: tuple[float, float],
    size: Size,
    *,
    offset_em: tuple[float, float] = (0.0, 0.0),
    **style: Any,
) -> None:
    """Small quiet text beside a place of the axes, `offset_em` heights of a letter from it."""
    axes.annotate(
        plain(text),
        at,
        xytext=(offset_em[0] * size.text_pt, offset_em[1] * size.text_pt),
        textcoords="offset points",
        **{"color": size.quiet, "fontsize": size.small_pt, **style},
    )


def cautions_of(texts: Iterable[str], size: Size, width_in: float) -> str:
    """Cautions for the eyes, each sentence once, in lines as small as may still be read."""
    return wrapped(sentences_once(texts), width_in, size.tiny_pt)


def save(figure: Figure, path: str | Path) -> None:
    """Write a figure as PNG, PDF or SVG, by the name's ending; atomically.

    The same figure gives the same file, byte for byte: no date is written into it.

    Raises
    ------
    OutputError
        Another ending, or a place that cannot be written.
    """
    kind = check_ending(path, FORMATS)
    date = {".png": {}, ".pdf": {"CreationDate": None}, ".svg": {"Date": None}}[kind]
    content = BytesIO()  # a library that fails in the middle of a file leaves more than an OSError
    with mpl.rc_context(), warnings.catch_warnings():
        warnings.filterwarnings("ignore", "Glyph")  # in no font here: a box says it
        lend_glyphs(figure)
        mpl.rcParams.update({"svg.fonttype": "path", "pdf.fonttype": 42, "svg.hashsalt": "wavesim"})
        figure.savefig(content, format=kind[1:], metadata=date)
    with replacing(path) as temporary:
        temporary.write_bytes(content.getbuffer())


def in_words(value: float, unit: str, digits: int = 3) -> str:
    """A quantity with a prefix that leaves one to three digits before the point: "12.3 µm"."""
    if value == 0 or not math.isfinite(value):
        return f"{value:g}\u2009{unit}"
    prefixes = {-12: "p", -9: "n", -6: "µ", -3: "m", 0: "", 3: "k", 6: "M"}
    rounded = float(f"{value:.{digits}g}")
    power = min(max(3 * math.floor(math.log10(abs(rounded)) / 3 + 1e-12), -12), 6)
    return f"{rounded / 10**power:.{digits}g}\u2009{prefixes[power]}{unit}".replace("-", "−")
