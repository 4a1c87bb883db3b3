"""A photograph beside the fit: the picture's values, the engine's, and what is left."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure
from matplotlib.ticker import MaxNLocator
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.figures.lettering import lines_in
from wavesim.figures.style import (
    POSITION,
    Labels,
    Size,
    blank,
    cautions_of,
    heading_in,
    size_named,
    styled,
)
from wavesim.fitting import Fit, FittedPhotograph

_COLOURS = ("#C8452E", "#2E8B57", "#3465B0")  # of the red, green and blue channel
_CURVES_IN, _RESIDUAL_IN = 0.34, 0.13  # heights over the width


def fit_figure(found: Fit, *, title: str = "", size: str | Size = "page") -> Figure:
    """Each photograph: its strip, its values with the fit drawn through them, the residual.

    Parameters
    ----------
    found : what `wavesim.fit` gave
    title : default the scene's
    """
    size = size_named(size)
    values = ", ".join(
        f"{v.key.rpartition('.')[2]} {v.text}".replace("+-", "±").replace(" um", " µm")
        for v in found.values
    )
    labels = Labels(title or found.title, values)
    line = size.line_in()
    width = size.width_in
    each = (0.06 + _CURVES_IN + _RESIDUAL_IN) * width + 4.2 * line
    head = heading_in(size, labels.title, labels.subtitle) + 0.5 * line
    with styled(size):
        left = 0.1 * width
        cautions = cautions_of(found.cautions, size, 0.86 * width)
        foot = lines_in(cautions, size.tiny_pt)
        sheet = blank(size, head + len(found.compared) * each + foot)
        sheet.cautions(left, cautions)
        sheet.heading(left, labels.title, labels.subtitle)
        for number, compared in enumerate(found.compared):
            top = head + number * each
            strip = sheet.axes(left, top, 0.86 * width, 0.06 * width)
            _strip(strip, compared, size)
            upper = sheet.axes(left, top + 0.07 * width, 0.86 * width, _CURVES_IN * width)
            lower = sheet.axes(
                left, top + (0.085 + _CURVES_IN) * width, 0.86 * width, _RESIDUAL_IN * width
            )
            _curves(upper, compared, size)
            _residual(lower, compared, size)
            lower.set_xlabel(
                "distance from the centre (mm)" if compared.pattern.radial else POSITION, loc="left"
            )
    return sheet.figure


def _position_mm(compared: FittedPhotograph) -> Floats:
    return compared.x_m * 1e3


def _strip(axes, compared: FittedPhotograph, size: Size) -> None:  # type: ignore[no-untyped-def]
    """The photograph's mean row; hatched where all of it is burnt out and left out."""
    value = np.clip(compared.pattern.value, 0, 1)
    shown = np.repeat(value, 3, axis=1) if value.shape[1] == 1 else value
    x = _position_mm(compared)
    low, high = float(x[0]), float(x[-1])
    axes.imshow(shown[None], aspect="auto", interpolation="nearest", extent=(low, high, 0, 1))
    for first, last in _stretches(np.asarray(compared.pattern.burnt.all(axis=1))):
        a, b = float(x[first]), float(x[last])
        axes.axvspan(a, b, facecolor="#E4E7EB", edgecolor="#A4ACB6", hatch="///", lw=0)
        if b - a > 0.09 * (high - low):
            axes.text(
                (a + b) / 2, 0.5, "burnt out", ha="center", va="center", fontsize=size.small_pt,
                bbox={"facecolor": "#E4E7EB", "edgecolor": "none", "pad": 1.5},
            )  # fmt: skip
    axes.set_xlim(low, high)
    axes.set_axis_off()


def _stretches(marked: NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last number of each run of marked samples."""
    edges = np.flatnonzero(np.diff(np.concatenate([[0], marked.astype(np.int8), [0]])))
    return [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def _channels(compared: FittedPhotograph) -> list[str]:
    return ["#1B1F24"] if compared.pattern.value.shape[1] == 1 else list(_COLOURS)


def _curves(axes, compared: FittedPhotograph, size: Size) -> None:  # type: ignore[no-untyped-def]
    x = _position_mm(compared)
    value, used = compared.value, compared.pattern.usable
    for c, colour in enumerate(_channels(compared)):
        held = np.where(used[:, c], value[:, c], np.nan)
        axes.plot(x, held, color=colour, lw=2.6 * size.line_pt, alpha=0.35, solid_capstyle="butt")
        fitted = np.where(used[:, c], compared.fitted[:, c], np.nan)
        axes.plot(x, fitted, color=colour, lw=0.9 * size.line_pt)
    axes.set_xlim(float(x[0]), float(x[-1]))
    axes.set_ylim(0, 1.05)
    axes.set_xticklabels([])
    known = compared.pattern.linear or compared.pattern.reading.tone != "fitted"
    axes.set_ylabel(f"{'light' if known else 'picture'} (thick), fit (thin)")


def _residual(axes, compared: FittedPhotograph, size: Size) -> None:  # type: ignore[no-untyped-def]
    x = _position_mm(compared)
    used = compared.pattern.usable
    left = np.where(used, compared.value - compared.fitted, np.nan)
    for c, colour in enumerate(_channels(compared)):
        axes.plot(x, left[:, c], color=colour, lw=0.7 * size.line_pt)
    reach = max(float(np.nanmax(np.abs(left))), 0.01) * 1.15
    axes.set_xlim(float(x[0]), float(x[-1]))
    axes.set_ylim(-reach, reach)
    axes.axhline(0.0, color=size.rule, lw=0.8 * size.line_pt, zorder=0)
    axes.yaxis.set_major_locator(MaxNLocator(3))
    axes.set_ylabel("difference")
