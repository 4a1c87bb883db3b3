"""Where a formula stops holding: its error against a parameter."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import LogLocator, NullFormatter

from wavesim.arrays import Floats
from wavesim.errors import InputError
from wavesim.figures.lettering import plain
from wavesim.figures.style import Labels, Size, annotate, graph, size_named, styled

_DASHES = ("-", (0, (5, 2)), (0, (1, 1.5)), (0, (5, 2, 1, 2)), (0, (8, 2)))


def failure_figure(
    parameter: Floats,
    errors: Sequence[tuple[str, Floats]],
    *,
    tolerance: float,
    labels: Labels,
    fails_at: float | None = None,
    fails_label: str = "",
    size: str | Size = "page",
) -> Figure:
    """Errors of textbook formulas against a parameter, on logarithmic axes.

    Parameters
    ----------
    parameter : (n,) positive, rising
    errors : name and (n,) error of each formula; zeros are left out
    tolerance : above it a formula counts as failing; that side is tinted
    labels : title, subtitle and the names of the axes
    fails_at : the parameter from which the formulas are said to fail, marked with `fails_label`

    Raises
    ------
    InputError
        Not a single value.
    """
    size = size_named(size)
    with styled(size):
        sheet, axes = graph(size, labels)
        axes.set_xscale("log")
        axes.set_yscale("log")
        axes.grid(axis="y")
        for number, (name, error) in enumerate(errors):
            _draw_error(axes, parameter, error, name, number, size)
        axes.set_xlim(*_ends(parameter))
        _draw_tolerance(axes, tolerance, size)
        if fails_at is not None:
            _draw_threshold(axes, fails_at, fails_label, size)
        axes.yaxis.set_major_locator(LogLocator(numticks=9))
        axes.yaxis.set_minor_formatter(NullFormatter())
        low, high = axes.get_xlim()
        if high > 10 * low:  # two powers of ten are named: names between them would run together
            axes.xaxis.set_minor_formatter(NullFormatter())
        if len(errors) > 1:
            axes.legend(
                handlelength=2.6,
                frameon=True,
                facecolor=size.paper,
                edgecolor="none",
                framealpha=0.9,
            )
    return sheet.figure


def _ends(parameter: Floats) -> tuple[float, float]:
    if parameter.size == 0:
        raise InputError("the error could not be computed for any value", key="parameter")
    low, high = float(parameter[0]), float(parameter[-1])
    return (low, high) if high > low else (low / 2, low * 2)


def _draw_error(
    axes: Axes, parameter: Floats, error: Floats, name: str, number: int, size: Size
) -> None:
    height = np.abs(np.asarray(error, dtype=np.float64))
    axes.plot(
        parameter,
        np.where(height > 0, height, np.nan),
        label=plain(name),
        color=size.series[number % len(size.series)],
        ls=_DASHES[number % len(_DASHES)],
        lw=1.4 * size.line_pt,
    )


def _draw_tolerance(axes: Axes, tolerance: float, size: Size) -> None:
    low, high = axes.get_ylim()
    low, high = min(low, tolerance / 3), max(high, tolerance * 3)
    axes.set_ylim(low, high)
    axes.axhspan(tolerance, high, color=size.accent, alpha=0.07, lw=0)
    axes.axhline(tolerance, color=size.accent, lw=0.8 * size.line_pt)
    annotate(
        axes,
        f"fails above {tolerance:g}",
        (0.0, tolerance),
        size,
        offset_em=(0.5, 0.3),
        xycoords=("axes fraction", "data"),
        color=size.accent,
    )


def _draw_threshold(axes: Axes, fails_at: float, label: str, size: Size) -> None:
    axes.axvline(fails_at, color=size.quiet, lw=0.8 * size.line_pt, ls=(0, (4, 3)))
    lo, hi = axes.get_xlim()
    side = -1 if fails_at**2 > lo * hi else 1  # the label stands where there is more room
    annotate(
        axes,
        label,
        (fails_at, 0.03),
        size,
        offset_em=(side * 0.4, 0),
        xycoords=("data", "axes fraction"),
        ha="right" if side < 0 else "left",
    )
