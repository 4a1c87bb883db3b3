"""Several plates on one scale."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TypeVar

from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator

from wavesim.colorimetry import Rendering
from wavesim.errors import InputError
from wavesim.figures.captions import exposure_words, marks_note
from wavesim.figures.grids import grid
from wavesim.figures.lettering import fitted, lines_in, width_of
from wavesim.figures.marks import Mark, Pairs, marks_from, order_marks
from wavesim.figures.scales import Scale, shared_scale
from wavesim.figures.strips import (
    MM,
    TALLEST,
    StripFrame,
    bare,
    draw_labels,
    draw_plate,
    in_two_dimensions,
    range_of,
    strip_height,
)
from wavesim.figures.style import (
    POSITION,
    Sheet,
    Size,
    blank,
    cautions_of,
    size_named,
    styled,
    too_many,
)
from wavesim.plate import Plate

_T = TypeVar("_T")
_TALLEST_OF_MANY = 0.16  # of its width
_LOWEST_ON_SLIDE = 0.03  # of its width


def sheet(
    plates: Sequence[Plate],
    *,
    labels: Sequence[str] | None = None,
    marks: Sequence[Pairs] | None = None,
    size: str | Size = "page",
    title: str = "",
    x_range_m: tuple[float, float] | None = None,
    rendering: Rendering | None = None,
) -> Figure:
    """Several plates on one scale, each labelled with what it shows and how it was exposed.

    Plates of slits and gratings are strips above each other. Where one shows an aperture in two
    dimensions, all stand whole and side by side, without marks.

    Parameters
    ----------
    plates : from the top of the sheet down
    labels : one for each plate; default the titles of their scenes
    marks : marks for each plate, as `Mark` or (position [m], label); default its orders
    size : "page", "slide" or "web"
    title : above everything; none if empty
    x_range_m : part of the plates to show [m]; default all of the widest

    Raises
    ------
    InputError
        No plates, or as many labels or marks as do not fit them.
    """
    size = size_named(size)
    names = one_each("labels", labels, plates) or [plate.scene.title for plate in plates]
    given = one_each("marks", marks, plates)
    if any(in_two_dimensions(plate) for plate in plates):
        return grid(plates, names, size, title=title, rendering=rendering)
    chosen = _marks(plates) if given is None else [marks_from(m) for m in given]
    across = x_range_m or range_of(plates)
    chosen = [tuple(m for m in each if across[0] <= m.position_m <= across[1]) for each in chosen]
    note = "" if given else marks_note(plates)
    plan = _plan(plates, chosen, across, size, title=title, note=note)
    size, frame = plan.size, plan.frame
    with styled(size):
        page = blank(size, plan.height_in)
        page.line(frame.left_in, 0.5 * size.line_in(), title, 1.2 * size.text_pt, weight="bold")
        top = plan.head_in
        for number, plate in enumerate(plates):
            _caption(page, frame, top, names[number], exposure_words(plate))
            top += plan.caption_in
            strip = page.axes(frame.left_in, top, frame.width_in, plan.strips_in[number])
            draw_plate(strip, plate, frame, rendering=rendering, dpi=size.dpi)
            top += plan.strips_in[number] + plan.gap_in
            if not plan.shared or plate is plates[-1]:
                shown = max(chosen, key=len) if plan.shared else chosen[number]
                draw_labels(strip, shown, frame, size, above=False)
                top += plan.orders_in
        if plan.scale is not None:
            _upper_scale(page, plan.scale, frame, plan.head_in - plan.scale_in)
        _position_scale(page, frame, top, plan.note)
        page.cautions(frame.left_in, plan.cautions)
    return page.figure


@dataclass(frozen=True)
class _Plan:
    """Where everything of a sheet stands [in]."""

    size: Size
    frame: StripFrame
    head_in: float
    scale: Scale | None
    scale_in: float
    caption_in: float
    strips_in: tuple[float, ...]
    orders_in: float
    shared: bool
    gap_in: float
    note: str
    cautions: str
    height_in: float


def _plan(
    plates: Sequence[Plate],
    marks: Sequence[Sequence[Mark]],
    across: tuple[float, float],
    size: Size,
    *,
    title: str,
    note: str,
) -> _Plan:
    """The roomiest plan that fits: a slide gives up the upper scale, then size of letters."""
    scale = shared_scale(plates)
    for letters in (1.0, 0.9, 0.8, 0.7) if size.height_in is not None else (1.0,):
        smaller = replace(size, text_pt=letters * size.text_pt)
        for scale_used in (scale, None) if scale is not None else (None,):
            margin = 0.035 * size.width_in
            frame = StripFrame(margin, size.width_in - 2 * margin, *across)
            plan = _planned(plates, marks, smaller, frame, title=title, note=note, scale=scale_used)
            if min(plan.strips_in) >= min(
                _LOWEST_ON_SLIDE * size.width_in, _true_height(plates, plan.frame)
            ):
                return plan
    raise too_many(len(plates))


def _planned(
    plates: Sequence[Plate],
    marks: Sequence[Sequence[Mark]],
    size: Size,
    frame: StripFrame,
    *,
    title: str,
    note: str,
    scale: Scale | None,
) -> _Plan:
    text = size.line_in()
    shared = len({tuple(each) for each in marks if each}) == 1 and len(plates) > 1
    scale_in = 2.8 * text if scale else 0.0
    head = 0.5 * text + (1.9 * text if title else 0.0) + scale_in
    caption, gap = 1.2 * text, 0.45 * text
    orders = 1.25 * text if any(marks) else 0.0
    cautions = cautions_of((c for p in plates for c in p.report.cautions), size, frame.width_in)
    foot = 2.4 * text + lines_in(cautions, size.tiny_pt) + 0.4 * text
    rows = 1 if shared else len(plates)
    fixed = head + len(plates) * (caption + gap) + rows * orders + foot
    limit = (TALLEST if len(plates) == 1 else _TALLEST_OF_MANY) * frame.width_in
    if size.height_in is not None:
        limit = max((size.height_in - fixed) / len(plates), 0.0)
    strips = tuple(strip_height(plate, frame, limit) for plate in plates)
    return _Plan(
        size,
        frame,
        head,
        scale,
        scale_in,
        caption,
        strips,
        orders,
        shared,
        gap,
        note if any(marks) else "",
        cautions,
        fixed + sum(strips),
    )


def _true_height(plates: Sequence[Plate], frame: StripFrame) -> float:
    return min(strip_height(plate, frame, frame.width_in) for plate in plates)


def _marks(plates: Sequence[Plate]) -> list[tuple[Mark, ...]]:
    """The orders of each plate, but none under a scale of wavelengths in the only one."""
    scale = shared_scale(plates)
    if scale is not None and scale.of_wavelengths:
        return [()] * len(plates)
    return [order_marks(plate) for plate in plates]


def one_each(key: str, given: Sequence[_T] | None, plates: Sequence[Plate]) -> Sequence[_T] | None:
    """What was given for the plates, if it is as many as they are, and they are some."""
    if not plates:
        raise InputError("needs at least one plate", key="plates")
    if given is not None and len(given) != len(plates):
        raise InputError(
            "must be as many as there are plates",
            key=key,
            value=len(given),
            expected=str(len(plates)),
        )
    return given


def _caption(page: Sheet, frame: StripFrame, top: float, label: str, exposure: str) -> None:
    size = page.size
    room = frame.width_in - width_of(exposure, size.small_pt) - 0.3
    label, points = fitted(label, room, size.text_pt, bold=True)
    page.text(frame.left_in, top, label, weight="bold", fontsize=points)
    page.note(frame.left_in + frame.width_in, top, exposure, ha="right")


def _upper_scale(page: Sheet, scale: Scale, frame: StripFrame, top: float) -> None:
    """Angle or wavelength along the upper edge of the sheet."""
    size = page.size
    ruler = page.axes(frame.left_in, top, frame.width_in, 2.3 * size.line_in())
    bare(ruler)
    ruler.set_xlim(frame.lo_m * MM, frame.hi_m * MM)
    axis = ruler.secondary_xaxis(0.0, functions=(scale.forward, scale.back))
    axis.tick_params(top=True, labeltop=True, bottom=False, labelbottom=False)
    axis.xaxis.set_major_locator(MaxNLocator(nbins=9, steps=[1, 2, 5, 10]))
    axis.xaxis.set_major_formatter(lambda value, _: f"{value:g}{scale.unit}".replace("-", "−"))
    page.note(frame.left_in, top, scale.name)


def _position_scale(page: Sheet, frame: StripFrame, top: float, note: str) -> None:
    size = page.size
    ruler = page.axes(frame.left_in, top, frame.width_in, 0.001)
    ruler.set_xlim(frame.lo_m * MM, frame.hi_m * MM)
    ruler.set_yticks([])
    ruler.spines["left"].set_visible(False)
    ruler.xaxis.set_major_locator(MaxNLocator(nbins=9, steps=[1, 2, 5, 10]))
    line = top + 1.35 * size.line_in()
    page.note(frame.left_in, line, POSITION)
    page.note(frame.left_in + frame.width_in, line, note, ha="right")
