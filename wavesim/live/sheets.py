"""A sheet of plates to print, true to scale, with a bar of 100 mm to check the print."""

from __future__ import annotations

import io
import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from wavesim.colorimetry.plates import developed
from wavesim.colorimetry.rendering import Rendering
from wavesim.errors import one_of
from wavesim.figures.lettering import FONT, fitted, sentences_once, wrapped
from wavesim.live.differences import differences
from wavesim.plate import Plate
from wavesim.text import shutter

if TYPE_CHECKING:
    from matplotlib.figure import Figure

PAPERS = {"A4": (210.0, 297.0), "letter": (215.9, 279.4)}  # mm: ISO 216; ANSI/ASME Y14.1
BAR_MM = 100.0
_MARGIN_MM = 14.0
_IN_MM = 1 / 25.4
_MM = 1e3
_LINE_MM = 4.4
_INK, _QUIET = "#1B1F24", "#5F6873"
_STEPS = tuple(digit * 10.0**power for power in range(-4, 5) for digit in (1, 2, 5))
_MAGNIFICATIONS = tuple(
    digit * 10.0**power for power in range(-4, 5) for digit in (1, 1.5, 2, 3, 4, 5, 6, 8)
)
_FOOT_MM = 38.0  # bar and cautions
_TALLEST_MM, _LOWEST_MM = 70.0, 7.0


def sheet_pdf(
    plates: Sequence[Plate], paper: str, *, titles: Sequence[str], stops: Sequence[float]
) -> bytes:
    """A page of plates, one above the other, all at one magnification, as PDF.

    Parameters
    ----------
    plates : from the top down
    paper : "A4" or "letter"
    titles : one for each
    stops : how much longer each is shown exposed than it was

    Raises
    ------
    InputError
        Another paper.
    """
    one_of("paper", paper, PAPERS, "paper")
    page = _Page(paper)
    low = min(float(plate.x_m[0]) for plate in plates)
    span_mm = _MM * (max(float(plate.x_m[-1]) for plate in plates) - low)
    times = magnification(span_mm, page.width_mm - 2 * _MARGIN_MM)
    page.text(_MARGIN_MM, 10.0, plates[0].scene.title, 13, bold=True)
    page.text(_MARGIN_MM, 16.5, _scale_words(times), 9, _QUIET)
    top = 24.0
    room = (page.height_mm - _FOOT_MM - top) / len(plates)
    for number, (plate, title, extra) in enumerate(zip(plates, titles, stops, strict=True)):
        text = _caption(f"{number + 1}  {title}", plate, extra, plates[0] if number else None)
        top = _strip(page, plate, extra, (top, low, times, room), text)
    _bar(page, page.height_mm - 30.0)
    cautions = sentences_once(c for p in plates for c in p.report.cautions)
    page.text(_MARGIN_MM, page.height_mm - 21.0, page.wrapped(cautions, 7), 7, _QUIET)
    return page.pdf()


def magnification(span_mm: float, room_mm: float) -> float:
    """The largest of 1, 1.5, 2, 3, 4, 5, 6, 8, 10 ... times at which `span_mm` fits the room."""
    return max((m for m in _MAGNIFICATIONS if m * span_mm <= room_mm), default=_MAGNIFICATIONS[0])


def _scale_words(times: float) -> str:
    size = f"{times:g} times the plate's size" if times != 1 else "the plate's own size"
    return f"Printed at {size}: {times:g} mm on paper is 1 mm on the plate."


def _caption(title: str, plate: Plate, stops: float, first: Plate | None) -> str:
    text = f"{title}: exposed {shutter(plate.exposure_s * 2**stops)}"
    return text + "".join(f"; {new}" for new in (differences(first, plate) if first else ()))


class _Page:
    """A sheet of paper measured in mm from its upper left corner."""

    def __init__(self, paper: str) -> None:
        from matplotlib.figure import Figure

        self.width_mm, self.height_mm = PAPERS[paper]
        size = (self.width_mm * _IN_MM, self.height_mm * _IN_MM)
        self.figure: Figure = Figure(figsize=size, facecolor="white")

    def text(
        self, x_mm: float, y_mm: float, text: str, points: float,
        colour: str = _INK, *, bold: bool = False, align: str = "left",
    ) -> None:  # fmt: skip
        """Words whose upper edge lies at y."""
        if "\n" not in text and align == "left":
            room = (self.width_mm - x_mm - _MARGIN_MM) * _IN_MM
            text, points = fitted(text, room, points, bold=bold)
        self.figure.text(
            x_mm / self.width_mm, 1 - y_mm / self.height_mm, text.replace("$", r"\$"),
            fontsize=points, color=colour, va="top", ha=align,
            weight="bold" if bold else "normal", family=FONT,
        )  # fmt: skip

    def wrapped(self, text: str, points: float) -> str:
        """Words in lines that fit the page."""
        return wrapped(text, (self.width_mm - 2 * _MARGIN_MM) * _IN_MM, points)

    def line(self, x_mm: tuple[float, float], y_mm: tuple[float, float], points: float) -> None:
        """A straight line."""
        from matplotlib.lines import Line2D

        across = [x / self.width_mm for x in x_mm]
        down = [1 - y / self.height_mm for y in y_mm]
        line = Line2D(across, down, lw=points, color=_INK, solid_capstyle="butt")
        self.figure.add_artist(line)

    def image(self, box_mm: tuple[float, float, float, float], picture: object) -> None:
        """A picture in a box (left, top, width, height)."""
        left, top, width, height = box_mm
        axes = self.figure.add_axes(
            (
                left / self.width_mm,
                1 - (top + height) / self.height_mm,
                width / self.width_mm,
                height / self.height_mm,
            )
        )
        axes.set_axis_off()
        axes.imshow(picture, aspect="auto", interpolation="none")  # type: ignore[arg-type]

    def pdf(self) -> bytes:
        """The same sheet gives the same bytes: no date is written into it."""
        import matplotlib as mpl

        stream = io.BytesIO()
        with mpl.rc_context({"pdf.fonttype": 42}):
            self.figure.savefig(stream, format="pdf", dpi=300, metadata={"CreationDate": None})
        return stream.getvalue()


def _strip(
    page: _Page, plate: Plate, stops: float, box: tuple[float, float, float, float], text: str
) -> float:
    """A plate with its caption above and a scale of millimetres below; where the next begins."""
    top, low, times, room = box
    half = plate.scene.plate.pixel_m / 2
    edges = [_MM * (float(plate.x_m[0]) - half), _MM * (float(plate.x_m[-1]) + half)]
    left, right = (_MARGIN_MM + times * (edge - _MM * low) for edge in edges)
    caption = page.wrapped(text, 8)
    page.text(_MARGIN_MM, top, caption, 8)
    top += _LINE_MM * (caption.count("\n") + 1)
    true = times * _MM * plate.scene.plate.height_m
    height = min(
        max(true, _LOWEST_MM), _TALLEST_MM, max(room - 16.0 - _LINE_MM * caption.count("\n"), 3.0)
    )
    page.image((left, top, right - left, height), developed(plate, Rendering(), stops=stops))
    _ruler(page, top + height + 0.6, (edges[0], edges[1]), (left, times))
    return top + height + 12.0


def _ruler(
    page: _Page, y_mm: float, span: tuple[float, float], corner: tuple[float, float]
) -> None:
    left, times = corner
    step = next(m for m in _STEPS if m * times >= 1.5)  # mm on the paper between ticks
    for k in range(math.ceil(span[0] / step), math.floor(span[1] / step) + 1):
        x = left + times * (k * step - span[0])
        long = k % 5 == 0
        page.line((x, x), (y_mm, y_mm + (2.2 if long else 1.2)), 0.4)
        if k % 10 == 0:
            page.text(
                x, y_mm + 2.6, f"{k * step:g}".replace("-", "\N{MINUS SIGN}"), 6.5, align="center"
            )
    page.text(
        page.width_mm - _MARGIN_MM - 12, y_mm + 5.2, "mm on the plate", 6, _QUIET, align="center"
    )


def _bar(page: _Page, y_mm: float) -> None:
    """A bar of 100 mm with its ends marked."""
    left = _MARGIN_MM
    page.line((left, left + BAR_MM), (y_mm, y_mm), 1.0)
    for part in range(11):
        x = left + part * BAR_MM / 10
        page.line((x, x), (y_mm - (1.8 if part in (0, 5, 10) else 1.0), y_mm), 0.6)
    text = "100 mm: if a ruler shows otherwise, print again at 100 %, not fitted to the page"
    page.text(left, y_mm + 1.6, text, 7.5, _QUIET)
