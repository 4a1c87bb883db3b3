"""Where each wavelength goes: orders fan out across the plate as lines."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.figures.captions import aperture_words
from wavesim.figures.marks import order_positions, orders_on
from wavesim.figures.pictures import averaged, spectral_colours
from wavesim.figures.spectra import resampled
from wavesim.figures.strips import MM, plate_edges
from wavesim.figures.style import POSITION, Labels, Size, annotate, graph, size_named, styled
from wavesim.plate import Plate

_NM = 1e9
_DECADES = 3.0
_FAINTEST_ROW = 0.01  # of the strongest light: a row with less is drawn darker
_SEEN_M = (380e-9, 740e-9)  # drawn, if there is light; the eye sees little beyond
_MOST_NAMED = 25  # orders; beyond that every second, fifth, tenth ... is named


def wavelength_position_map(
    plate: Plate, *, orders: bool = True, size: str | Size = "page", title: str | None = None
) -> Figure:
    """Spectral irradiance along the plate: position across, wavelength upwards.

    Each wavelength is drawn in its own colour, bright where the light is strong, over three
    decades below the strongest at that wavelength. The grating equation is drawn over it.

    Parameters
    ----------
    plate : what was exposed
    orders : draw and number the lines on which orders lie
    size : "page", "slide" or "web"
    title : default the scene's
    """
    size = size_named(size)
    labels = Labels(
        title or plate.scene.title,
        f"{aperture_words(plate)} · brightness over three decades",
        POSITION,
        "wavelength in air (nm)",
        plate.report.cautions,
    )
    with styled(size):
        sheet, axes = graph(size, labels, above_in=1.2 * size.line_in(), left=0.09)
        _draw_light(axes, plate, int(0.9 * size.width_in * size.dpi))
        if orders:
            _draw_orders(axes, plate, size)
    return sheet.figure


def _draw_light(axes: Axes, plate: Plate, columns: int) -> None:
    grid_m = _grid(plate.profile_wavelength_m)
    light = averaged(plate.profile_spectrum, columns, axis=1)
    light = resampled(plate.profile_wavelength_m, light, grid_m)
    strongest = np.maximum(light.max(axis=1, keepdims=True), _FAINTEST_ROW * light.max())
    relative = light / np.where(strongest > 0, strongest, 1.0)
    shown = np.clip(1 + np.log10(np.maximum(relative, 1e-12)) / _DECADES, 0.0, 1.0)
    colours = spectral_colours(grid_m).astype(np.float64)
    lo, hi = plate_edges(plate)
    half = (grid_m[1] - grid_m[0]) / 2
    axes.set_facecolor("black")
    axes.imshow(
        np.round(shown[..., None] * colours[:, None, :]).astype(np.uint8),
        extent=(lo * MM, hi * MM, (grid_m[0] - half) * _NM, (grid_m[-1] + half) * _NM),
        origin="lower",
        aspect="auto",
        interpolation="nearest",
    )


def _grid(wavelength_m: Floats) -> Floats:
    """Wavelengths of the map's rows [m]: the visible ones; around all light if there is none."""
    low, high = max(wavelength_m[0], _SEEN_M[0]), min(wavelength_m[-1], _SEEN_M[1])
    if high - low < 2e-9:
        low, high = wavelength_m[0] - 2e-9, wavelength_m[-1] + 2e-9
    return np.linspace(low, high, 720)


def _draw_orders(axes: Axes, plate: Plate, size: Size) -> None:
    low, high = axes.get_ylim()
    wavelength_m = np.linspace(low / _NM, high / _NM, 400)
    corner = {"xycoords": "axes fraction", "ha": "right", "va": "bottom"}
    annotate(axes, "order", (0, 1), size, offset_em=(-0.4, 0.3), **corner)
    lo, hi = plate_edges(plate)
    found = orders_on(plate.scene, wavelength_m)
    step = next(s for s in (1, 2, 5, 10, 20, 50, 100, 10**6) if len(found) / s <= _MOST_NAMED)
    for order in found:
        if order % step:
            continue
        x_m = order_positions(plate.scene, order, wavelength_m)
        inside = (x_m >= lo) & (x_m <= hi)
        if not inside.any():
            continue
        axes.plot(
            np.where(inside, x_m, np.nan) * MM,
            wavelength_m * _NM,
            color="white",
            lw=0.6 * size.line_pt,
            ls=(0, (5, 4)),
            alpha=0.6,
        )
        _number(axes, order, x_m, wavelength_m, inside, size)


def _number(
    axes: Axes, order: int, x_m: Floats, wavelength_m: Floats, inside: NDArray[np.bool_], size: Size
) -> None:
    """The order's number where its line leaves the frame: above, or at the side."""
    last = int(np.flatnonzero(inside)[-1])
    above = last == x_m.size - 1
    label = f"{order}".replace("-", "−")
    side = 1 if x_m[last] > 0 else -1
    annotate(
        axes,
        label,
        (x_m[last] * MM, wavelength_m[last] * _NM),
        size,
        offset_em=(0, 0.3) if above else (-side * 0.35, 0),
        annotation_clip=False,
        color=size.ink if above else "white",
        ha="center" if above else ("right" if side > 0 else "left"),
        va="bottom" if above else "center",
    )
