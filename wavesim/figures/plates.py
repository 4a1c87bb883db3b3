"""One plate with its profile below."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Polygon
from numpy.typing import NDArray

from wavesim.colorimetry import Rendering
from wavesim.figures import pictures
from wavesim.figures.captions import aperture_words, exposure_words, marks_note
from wavesim.figures.lettering import LEADING, lines_in, width_of
from wavesim.figures.marks import Pairs, marks_from, order_marks
from wavesim.figures.profiles import draw_marks, draw_profile
from wavesim.figures.strips import (
    MM,
    TALLEST,
    StripFrame,
    draw_labels,
    draw_plate,
    in_two_dimensions,
    plate_edges,
    range_of,
    strip_height,
)
from wavesim.figures.style import (
    POSITION,
    Size,
    annotate,
    blank,
    cautions_of,
    heading_in,
    in_words,
    size_named,
    styled,
)
from wavesim.plate import Plate


def plate_figure(
    plate: Plate,
    *,
    marks: Pairs | None = None,
    log: bool = False,
    size: str | Size = "page",
    title: str | None = None,
    rendering: Rendering | None = None,
) -> Figure:
    """A plate's picture with the profile along its middle below, on one scale.

    A plate in two dimensions is shown whole, with the profile beside it.

    Parameters
    ----------
    plate : what was exposed
    marks : positions to mark, as `Mark` or (position [m], label); default the orders, at 550 nm
        where the light has it
    log : a logarithmic axis over ten decades, else a linear one
    size : "page", "slide" or "web"
    title : default the scene's
    rendering : how the picture is made; a logarithmic tone is named in the caption
    """
    size = size_named(size)
    lo, hi = range_of([plate])
    wanted = order_marks(plate) if marks is None else marks_from(marks)
    chosen = [mark for mark in wanted if lo <= mark.position_m <= hi]
    note = marks_note([plate]) if marks is None and chosen else ""
    with styled(size):
        plan = _plan(plate, size, marked=bool(chosen))
        page = blank(size, plan.height_in)
        left, top, width, high = plan.picture_in
        page.heading(left, title or plate.scene.title, _subtitle(plate, rendering, note))
        frame = StripFrame(left, width, lo, hi)
        upper = page.axes(left, top, width, high)
        draw_plate(upper, plate, frame, rendering=rendering, dpi=size.dpi)
        draw_labels(upper, chosen, frame, size, above=True)
        lower = page.axes(*plan.profile_in)
        _draw_curve(lower, plate, frame, size, log=log)
        draw_marks(lower, [m for m in chosen if m.kind != "order"], size, scale=MM, named=False)
        page.cautions(frame.left_in, plan.cautions)
    return page.figure


_Box = tuple[float, float, float, float]  # left, top, width and height [in]


@dataclass(frozen=True)
class _Plan:
    """Where picture and profile stand [in]."""

    picture_in: _Box
    profile_in: _Box
    cautions: str
    height_in: float


def _plan(plate: Plate, size: Size, *, marked: bool) -> _Plan:
    """The profile below the picture, or beside one in two dimensions, which is shown whole."""
    text, left, width = size.line_in(), 0.09 * size.width_in, 0.87 * size.width_in
    cautions = cautions_of(plate.report.cautions, size, width)
    head = heading_in(size, "title", "subtitle") + (1.3 if marked else 0.3) * text
    foot = 2.7 * text + lines_in(cautions, size.tiny_pt)
    room = None if size.height_in is None else size.height_in - head - foot
    if in_two_dimensions(plate):
        return _beside(plate, size, head, foot, room, cautions)
    high = strip_height(plate, StripFrame(left, width, *range_of([plate])), TALLEST * width)
    low = 0.36 * size.width_in
    if room is not None:
        high = min(high, 0.3 * (room + head + foot))
        low = room - high - 0.4 * text
    under = head + high + 0.4 * text
    return _Plan((left, head, width, high), (left, under, width, low), cautions, under + low + foot)


def _beside(
    plate: Plate, size: Size, head: float, foot: float, room: float | None, cautions: str
) -> _Plan:
    left, widest = 0.035 * size.width_in, 0.42 * size.width_in
    lo, hi = range_of([plate])
    tall = plate.y_m.size * plate.scene.plate.pixel_m / (hi - lo)
    width = widest if room is None else min(widest, room / tall)
    high = width * tall if room is None else room
    start = left + width + 0.12 * size.width_in
    low = max(high, 0.3 * size.width_in) if room is None else room
    return _Plan(
        (left, head, width, width * tall),
        (start, head, 0.96 * size.width_in - start, low),
        cautions,
        head + max(high, low) + foot,
    )


def _draw_curve(axes: Axes, plate: Plate, frame: StripFrame, size: Size, *, log: bool) -> None:
    curve = draw_profile(axes, plate.x_m * MM, plate.profile_irradiance, log=log)
    axes.set_xlim(frame.lo_m * MM, frame.hi_m * MM)
    _fill(axes, plate, frame, size, *curve)
    axes.set_xlabel(POSITION, loc="left")
    axes.set_ylabel("irradiance, peak = 1")


def _fill(
    axes: Axes,
    plate: Plate,
    frame: StripFrame,
    size: Size,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
) -> None:
    """Under the curve, the colour of the light at each position, however faint."""
    low, high = axes.get_ylim()
    lo, hi = plate_edges(plate)
    band = axes.imshow(
        pictures.hues(plate, math.ceil(frame.width_in * 200)),
        extent=(lo * MM, hi * MM, low, high),
        aspect="auto",
        interpolation="nearest",
        zorder=0,
        alpha=size.fill,
    )
    corners = np.array([(x[0], low), *zip(x, y, strict=True), (x[-1], low)])
    band.set_clip_path(Polygon(corners, closed=True, transform=axes.transData))
    axes.set_ylim(low, high)
    note = "under the curve: hue of the light, regardless of its brightness"
    room_in = axes.get_position().width * size.width_in - width_of(POSITION, size.text_pt)
    if width_of(note, size.small_pt) > room_in:
        return
    below = -2.05 * LEADING
    style = {"xycoords": "axes fraction", "ha": "right", "va": "baseline"}
    annotate(axes, note, (1.0, 0.0), size, offset_em=(0.0, below), **style)


def _subtitle(plate: Plate, rendering: Rendering | None, note: str) -> str:
    tone = rendering.tone.label if rendering is not None else ""
    peak = f"peak {in_words(float(plate.profile_irradiance.max()), 'W/m²')}"
    parts = (aperture_words(plate), exposure_words(plate), peak, tone, note)
    return " · ".join(part for part in parts if part)
