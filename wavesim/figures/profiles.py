"""Profiles: light along a plate or across a line, on linear or logarithmic axes."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullFormatter, NullLocator

from wavesim.arrays import Floats
from wavesim.figures.lettering import plain
from wavesim.figures.marks import Mark, legible
from wavesim.figures.style import POSITION, Labels, Size, graph, size_named, styled

DECADES = 10
_MOST_POINTS = 6000  # a line drawn from more is no finer on any paper


def line_profile_figure(
    position: Floats,
    level: Floats,
    *,
    marks: Sequence[Mark] = (),
    x_label: str = POSITION,
    title: str = "",
    subtitle: str = "",
    decades: float = DECADES,
    cautions: tuple[str, ...] = (),
    size: str | Size = "page",
) -> Figure:
    """A line and all that surrounds it, on a logarithmic axis.

    Parameters
    ----------
    position : (n,) along the axis that `x_label` names
    level : (n,) light, in any unit; drawn relative to its highest value
    marks : predicted lines: `position_m` on the same axis as `position`, `level` relative to
        the highest value drawn as a circle
    title, subtitle : above the figure; none if empty
    decades : height of the axis
    cautions : for the eyes, at the lower edge
    """
    size = size_named(size)
    labels = Labels(title, subtitle, x_label, "relative to the line", cautions)
    with styled(size):
        sheet, axes = graph(size, labels, above_in=1.1 * size.line_in() if marks else 0.0)
        draw_profile(axes, position, level, log=True, decades=decades)
        axes.set_xlim(float(position[0]), float(position[-1]))
        draw_marks(axes, marks, size)
    return sheet.figure


def draw_profile(
    axes: Axes, position: Floats, level: Floats, *, log: bool, decades: float | None = None
) -> tuple[Floats, Floats]:
    """The curve, relative to its highest value, with quiet rules behind it.

    Returns the curve as drawn. Without `decades` a logarithmic axis goes down to the faintest
    light, ten decades at most.
    """
    peak = float(np.max(level, initial=0.0))
    height = np.asarray(level, dtype=np.float64) / (peak if peak > 0 else 1.0)
    x, low, high = envelope(np.asarray(position, dtype=np.float64), height)
    axes.grid(axis="y")
    if log:
        floor = _log_axis(axes, high, decades)
        low, high = np.maximum(low, floor), np.maximum(high, floor)
    else:
        axes.set_ylim(0.0, 1.06)
    colour = axes.xaxis.label.get_color()
    if x.size == position.size:
        axes.plot(x, high, color=colour, solid_joinstyle="round")
    else:
        axes.fill_between(x, low, high, color=colour, lw=0.6, edgecolor=colour)
    return x, high


def _log_axis(axes: Axes, height: Floats, decades: float | None) -> float:
    """Set the axis up; returns a value below it that may stand for nothing."""
    if decades is None:
        faintest = float(np.min(height[height > 0], initial=1.0))
        decades = min(max(math.ceil(-math.log10(faintest)), 2), DECADES)
    axes.set_yscale("log")
    axes.set_ylim(10.0**-decades, 2.0)
    axes.yaxis.set_major_locator(LogLocator(numticks=int(decades) + 2))
    axes.yaxis.set_minor_locator(
        LogLocator(subs=range(2, 10), numticks=100) if decades <= 4 else NullLocator()
    )
    axes.yaxis.set_minor_formatter(NullFormatter())
    return float(10.0 ** -(decades + 3))


def envelope(x: Floats, y: Floats, most: int = _MOST_POINTS) -> tuple[Floats, Floats, Floats]:
    """Middle x, lowest and highest y of stretches, so that no spike is lost; few points pass."""
    if x.size <= most:
        return x, y, y
    starts = np.linspace(0, x.size, most // 2, endpoint=False).astype(int)
    middle = np.add.reduceat(x, starts) / np.diff(np.append(starts, x.size))
    ends = np.minimum(np.append(starts[1:], x.size - 1), x.size - 1)  # stretches meet
    low = np.minimum(np.minimum.reduceat(y, starts), y[ends])
    high = np.maximum(np.maximum.reduceat(y, starts), y[ends])
    return middle, low, high


def draw_marks(
    axes: Axes, marks: Sequence[Mark], size: Size, *, scale: float = 1.0, named: bool = True
) -> None:
    """Predicted positions as fine lines, named above, and predicted levels as circles.

    `scale` takes the marks' positions to the axis.
    """
    lo, hi = axes.get_xlim()
    wide_in = axes.get_position().width * size.width_in
    labels = legible(marks, wide_in / (hi - lo) * scale, size.small_pt) if named else ()
    for mark in marks:
        x = mark.position_m * scale
        if lo <= x <= hi:
            label = plain(mark.label) if mark in labels else ""
            _draw_mark(axes, x, label, mark, size)


def _draw_mark(axes: Axes, x: float, label: str, mark: Mark, size: Size) -> None:
    colour = size.accent if mark.kind == "ghost" else size.quiet
    top = axes.get_xaxis_transform()
    dashes, thin = (0, (4, 3)), 0.6 * size.line_pt
    axes.plot(
        [x] * 2, [0.0, 1.0], transform=top, color=colour, alpha=0.5, lw=thin, ls=dashes, zorder=1
    )
    axes.text(
        x,
        1.01,
        label,
        transform=top,
        ha="center",
        va="bottom",
        fontsize=size.small_pt,
        color=colour,
    )
    if mark.level is not None:
        wide, thick = 0.62 * size.text_pt, 1.1 * size.line_pt
        axes.plot(x, mark.level, "o", ms=wide, mfc="none", mec=colour, mew=thick, zorder=4)
