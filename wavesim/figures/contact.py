"""Contact sheets: the small pictures of a study's members one below the other."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path

from matplotlib.figure import Figure

from wavesim.ensemble.joined import reading
from wavesim.ensemble.recorded import Members
from wavesim.figures.lettering import lines_in
from wavesim.figures.study_axes import key_words, last_word, value_of
from wavesim.figures.style import (
    Sheet,
    Size,
    blank,
    cautions_of,
    heading_in,
    size_named,
    styled,
)

_MOST_PICTURES = 60
_LEFT, _EXPECTED = 0.3, 0.965  # edges of the pictures, over the width
_LOWEST = 0.75  # of a line: lower pictures have no room for their values beside them


@dataclass(frozen=True)
class _Rows:
    """How many pictures are shown, how high each is and from one to the next [in]."""

    shown: int
    high_in: float
    step_in: float


def contact_sheet(
    path: str | Path, members: Members, *, title: str = "", size: str | Size = "page",
    cautions: tuple[str, ...] = (),
) -> Figure:  # fmt: skip
    """The members' pictures one below the other, each with its varying values.

    On a slide or a sheet of paper they are as low as it takes; those that do not fit are left out,
    and the heading says how many there are.
    """
    size = size_named(size)
    caution = cautions_of(cautions, size, 0.93 * size.width_in)
    line, edge = size.line_in(), 0.035 * size.width_in
    head = heading_in(size, "title", "subtitle") + 0.4 * line
    foot = line + lines_in(caution, size.tiny_pt)
    with reading(path) as file:
        count, high, wide = file["picture"].shape[:3]
        rows = _rows(size, min(count, _MOST_PICTURES), high / wide, head + foot)
        pictures = file["picture"][: rows.shown]
    keys = [key for key in members.keys if len(set(members.keys[key].tolist())) > 1]
    total = len(members.failures)
    more = f"; the first {rows.shown} of {total}" if rows.shown < total else ""
    left, width = _LEFT * size.width_in, (_EXPECTED - _LEFT) * size.width_in
    with styled(size):
        sheet = blank(size, head + rows.shown * rows.step_in + foot)
        sheet.heading(edge, title or members.title, ", ".join(map(key_words, keys)) + more)
        sheet.cautions(edge, caution)
        for k in range(rows.shown):
            top = head + k * rows.step_in
            values = ", ".join(f"{last_word(key)} {value_of(members, key, k)}" for key in keys)
            sheet.note(edge, top + rows.high_in / 2 - 0.4 * line, values)
            axes = sheet.axes(left, top, width, rows.high_in)
            axes.imshow(pictures[k], aspect="auto", interpolation="nearest")
            axes.set_axis_off()
    return sheet.figure


def _rows(size: Size, count: int, proportion: float, taken_in: float) -> _Rows:
    """As high as the pictures ask, lower where the height is given; fewer where that is not enough.

    `proportion` is height over width of a picture, `taken_in` what heading and foot take.
    """
    line = size.line_in()
    gap, high = 0.35 * line, (_EXPECTED - _LEFT) * size.width_in * proportion
    high = max(high, 1.3 * line)
    room = size.height_in or size.page_in
    if room is None:
        return _Rows(count, high, high + gap)
    taken_in += Sheet(Figure(), size, size.width_in, room).foot_in  # margins and bar
    shown = max(min(count, math.floor((room - taken_in) / (_LOWEST * line + gap))), 1)
    high = min(high, (room - taken_in) / shown - gap)
    return _Rows(shown, high, high + gap)
