"""Strips: pictures of plates in true proportion, with their orders beside them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.patches import Rectangle
from matplotlib.transforms import blended_transform_factory

from wavesim.colorimetry import Rendering
from wavesim.figures import pictures
from wavesim.figures.lettering import plain
from wavesim.figures.marks import Mark, legible
from wavesim.figures.style import Size
from wavesim.plate import Plate
from wavesim.scene import Ruled

MM = 1e3
TALLEST = 0.45  # of its width: a taller plate is shown by its middle
LOWEST_IN = 0.16  # a lower one is stretched until it can be seen


@dataclass(frozen=True)
class StripFrame:
    """What every strip of a sheet shares: left edge, width [in], and the plate's x range [m]."""

    left_in: float
    width_in: float
    lo_m: float
    hi_m: float

    @property
    def in_per_m(self) -> float:
        """Scale: inches on paper per metre of plate."""
        return self.width_in / (self.hi_m - self.lo_m)


def range_of(plates: Sequence[Plate]) -> tuple[float, float]:
    edges = [plate_edges(plate) for plate in plates]
    return min(lo for lo, _ in edges), max(hi for _, hi in edges)


def in_two_dimensions(plate: Plate) -> bool:
    """Whether the plate varies along y as it does along x, so that all of it must be shown."""
    return not isinstance(plate.scene.aperture, Ruled)


def plate_edges(plate: Plate) -> tuple[float, float]:
    """x of the outer edges of the outer pixels [m]."""
    half = plate.scene.plate.pixel_m / 2
    return float(plate.x_m[0]) - half, float(plate.x_m[-1]) + half


def strip_height(plate: Plate, frame: StripFrame, limit_in: float) -> float:
    true = plate.y_m.size * plate.scene.plate.pixel_m * frame.in_per_m
    return max(min(true, limit_in), min(LOWEST_IN, limit_in))


def draw_plate(
    axes: Axes, plate: Plate, frame: StripFrame, *, rendering: Rendering | None, dpi: float
) -> None:
    """The plate's picture at its position in the frame, in true proportion, cut to the axes."""
    lo, hi = plate_edges(plate)
    box = axes.get_position()
    figure = axes.figure
    high_in = box.height * figure.get_figheight()  # type: ignore[union-attr]
    half_m = plate.y_m.size * plate.scene.plate.pixel_m / 2
    columns = math.ceil((hi - lo) * frame.in_per_m * dpi)
    rows = math.ceil(2 * half_m * frame.in_per_m * dpi)
    image = pictures.drawn(plate, columns, max(rows, 1), rendering=rendering)
    shown = min(half_m, high_in / frame.in_per_m / 2)
    axes.imshow(
        image,
        extent=(lo * MM, hi * MM, -half_m * MM, half_m * MM),
        interpolation="nearest",
        aspect="auto",
    )
    axes.set_xlim(frame.lo_m * MM, frame.hi_m * MM)
    axes.set_ylim(-shown * MM, shown * MM)
    bare(axes)
    hairline = Rectangle((lo * MM, -shown * MM), (hi - lo) * MM, 2 * shown * MM, fill=False, lw=0.4)
    hairline.set_edgecolor(axes.spines["left"].get_edgecolor())
    hairline.set_clip_on(False)
    axes.add_patch(hairline)  # without it a white fringe would melt into the paper


def bare(axes: Axes) -> None:
    """Take ticks and edges away."""
    axes.set_xticks([])
    axes.set_yticks([])
    for spine in axes.spines.values():
        spine.set_visible(False)


def draw_labels(
    axes: Axes, marks: Sequence[Mark], frame: StripFrame, size: Size, *, above: bool
) -> None:
    """Ticks at the marks outside the picture, and as many labels as can stand side by side."""
    named = legible(marks, frame.in_per_m, size.small_pt)
    mixed = blended_transform_factory(axes.transData, axes.transAxes)
    high_in = axes.get_position().height * axes.figure.get_figheight()  # type: ignore[union-attr]
    edge, out = (1.0, 1.0) if above else (0.0, -1.0)
    for mark in marks:
        long = 0.045 * size.text_pt / 8 * (1.0 if mark in named else 0.6)
        axes.plot(
            [mark.position_m * MM] * 2,
            [
                edge + out * 0.012 * size.text_pt / 8 / high_in,
                edge + out * (0.012 * size.text_pt / 8 + long) / high_in,
            ],
            transform=mixed,
            color=size.accent if mark.kind == "ghost" else size.quiet,
            lw=0.7 * size.line_pt,
            clip_on=False,
            solid_capstyle="butt",
        )
    for mark in named:
        axes.text(
            mark.position_m * MM,
            edge + out * 0.07 * size.text_pt / 8 / high_in,
            plain(mark.label),
            transform=mixed,
            ha="center",
            va="bottom" if above else "top",
            fontsize=size.small_pt,
            color=size.accent if mark.kind == "ghost" else size.ink,
        )
