"""Efficiency of a grating's orders over wavelength or turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D

from wavesim.arrays import Floats
from wavesim.figures.lettering import lines_in, plain, width_of
from wavesim.figures.style import (
    Labels,
    Sheet,
    Size,
    annotate,
    blank,
    cautions_of,
    heading_in,
    size_named,
    styled,
)

_PANEL = 0.235  # height over width
_MOST = 6
_CURVES = ("along the grooves", "across the grooves", "scalar theory")


@dataclass(frozen=True, eq=False)
class OrderCurves:
    """One order's curves (n,) as fractions: rigorous along and across the grooves, and scalar."""

    name: str
    along: Floats
    across: Floats
    scalar: Floats


@dataclass(frozen=True)
class AnomalyMark:
    """A predicted anomaly: its position on the axis, a short label, and whether it is a plasmon."""

    position: float
    label: str
    plasmon: bool


def efficiency_figure(
    x: Floats,
    orders: Sequence[OrderCurves],
    *,
    marks: Sequence[AnomalyMark] = (),
    labels: Labels,
    size: str | Size = "page",
) -> Figure:
    """One panel an order, over a common axis; orders that pass off and plasmons are marked.

    Parameters
    ----------
    x : (n,) in the unit that `words.x_label` names
    orders : at most six
    marks : vertical rules through all panels, labelled at the top
    labels : title, subtitle and the names of the axes
    """
    size = size_named(size)
    shown = list(orders)[:_MOST]
    line = size.line_in()
    with styled(size):
        head = heading_in(size, labels.title, labels.subtitle) + 3.9 * line
        left, gap = 0.1 * size.width_in, 0.9 * line
        width = 0.96 * size.width_in - left
        cautions = cautions_of(labels.cautions, size, width)
        foot = 2.9 * line + lines_in(cautions, size.tiny_pt)
        panel_in = _PANEL * size.width_in * (1.6 if len(shown) == 1 else 1.0)
        sheet = blank(size, head + len(shown) * (panel_in + gap) - gap + foot)
        room = None if size.height_in is None else size.height_in - head - foot + gap
        height = panel_in if room is None else room / len(shown) - gap
        sheet.heading(left, labels.title, labels.subtitle)
        sheet.cautions(left, cautions)
        for number, order in enumerate(shown):
            axes = sheet.axes(left, head + number * (height + gap), width, height)
            _panel(axes, x, order, marks, size)
            last = number == len(shown) - 1
            axes.tick_params(labelbottom=last)
            if last:
                axes.set_xlabel(plain(labels.x_label), loc="left")
            if number == 0:
                _labels(axes, marks, width, size)
        _legend(sheet, left, head - 3.6 * line, size)
    return sheet.figure


def _panel(
    axes: Axes, x: Floats, order: OrderCurves, marks: Sequence[AnomalyMark], size: Size
) -> None:
    axes.grid(axis="y")
    for mark in marks:
        dash = (0, (1, 1.6)) if mark.plasmon else (0, (5, 2.5))
        axes.axvline(mark.position, color=size.quiet, lw=0.7 * size.line_pt, ls=dash)
    strong = 1.5 * size.line_pt
    axes.plot(x, 100 * order.scalar, color=size.quiet, lw=size.line_pt, ls=(0, (4, 2)))
    axes.plot(x, 100 * order.along, color=size.series[0], lw=strong)
    axes.plot(x, 100 * order.across, color=size.series[1], lw=strong)
    top = 100 * max(float(np.max(c)) for c in (order.along, order.across, order.scalar))
    axes.set_ylim(0.0, max(1.12 * top, 1.0))
    axes.set_xlim(float(x[0]), float(x[-1]))
    axes.set_ylabel("%")
    annotate(
        axes, order.name, (1.0, 1.0), size, offset_em=(-0.3, -0.2), xycoords="axes fraction",
        ha="right", va="top", color=size.ink,
        bbox={"facecolor": size.paper, "edgecolor": "none", "pad": 1.0, "alpha": 0.85},
    )  # fmt: skip


def _labels(axes: Axes, marks: Sequence[AnomalyMark], width_in: float, size: Size) -> None:
    """Labels of the marks above the first panel, those that have room."""
    low, high = axes.get_xlim()
    ends = {False: -np.inf, True: -np.inf}  # plasmons stand in a row of their own
    for mark in sorted(marks, key=lambda m: m.position):
        end = ends[mark.plasmon]
        middle = (mark.position - low) / (high - low) * width_in
        half = width_of(mark.label, size.tiny_pt) / 2
        if middle - half < end or not low <= mark.position <= high:
            continue
        ends[mark.plasmon] = middle + half + 0.5 * size.tiny_pt / 72
        annotate(
            axes, mark.label, (mark.position, 1.0), size,
            offset_em=(0.0, 1.4 if mark.plasmon else 0.3), xycoords=("data", "axes fraction"),
            ha="center", va="bottom", fontsize=size.tiny_pt,
        )  # fmt: skip


def _legend(sheet: Sheet, left: float, top: float, size: Size) -> None:
    strong = 1.5 * size.line_pt
    styles = (
        (size.series[0], strong, "-"), (size.series[1], strong, "-"),
        (size.quiet, size.line_pt, "--"),
    )  # fmt: skip
    x_in, line = left, size.line_in()
    for name, (colour, width, dash) in zip(_CURVES, styles, strict=True):
        y = 1 - (top + 0.42 * line) / sheet.height_in
        ends = [x_in / sheet.width_in, (x_in + 1.8 * line) / sheet.width_in]
        sheet.figure.add_artist(Line2D(ends, [y, y], color=colour, lw=width, ls=dash))
        text = f"electric field {name}" if "grooves" in name else name
        sheet.text(x_in + 2.2 * line, top, text, fontsize=size.small_pt)
        x_in += 3.4 * line + width_of(text, size.small_pt)
