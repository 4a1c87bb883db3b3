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
from dataclasses import dataclass, replace
from io import BytesIO
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text

from wavesim.errors import InputError, one_of
from wavesim.figures.glyphs import lend_glyphs
from wavesim.figures.lettering import (
    FONT,
    LEADING,
    fitted,
    lines_in,
    plain,
    sentences_once,
    wrapped,
)
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
    page_in: float | None = None  # height of the sheet of paper; the figure stands at its top
    caution: bool = True  # whether cautions for the eyes stand on the figure
    bar: bool = False  # whether a bar of 100 mm stands at the foot

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
A4 = replace(PAGE, name="a4", width_in=210 / 25.4, page_in=297 / 25.4, dpi=300.0)  # ISO 216
LETTER = replace(PAGE, name="letter", width_in=8.5, page_in=11.0, dpi=300.0)  # ANSI/ASME Y14.1
SIZES = {size.name: size for size in (PAGE, A4, LETTER, WEB, SLIDE)}
_BAR_MM, _BAR_LINES = 100.0, 2.6
_MARGIN_IN = 0.35
_BAR_WORDS = "100 mm: if a ruler shows otherwise, print again at 100 %, not fitted to the page"


def size_for(name: str, *, caution: bool = True, bar: bool = False) -> Size:
    """The size of that name, with or without cautions and a bar of 100 mm.

    Raises
    ------
    InputError
        An unknown name, or a bar on what is not printed.
    """
    size = size_named(name)
    if bar and name not in ("page", "a4", "letter"):
        raise InputError(
            "cannot have a bar of 100 mm, which is for paper only", key="size", value=name,
            expected='"page", "a4" or "letter"',
        )  # fmt: skip
    return replace(size, caution=caution, bar=bar)


def size_named(size: str | Size) -> Size:
    """The size of that name; InputError names the known ones."""
    if isinstance(size, Size):
        return size
    one_of("size", size, SIZES, "size of figure")
    return SIZES[size]


def too_many(count: int) -> InputError:
    """The error that so many plates cannot be shown at this size."""
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
class Labels:
    """What is written on a figure of one pair of axes."""

    title: str = ""
    subtitle: str = ""
    x_label: str = ""
    y_label: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sheet:
    """A figure measured in inches from its upper left corner."""

    figure: Figure
    size: Size
    width_in: float
    height_in: float

    @property
    def margin_in(self) -> float:
        """White above and below on a sheet of paper [in]; positions count from below it."""
        return 0.0 if self.size.page_in is None else _MARGIN_IN

    @property
    def foot_in(self) -> float:
        """Height from the lowest position to the bar of 100 mm, or to the lower margin [in]."""
        bar = _BAR_LINES * self.size.line_in() if self.size.bar else 0.0
        return bar + 2 * self.margin_in

    def axes(self, left: float, top: float, width: float, height: float) -> Axes:
        """Axes whose upper left corner lies at (left, top)."""
        box = (
            left / self.width_in,
            1 - (self.margin_in + top + height) / self.height_in,
            width / self.width_in,
            height / self.height_in,
        )
        return self.figure.add_axes(box)

    def text(self, left: float, top: float, text: str, **style: Any) -> Text:
        """Text hanging from (left, top); `style` as matplotlib takes it."""
        corner = left / self.width_in, 1 - (self.margin_in + top) / self.height_in
        return self.figure.text(*corner, plain(text), **{"ha": "left", "va": "top", **style})

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

    def cautions(self, left: float, text: str) -> None:
        """Cautions, as `cautions_of` has broken them, at the lower edge."""
        if not text:
            return
        points = self.size.tiny_pt
        top = self.height_in - self.foot_in - lines_in(text, points) - 0.25 * self.size.line_in()
        self.note(left, top, text, fontsize=points, linespacing=1.25)


def heading_in(size: Size, title: str, subtitle: str) -> float:
    """Height that a heading takes [in]."""
    return (0.45 + (1.3 if title else 0.0) + (1.2 if subtitle else 0.0)) * size.line_in()


def graph(
    size: Size, labels: Labels, *, above_in: float = 0.0, left: float = 0.1,
    high_in: float | None = None,
) -> tuple[Sheet, Axes]:  # fmt: skip
    """A sheet with its heading and one pair of axes, half as high as it is wide.

    `above_in` leaves room between heading and axes; `left` is the margin, as a part of the width;
    `high_in` is another height of the axes, where the size leaves it open.
    """
    line = size.line_in()
    head = heading_in(size, labels.title, labels.subtitle) + above_in
    edge, right = left * size.width_in, 0.96 * size.width_in
    cautions = cautions_of(labels.cautions, size, right - edge)
    foot = 2.9 * line + lines_in(cautions, size.tiny_pt)
    high = 0.5 * size.width_in if high_in is None else high_in
    sheet = blank(size, head + high + foot)
    sheet.heading(edge, labels.title, labels.subtitle)
    sheet.cautions(edge, cautions)
    if size.height_in is not None:
        high = size.height_in - head - foot
    axes = sheet.axes(edge, head, right - edge, high)
    axes.set_xlabel(plain(labels.x_label), loc="left")
    axes.set_ylabel(plain(labels.y_label))
    return sheet, axes


def blank(size: Size, height_in: float) -> Sheet:
    """An empty sheet as wide as the size says; a size with a height of its own keeps it.

    Raises
    ------
    InputError
        The content asks for more pixels than a picture may have, or does not fit the paper.
    """
    wanted = height_in + Sheet(Figure(), size, size.width_in, 1.0).foot_in
    if size.page_in is not None and wanted > size.page_in:
        raise InputError(
            f"needs {wanted * 25.4:.0f} mm on paper that is {size.page_in * 25.4:.0f} mm high",
            key="size", value=size.name,
            expected='fewer or lower plates, or size "page", which is as high as its content',
        )  # fmt: skip
    height = size.height_in or size.page_in or wanted
    if height * size.dpi > _MOST_PIXELS:
        times = height / size.width_in
        raise InputError(
            f"would make the figure {times:,.0f} times as high as it is wide", key="plate.height",
            expected="a lower plate, or fewer plates on one sheet",
        )  # fmt: skip
    figure = Figure(figsize=(size.width_in, height), dpi=size.dpi, facecolor=size.paper)
    FigureCanvasAgg(figure)
    sheet = Sheet(figure, size, size.width_in, height)
    if size.bar:
        _draw_bar(sheet)
    return sheet


def _draw_bar(sheet: Sheet) -> None:
    """A bar of 100 mm, a tick every 10 mm, by which a print is checked."""
    size, line = sheet.size, sheet.size.line_in()
    left, base = 0.035 * sheet.width_in, sheet.height_in - 2 * sheet.margin_in - 1.8 * line
    step = _BAR_MM / 25.4 / 10
    _draw_line(sheet, (left, left + 10 * step), (base, base), 1.0)
    for part in range(11):
        high = (0.5 if part % 5 == 0 else 0.3) * line
        _draw_line(sheet, (left + part * step,) * 2, (base - high, base), 0.6)
    sheet.note(left, base + 0.3 * line, _BAR_WORDS, fontsize=size.tiny_pt)


def _draw_line(
    sheet: Sheet, x_in: tuple[float, float], y_in: tuple[float, float], points: float
) -> None:
    across = np.array(x_in) / sheet.width_in
    down = 1 - (sheet.margin_in + np.array(y_in)) / sheet.height_in
    ink = sheet.size.ink
    sheet.figure.add_artist(Line2D(across, down, lw=points, color=ink, solid_capstyle="butt"))


def annotate(
    axes: Axes,
    text: str,
    position: tuple[float, float],
    size: Size,
    *,
    offset_em: tuple[float, float] = (0.0, 0.0),
    **style: Any,
) -> None:
    """Small quiet text beside a position of the axes, `offset_em` heights of a letter from it."""
    axes.annotate(
        plain(text),
        position,
        xytext=(offset_em[0] * size.text_pt, offset_em[1] * size.text_pt),
        textcoords="offset points",
        **{"color": size.quiet, "fontsize": size.small_pt, **style},
    )


def cautions_of(texts: Iterable[str], size: Size, width_in: float) -> str:
    """Cautions for the eyes, each sentence once, in lines as small as may still be read.

    None for a size that leaves them out.
    """
    if not size.caution:
        return ""
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
