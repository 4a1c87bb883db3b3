"""Colours of a plate on the CIE diagram, and the spectra that make them."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np
from matplotlib.axes import Axes
from matplotlib.collections import LineCollection
from matplotlib.figure import Figure
from matplotlib.patches import Polygon, Rectangle
from matplotlib.patheffects import withStroke
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.colorimetry import picture
from wavesim.colorimetry.spaces import RGB_SPACES, d65_xyz, xy_to_xyz, xyz_to_xy
from wavesim.errors import InputError
from wavesim.figures.lettering import lines_in
from wavesim.figures.pictures import averaged, spectral_colours
from wavesim.figures.spectra import bridged, missing_wavelengths
from wavesim.figures.style import (
    Sheet,
    Size,
    annotate,
    blank,
    cautions_of,
    size_named,
    styled,
)
from wavesim.light.observer import cie1931, colour_matching
from wavesim.plate import Plate
from wavesim.study.point import Colour, column_of
from wavesim.study.point.colour import NAMED_AT, colour_at

_MM, _NM = 1e3, 1e9
_XLIM, _YLIM = (-0.09, 0.80), (-0.03, 0.88)
_NUMBERED = (450, 470, 480, 490, 500, 510, 520, 540, 560, 580, 600, 620, 700)
_LABELS_APART = 0.06  # in x, y: closer colours share a label
_SEEN_NM = (390.0, 720.0)


def spectrum_at_point(
    plate: Plate, x_m: float, *, size: str | Size = "page", title: str | None = None
) -> Figure:
    """The spectrum at one point of the plate's middle, beside its colour on the CIE diagram.

    Says which wavelengths are missing there, the colour's name, and its dominant wavelength or,
    for a purple, the complementary one.

    Raises
    ------
    InputError
        The point is not on the plate.
    """
    size = size_named(size)
    column = column_of(plate, x_m)
    colour = colour_at(plate, column)
    with styled(size):
        text = size.line_in()
        left, head = 0.085 * size.width_in, 3.9 * text
        cautions = cautions_of(plate.report.cautions, size, 0.88 * size.width_in)
        foot = 2.8 * text + lines_in(cautions, size.tiny_pt)
        high = 0.40 * size.width_in if size.height_in is None else size.height_in - head - foot
        sheet = blank(size, head + high + foot)
        name = f"{plate.scene.title}: {colour.name} at x = {x_m * _MM:g} mm".replace("-", "−")
        sheet.cautions(left, cautions)
        _title(sheet, plate, column, title or name, _in_numbers(plate, column, colour))
        right = 0.60 * size.width_in
        _draw_spectrum(sheet.axes(left, head, 0.44 * size.width_in, high), plate, column, size)
        wide = min(
            size.width_in - right - 0.02 * size.width_in, high * np.ptp(_XLIM) / np.ptp(_YLIM)
        )
        tall = wide * np.ptp(_YLIM) / np.ptp(_XLIM)
        diagram = sheet.axes(right, head + high - tall, wide, tall)
        draw_diagram(diagram, size)
        _draw_ray(diagram, colour, xyz_to_xy(plate.white_xyz), size)
    return sheet.figure


def chromaticity_path(
    plate: Plate,
    *,
    x_range_m: tuple[float, float] | None = None,
    stations_m: Iterable[float] = (),
    size: str | Size = "page",
    title: str | None = None,
) -> Figure:
    """The way that the plate's colour takes on the CIE diagram along its middle.

    Parameters
    ----------
    x_range_m : part of the plate [m]; default all of it
    stations_m : positions to mark and label on the path [m]
    """
    size = size_named(size)
    lo, hi = x_range_m or (plate.x_m[0], plate.x_m[-1])
    inside = (plate.x_m >= lo) & (plate.x_m <= hi)
    if not inside.any():
        raise InputError("lies outside the plate", key="x_range_m", value=(lo, hi))
    with styled(size):
        text = size.line_in()
        head = 3.3 * text
        cautions = cautions_of(plate.report.cautions, size, 0.85 * size.width_in)
        foot = 2.8 * text + lines_in(cautions, size.tiny_pt)
        tall = 0.72 * size.width_in if size.height_in is None else size.height_in - head - foot
        wide = tall * np.ptp(_XLIM) / np.ptp(_YLIM)
        sheet = blank(size, head + tall + foot)
        left = (size.width_in - wide) / 2 + 0.03 * size.width_in
        subtitle_text = f"colour along the plate from {lo * _MM:.4g} to {hi * _MM:.4g} mm".replace(
            "-", "−"
        )
        sheet.heading(left, title or plate.scene.title, subtitle_text)
        sheet.cautions(0.09 * size.width_in, cautions)
        axes = sheet.axes(left, head, wide, tall)
        draw_diagram(axes, size)
        _draw_path(axes, plate, inside, size)
        for point in stations_m:
            _draw_station(axes, plate, point, size)
    return sheet.figure


def draw_diagram(axes: Axes, size: Size) -> None:
    """The CIE 1931 diagram: faint colours, the locus with its wavelengths, what a screen shows."""
    wavelength_m, cmf = cie1931()
    used = (wavelength_m > 389e-9) & (wavelength_m < 701e-9)
    wavelength_m, locus = wavelength_m[used], xyz_to_xy(cmf[used])
    shape = Polygon(
        locus,
        closed=True,
        transform=axes.transData,
        facecolor="none",
        edgecolor=size.quiet,
        lw=0.7 * size.line_pt,
    )
    image = axes.imshow(
        _faint_colours(size),
        extent=(*_XLIM, *_YLIM),
        origin="lower",
        aspect="auto",
        interpolation="bilinear",
    )
    axes.add_patch(shape)
    image.set_clip_path(shape)
    triangle = xyz_to_xy(np.eye(3) @ RGB_SPACES["srgb"].to_xyz().T)
    axes.add_patch(
        Polygon(
            triangle, closed=True, fill=False, ec=size.quiet, ls=(0, (2, 2)), lw=0.7 * size.line_pt
        )
    )
    _number_locus(axes, wavelength_m, locus, size)
    axes.set_xlim(_XLIM)
    axes.set_ylim(_YLIM)
    axes.set_xticks(np.arange(0, 0.8, 0.2))
    axes.set_yticks(np.arange(0, 0.9, 0.2))
    axes.set_xlabel("x")
    axes.text(-0.02, 1.0, "y", transform=axes.transAxes, ha="right", va="top")


def _faint_colours(size: Size) -> NDArray[np.uint8]:
    x, y = np.meshgrid(np.linspace(*_XLIM, 240), np.linspace(*_YLIM, 260))
    xyz = xy_to_xyz(np.stack([np.clip(x, 1e-3, None), np.clip(y, 1e-3, None)], axis=-1))
    xyz = np.clip(xyz, 0, None) / xyz.sum(axis=-1, keepdims=True)
    shown = picture(xyz * 1.1, white_xyz=d65_xyz(), white_level=1.0, balance="none")
    paper = np.array([int(size.paper[k : k + 2], 16) for k in (1, 3, 5)])
    return np.asarray(np.round(0.45 * shown + 0.55 * paper), dtype=np.uint8)


def _number_locus(axes: Axes, wavelength_m: Floats, locus: Floats, size: Size) -> None:
    tangent = np.gradient(locus, axis=0)
    outward = np.stack([-tangent[:, 1], tangent[:, 0]], axis=-1)
    outward[wavelength_m > 640e-9] = (1.0, 0.6)  # where the locus hardly moves
    outward /= np.linalg.norm(outward, axis=-1, keepdims=True)
    for number in _NUMBERED:
        k = int(np.argmin(np.abs(wavelength_m * _NM - number)))
        foot, tip = locus[k], locus[k] + 0.012 * outward[k]
        axes.plot(*np.stack([foot, tip], axis=1), color=size.quiet, lw=0.6 * size.line_pt)
        point = locus[k] + 0.02 * outward[k]
        axes.text(
            point[0],
            point[1],
            f"{number}",
            fontsize=0.85 * size.small_pt,
            color=size.quiet,
            ha="right" if outward[k, 0] < -0.4 else ("left" if outward[k, 0] > 0.4 else "center"),
            va="bottom" if outward[k, 1] > 0.4 else ("top" if outward[k, 1] < -0.6 else "center"),
        )


def _title(sheet: Sheet, plate: Plate, column: int, title: str, subtitle: str) -> None:
    """Title and subtitle beside a patch of the colour, as bright as it is named."""
    size, text, left = sheet.size, sheet.size.line_in(), 0.085 * sheet.width_in
    xyz = plate.xyz[plate.xyz.shape[0] // 2, column]
    even = xyz * (NAMED_AT * plate.white_exposure_lx_s / xyz[1]) if xyz[1] > 0 else xyz
    box = 2.1 * text
    swatch = sheet.axes(left, 0.5 * text, box, box)
    swatch.set_axis_off()
    rgb = picture(
        even,
        white_xyz=plate.white_xyz,
        white_level=plate.white_exposure_lx_s,
        balance=plate.scene.exposure.balance,
    )
    swatch.add_patch(
        Rectangle(
            (0, 0),
            1,
            1,
            transform=swatch.transAxes,
            fc=rgb / 255,
            ec=size.quiet,
            lw=0.5 * size.line_pt,
        )
    )
    sheet.heading(left + box + 0.6 * text, title, subtitle)


def _in_numbers(plate: Plate, column: int, colour: Colour) -> str:
    """Dominant or complementary wavelength, purity, and what is missing, in one line."""
    if not np.isfinite(colour.stops):
        return "no light"
    if np.isfinite(colour.dominant_m):
        text = f"dominant wavelength {colour.dominant_m * _NM:.0f} nm"
    else:
        text = f"complementary to {colour.complementary_m * _NM:.0f} nm"
    missing = missing_wavelengths(plate, column)
    listed = ", ".join(f"{value * _NM:.0f}" for value in missing)
    gone = f" · extinguished: {listed} nm" if listed else ""
    return f"{text}, purity {100 * colour.purity:.0f} %{gone}"


def _draw_spectrum(axes: Axes, plate: Plate, column: int, size: Size) -> None:
    spectra = plate.profile_spectrum
    both = np.stack([spectra[:, column], spectra.mean(axis=1)], axis=1)
    wavelength_m, both = bridged(plate.profile_wavelength_m, both)
    nm = wavelength_m * _NM
    visible = (nm >= _SEEN_NM[0]) & (nm <= _SEEN_NM[1])
    peaks = both[visible].max(axis=0, initial=0.0)
    light, mean = (both / np.where(peaks > 0, peaks, both.max() or 1.0)).T
    _fill_spectrum(axes, nm, light)
    axes.plot(nm, light, color=size.ink)
    axes.plot(nm, mean, color=size.quiet, lw=0.6 * size.line_pt)
    _name_peak(axes, nm, np.where(visible, mean, 0.0), size)
    _mark_missing(axes, missing_wavelengths(plate, column) * _NM, size)
    axes.set_xlim(_visible_range(nm))
    axes.set_ylim(0, 1.12)
    axes.set_xlabel("wavelength in air (nm)", loc="left")
    axes.set_ylabel("spectral irradiance, peak = 1")


def _fill_spectrum(axes: Axes, nm: Floats, light: Floats) -> None:
    fill = axes.imshow(
        spectral_colours(np.linspace(nm[0], nm[-1], 1000) / _NM)[None],
        extent=(nm[0], nm[-1], 0, 1.08),
        aspect="auto",
        interpolation="bilinear",
        zorder=0,
    )
    outline = np.array([(nm[0], 0), *zip(nm, light, strict=True), (nm[-1], 0)])
    fill.set_clip_path(Polygon(outline, closed=True, transform=axes.transData))


def _name_peak(axes: Axes, nm: Floats, mean: Floats, size: Size) -> None:
    highest = int(np.argmax(mean))
    side = "left" if nm[highest] < np.mean(_visible_range(nm)) else "right"
    annotate(axes, "whole plate", (nm[highest], mean[highest]), size, offset_em=(0, 0.25), ha=side)


def _mark_missing(axes: Axes, missing_nm: Floats, size: Size) -> None:
    arrow = {"arrowstyle": "-|>", "color": size.ink, "lw": 0.7 * size.line_pt}
    for gone in missing_nm:
        axes.annotate(
            f"{gone:.0f}",
            (gone, 0.02),
            xytext=(gone, 0.14),
            ha="center",
            fontsize=size.small_pt,
            arrowprops={**arrow, "shrinkA": 0, "shrinkB": 0},
        )


def _visible_range(nm: Floats) -> tuple[float, float]:
    """The part of the wavelength axis that is drawn [nm]."""
    low, high = max(float(nm[0]), _SEEN_NM[0]), min(float(nm[-1]), _SEEN_NM[1])
    return (low, high) if high > low else (float(nm[0]) - 1, float(nm[-1]) + 1)


def _draw_ray(axes: Axes, colour: Colour, white: Floats, size: Size) -> None:
    """From white through the colour to the locus; dashed on to the complement for a purple."""
    xy = np.array(colour.xy)
    purple = not np.isfinite(colour.dominant_m)
    target = colour.complementary_m if purple else colour.dominant_m
    style = (0, (3, 2)) if purple else "-"
    if np.isfinite(target):
        end = xyz_to_xy(colour_matching(target))
        axes.plot(*np.stack([white, end], axis=1), color=size.ink, lw=0.8 * size.line_pt, ls=style)
    axes.plot(*np.stack([white, xy], axis=1), color=size.ink, lw=0.8 * size.line_pt)
    apart = float(np.linalg.norm(xy - white))
    _dot(axes, white, "white", size, hollow=True)
    if np.isfinite(apart):
        _dot(axes, xy, "here" if apart > _LABELS_APART else "", size)


def _dot(axes: Axes, xy: Floats, label: str, size: Size, *, hollow: bool = False) -> None:
    axes.plot(
        *xy,
        "o",
        ms=0.55 * size.text_pt,
        mfc=size.paper if hollow else size.ink,
        mec=size.ink if hollow else size.paper,
        mew=0.8 * size.line_pt,
        zorder=5,
    )
    annotate(
        axes,
        label,
        (xy[0], xy[1]),
        size,
        offset_em=(0.55, -0.9),
        color=size.ink,
        zorder=6,
        path_effects=[withStroke(linewidth=0.35 * size.text_pt, foreground=size.paper, alpha=0.8)],
    )


def _draw_path(axes: Axes, plate: Plate, inside: NDArray[np.bool_], size: Size) -> None:
    middle = plate.xyz[plate.xyz.shape[0] // 2][inside]
    middle = averaged(middle, 1500, axis=0)
    xy = xyz_to_xy(middle)
    steps = np.stack([xy[:-1], xy[1:]], axis=1)
    strength = middle[:-1, 1] / middle[:, 1].max()
    widths = size.line_pt * (0.5 + 1.8 * strength**0.25)
    axes.add_collection(
        LineCollection(list(steps), colors=size.ink, linewidths=widths, capstyle="round", zorder=3)
    )
    _dot(axes, xyz_to_xy(plate.white_xyz), "white", size, hollow=True)


def _draw_station(axes: Axes, plate: Plate, x_m: float, size: Size) -> None:
    xy = xyz_to_xy(plate.xyz[plate.xyz.shape[0] // 2, column_of(plate, x_m)])
    _dot(axes, xy, f"{x_m * _MM:g} mm".replace("-", "−"), size)
