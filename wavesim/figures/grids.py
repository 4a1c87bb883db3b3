"""Plates in two dimensions, side by side on one scale, each shown whole."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

from matplotlib.figure import Figure

from wavesim.colorimetry import Rendering
from wavesim.figures.captions import exposure_words
from wavesim.figures.lettering import cut, lines_in, wrapped
from wavesim.figures.strips import MM, StripFrame, draw_plate, plate_edges
from wavesim.figures.style import (
    Sheet,
    Size,
    blank,
    cautions_of,
    styled,
    too_many,
)
from wavesim.plate import Plate

_MOST_ACROSS = 4
_ALONE = 0.62  # of the paper's width, for a plate that stands alone
_GAP = 0.035  # of the paper's width
_NARROWEST, _WIDE_ENOUGH = 0.06, 0.2  # of the paper's width
_MOST_LINES = 2  # of a label
_NEARLY = 0.8  # of the widest cells: rows that are filled may cost so much


@dataclass(frozen=True)
class _Cells:
    """Columns at equal distances; rows as high as their tallest plate and its caption [in]."""

    across: int
    pitch_in: float
    width_in: float
    caption_in: float
    pictures_in: tuple[float, ...]

    def top_in(self, row: int, gap_in: float) -> float:
        """Upper edge of a row below that of the first; one row on, the height of all."""
        return sum(self.pictures_in[:row]) + row * (self.caption_in + gap_in)


def grid(
    plates: Sequence[Plate],
    names: Sequence[str],
    size: Size,
    *,
    title: str = "",
    rendering: Rendering | None = None,
) -> Figure:
    """Whole plates side by side, in true proportion and on one scale, which a bar gives."""
    size, cells, cautions = _roomiest(plates, names, size, title)
    gap, line = _GAP * size.width_in, size.line_in()
    head, foot = _head_in(size, title), _foot_in(size, cautions)
    rows = len(cells.pictures_in)
    with styled(size):
        page = blank(size, head + cells.top_in(rows, gap) + foot)
        page.line(gap, 0.5 * line, title, 1.2 * size.text_pt, weight="bold")
        left = gap if cells.across > 1 else (size.width_in - cells.width_in) / 2
        scale = cells.width_in / _width(plates)
        for number, plate in enumerate(plates):
            row, column = divmod(number, cells.across)
            corner = left + column * cells.pitch_in, head + cells.top_in(row, gap)
            _cell(page, plate, names[number], cells, corner, scale, rendering)
        _scale_bar(page, left, head + cells.top_in(rows, gap), scale, cells)
        page.cautions(gap, cautions)
    return page.figure


def _head_in(size: Size, title: str) -> float:
    return (0.5 + (1.9 if title else 0.0)) * size.line_in()


def _foot_in(size: Size, cautions: str) -> float:
    return 1.9 * size.line_in() + lines_in(cautions, size.tiny_pt)


def _roomiest(
    plates: Sequence[Plate], names: Sequence[str], size: Size, title: str
) -> tuple[Size, _Cells, str]:
    """On a slide letters shrink until the pictures are large enough, or no further."""
    wide = (1 - 2 * _GAP) * size.width_in
    texts = [caution for plate in plates for caution in plate.report.cautions]
    for letters in (1.0,) if size.height_in is None else (1.0, 0.85, 0.7):
        smaller = replace(size, text_pt=letters * size.text_pt)
        cautions = cautions_of(texts, smaller, wide)
        taken = _head_in(smaller, title) + _foot_in(smaller, cautions)
        room = None if size.height_in is None else size.height_in - taken
        cells = _cells(plates, names, smaller, room)
        if cells.width_in >= _WIDE_ENOUGH * size.width_in:
            break
    if cells.width_in < _NARROWEST * size.width_in:
        raise too_many(len(plates))
    return smaller, cells, cautions


def _cells(
    plates: Sequence[Plate], names: Sequence[str], size: Size, room_in: float | None
) -> _Cells:
    """The widest cells: on a slide in the room there is, on paper by the number of plates."""
    if room_in is None:
        count = len(plates)
        across = count if count < 4 else (2 if count == 4 else min(3 + (count > 9), _MOST_ACROSS))
        return _fitted(plates, names, size, across, None)
    tries = [_fitted(plates, names, size, n, room_in) for n in range(1, len(plates) + 1)]
    enough = _NEARLY * max(cells.width_in for cells in tries)
    wide = [cells for cells in tries if cells.width_in >= enough]
    return min(wide, key=lambda cells: -len(plates) % cells.across)  # the fullest last row


def _fitted(
    plates: Sequence[Plate],
    names: Sequence[str],
    size: Size,
    across: int,
    room_in: float | None,
) -> _Cells:
    gap = _GAP * size.width_in
    pitch = (size.width_in - gap) / across
    caption = _caption_in(names, size, pitch - gap)
    width = min(pitch - gap, _ALONE * size.width_in)
    rows = [plates[k : k + across] for k in range(0, len(plates), across)]
    if room_in is not None:
        tall = sum(max(map(_height, row)) for row in rows) / _width(plates)
        width = min(width, (room_in - len(rows) * (gap + caption)) / tall)
    heights = tuple(width / _width(plates) * max(map(_height, row)) for row in rows)
    return _Cells(across, pitch, width, caption, heights)


def _caption_in(names: Sequence[str], size: Size, width_in: float) -> float:
    lines = max(_label(name, size, width_in).count("\n") + 1 for name in names)
    return lines * size.line_in() + 1.25 * size.line_in(size.small_pt)


def _label(name: str, size: Size, width_in: float) -> str:
    """The name in lines that fit, cut off after the second."""
    lines = wrapped(name, width_in, size.text_pt, bold=True).split("\n")
    if len(lines) > _MOST_LINES:
        rest = " ".join(lines[_MOST_LINES - 1 :])
        lines[_MOST_LINES - 1 :] = [cut(rest, width_in, size.text_pt, bold=True)]
    return "\n".join(lines)


def _cell(
    page: Sheet,
    plate: Plate,
    name: str,
    cells: _Cells,
    corner: tuple[float, float],
    scale: float,
    rendering: Rendering | None,
) -> None:
    """One plate below its caption, which stands on the picture."""
    size, (left, top) = page.size, corner
    lo, hi = plate_edges(plate)
    small = size.line_in(size.small_pt)
    under = top + cells.caption_in
    label = _label(name, size, cells.pitch_in - _GAP * size.width_in)
    page.text(left, under - 1.3 * small, label, weight="bold", va="bottom", linespacing=1.2)
    page.note(left, under - 0.2 * small, exposure_words(plate), va="bottom")
    width = (hi - lo) * scale
    axes = page.axes(left, under, width, _height(plate) * scale)
    draw_plate(axes, plate, StripFrame(left, width, lo, hi), rendering=rendering, dpi=size.dpi)


def _scale_bar(page: Sheet, left: float, top: float, in_per_m: float, cells: _Cells) -> None:
    """A bar of a round length, at most a third of a plate."""
    size, longest_mm = page.size, cells.width_in / 3 / in_per_m * MM
    decade = 10.0 ** math.floor(math.log10(longest_mm))
    length_mm = max(step * decade for step in (1, 2, 5) if step * decade <= longest_mm)
    wide = length_mm / MM * in_per_m
    bar = page.axes(left, top + 0.5 * size.line_in(), wide, 0.001)
    bar.set_xticks([])
    bar.set_yticks([])
    for side, spine in bar.spines.items():
        spine.set_visible(side == "bottom")
        spine.set_linewidth(2 * size.line_pt)
        spine.set_edgecolor(size.ink)
    page.text(
        left + wide + 0.4 * size.line_in(),
        top + 0.5 * size.line_in(),
        f"{length_mm:g} mm",
        va="center",
        fontsize=size.small_pt,
    )


def _width(plates: Sequence[Plate]) -> float:
    return max(hi - lo for lo, hi in map(plate_edges, plates))


def _height(plate: Plate) -> float:
    return plate.y_m.size * plate.scene.plate.pixel_m
