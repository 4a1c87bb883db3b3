"""Figures of studies: distribution and yield, map over two keys, band of profiles, contact sheet,
sensitivities.

    for name, figure in study_figures("screw.h5").items():
        save(figure, f"screw_{name}.png")
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from matplotlib.ticker import MaxNLocator

from wavesim import light
from wavesim.arrays import Floats
from wavesim.ensemble.joined import plan_of, reading
from wavesim.ensemble.numbers import NUMBERS
from wavesim.ensemble.recorded import Members, read_members
from wavesim.ensemble.summary import Sensitivity, alike, sensitivities
from wavesim.errors import InputError
from wavesim.figures.contact import contact_sheet
from wavesim.figures.lettering import plain
from wavesim.figures.study_axes import (
    bins,
    cells,
    in_unit,
    key_words,
    label,
    quantity,
    scale,
    unit_axis,
    units_of,
)
from wavesim.figures.style import (
    Labels,
    Size,
    graph,
    save,
    size_named,
    styled,
)

_BAND = (0.05, 0.5, 0.95)
_BAR_LINES = 2.2  # height of a bar and its gap, in lines of text
_LEAST_BARS = 5  # rows of a figure as high as a slide, so that few bars are not blocks


def study_figure(
    path: str | Path,
    kind: str = "",
    *,
    number: str = "",
    title: str = "",
    size: str | Size = "page",
) -> Figure:
    """One figure of a study file.

    Parameters
    ----------
    kind : distribution, map, band, contact or sensitivity; "" for the one that fits best
    number : which recorded number; "" for the first

    Raises
    ------
    PlateFileError
        The file is missing or not a study file.
    InputError
        The study does not hold what the figure shows.
    """
    members = read_members(path)
    fitting = kinds_for(members, path)
    chosen = kind or fitting[0]
    if chosen not in fitting:
        raise InputError(
            "does not fit this study",
            file=path,
            key="--draw",
            value=chosen,
            expected=" or ".join(fitting),
        )
    differing = (name for name, values in members.numbers.items() if not alike(values))
    name = number or next(differing, "")
    if name and name not in members.numbers:
        raise InputError(
            "is not recorded",
            file=path,
            key="number",
            value=name,
            expected=" or ".join(members.numbers),
        )
    look: dict[str, Any] = {
        "title": title, "size": size, "cautions": light.cautions(plan_of(path).scene.source)
    }  # fmt: skip
    draw: dict[str, Callable[[], Figure]] = {
        "distribution": lambda: distribution_figure(members, name, **look),
        "map": lambda: map_figure(members, name, **look),
        "band": lambda: band_figure(path, **{**look, "title": title or members.title}),
        "contact": lambda: contact_sheet(path, members, **look),
        "sensitivity": lambda: sensitivity_figure(members, name, **look),
    }
    return draw[chosen]()


def save_all(path: str | Path, folder: Path, stem: str, *, size: str | Size = "page") -> list[Path]:
    """Every figure that fits a study, written as STEM_KIND.png; the names."""
    members, written = read_members(path), []
    for kind in kinds_for(members, path):
        target = folder / f"{stem}_{kind}.png"
        save(study_figure(path, kind, size=size), target)
        written.append(target)
    return written


def kinds_for(members: Members, path: str | Path) -> list[str]:
    """The figures that a study has the data for, the most telling first."""
    with reading(path) as file:
        held = {name for name in ("profile", "picture") if name in file}
    keys = plotted_keys(members)
    numbers = [name for name, values in members.numbers.items() if not alike(values)]
    found = []
    if numbers and len(keys) >= 2 and _on_grid(members, keys):
        found.append("map")
    if numbers:
        found.append("distribution")
    if "picture" in held:
        found.insert(0, "contact")
    if "profile" in held:
        found.append("band")
    if numbers and any(sensitivities(members, name) for name in numbers):
        found.append("sensitivity")
    if not found:
        raise InputError(
            "holds nothing to draw: all members are the same",
            file=path,
            expected="a study whose numbers, profiles or pictures differ",
        )
    return found


def plotted_keys(members: Members) -> list[str]:
    """Varied keys of numbers, without the seeds of random draws."""
    return [
        key
        for key, values in members.keys.items()
        if values.dtype.kind in "fiu"
        and np.ptp(values) > 0
        and (key in members.drawn or not key.endswith("seed"))
    ]


def _on_grid(members: Members, keys: list[str]) -> bool:
    x, y = (np.unique(members.keys[key]) for key in keys[:2])
    points = {
        (a, b)
        for a, b in zip(members.keys[keys[0]].tolist(), members.keys[keys[1]].tolist(), strict=True)
    }
    return x.size > 1 and y.size > 1 and len(points) == x.size * y.size


def distribution_figure(
    members: Members, name: str, *, title: str = "", size: str | Size = "page",
    cautions: tuple[str, ...] = (),
) -> Figure:  # fmt: skip
    """Histogram of a number, and the fraction of the members up to each value."""
    size = size_named(size)
    values = members.numbers[name]
    held = np.sort(values[np.isfinite(values)])
    failed = values.size - held.size
    without = f", {failed} without a value" if failed else ""
    subtitle = (
        f"{held.size:,} members{without}: median {quantity(float(np.median(held)), name)}, "
        f"5 to 95 % {quantity(float(np.quantile(held, 0.05)), name)} to "
        f"{quantity(float(np.quantile(held, 0.95)), name)}"
    )
    subtitle = "; ".join([subtitle, *(text for _, text in _limits(members, name))])
    labels = Labels(title or members.title, subtitle, NUMBERS[name].meaning, "members", cautions)
    with styled(size):
        sheet, axes = graph(size, labels)
        axes.hist(held, bins=bins(held), color=size.series[0], alpha=size.fill, lw=0)
        unit_axis(axes, "x", members.units[name])
        axes.yaxis.set_major_locator(MaxNLocator(6, integer=True))
        right = axes.twinx()
        right.step(
            held,
            np.arange(1, held.size + 1) / held.size,
            where="post",
            color=size.accent,
            lw=1.3 * size.line_pt,
        )
        right.set_ylim(0.0, 1.02)
        for position, _ in _limits(members, name):
            axes.axvline(position, color=size.ink, lw=0.8 * size.line_pt, ls=(0, (4, 3)))
        right.set_ylabel("fraction of the members up to this value", color=size.accent)
        right.spines["right"].set_visible(False)
        box = axes.get_position()
        for both in (axes, right):
            both.set_position((box.x0, box.y0, box.width * 0.93, box.height))
    return sheet.figure


def _limits(members: Members, name: str) -> list[tuple[float, str]]:
    """Value of each limit that the study sets the number, and the yield in words."""
    found = []
    for limit in members.limits:
        if limit.number == name:
            within = limit.holds(members.numbers[name])
            ends = (("at least", limit.at_least), ("at most", limit.at_most))
            for side, end in ends:
                if end is not None:
                    text = in_unit(end, members.units[name])
                    found.append((end, f"{100 * within.mean():.1f} % have {side} {text}"))
    return found


def map_figure(
    members: Members, name: str, *, title: str = "", size: str | Size = "page",
    cautions: tuple[str, ...] = (),
) -> Figure:  # fmt: skip
    """Mean of a number over a grid of two keys."""
    size = size_named(size)
    first, second = plotted_keys(members)[:2]
    x, column = np.unique(members.keys[first], return_inverse=True)
    y, row = np.unique(members.keys[second], return_inverse=True)
    values = members.numbers[name]
    held = np.isfinite(values)
    total, count = np.zeros((y.size, x.size)), np.zeros((y.size, x.size))
    np.add.at(total, (row[held], column[held]), values[held])
    np.add.at(count, (row[held], column[held]), 1)
    mean = np.where(count > 0, total / np.maximum(count, 1), np.nan)
    each = int(count.max(initial=0))
    how = f"mean of up to {each} members at each point" if each > 1 else "one member at each point"
    labels = Labels(
        title or members.title,
        f"{label(name, members)}; {how}",
        label(first, members),
        label(second, members),
        cautions,
    )
    with styled(size):
        sheet, axes = graph(size, labels, left=0.13)
        across, up = (
            cells(axes, "x", x, members.units[first]),
            cells(axes, "y", y, members.units[second]),
        )
        image = axes.pcolormesh(across, up, mean, cmap="cividis", norm=scale(mean), rasterized=True)
        box = axes.get_position()
        axes.set_position((box.x0, box.y0, box.width * 0.87, box.height))
        bar = sheet.figure.add_axes((box.x0 + box.width * 0.9, box.y0, 0.018, box.height))
        colours = sheet.figure.colorbar(image, cax=bar)
        colours.outline.set_visible(False)
        if not isinstance(image.norm, LogNorm):
            bar.yaxis.set_major_locator(MaxNLocator(6))
        units_of(bar, "y", members.units[name])
    return sheet.figure


def band_figure(
    path: str | Path, *, title: str = "", size: str | Size = "page", cautions: tuple[str, ...] = ()
) -> Figure:
    """Profiles of all members as a band: median, 5 to 95 %, and the mean."""
    size = size_named(size)
    with reading(path) as file:
        axis, profiles = file["order"][()], file["profile"]
        low, middle, high = _quantiles_of(profiles)
        mean = _mean_of(profiles)
        count = profiles.shape[0]
    labels = Labels(
        title,
        f"{count:,} members; light over the peak of a perfect ruling",
        "diffraction order",
        "relative intensity",
        cautions,
    )
    with styled(size):
        sheet, axes = graph(size, labels)
        axes.fill_between(
            axis,
            np.maximum(low, 1e-300),
            np.maximum(high, 1e-300),
            color=size.series[0],
            alpha=0.3,
            lw=0,
            label="5 to 95 %",
        )
        axes.plot(axis, middle, color=size.series[0], label="median")
        axes.plot(axis, mean, color=size.accent, ls=(0, (4, 2)), label="mean")
        axes.set_yscale("log")
        top = float(np.nanmax(high))
        axes.set_ylim(max(float(np.nanmin(middle[middle > 0])) / 30, top * 1e-12), 2 * top)
        axes.set_xlim(float(axis[0]), float(axis[-1]))
        axes.xaxis.set_major_locator(MaxNLocator(7))
        axes.grid(axis="y")
        axes.legend(loc="upper right", frameon=False)
    return sheet.figure


def _quantiles_of(profiles: h5py.Dataset) -> tuple[Floats, Floats, Floats]:
    """Quantiles at every point of the axis, a few points in memory at a time."""
    points = profiles.shape[1]
    step = max(1, (1 << 25) // max(8 * profiles.shape[0], 1))
    parts = [
        np.nanquantile(profiles[:, k : k + step], _BAND, axis=0) for k in range(0, points, step)
    ]
    low, middle, high = np.concatenate(parts, axis=1)
    return low, middle, high


def _mean_of(profiles: h5py.Dataset) -> Floats:
    total, count = np.zeros(profiles.shape[1]), 0
    for k in range(0, profiles.shape[0], 4096):
        block = profiles[k : k + 4096]
        held = block[np.isfinite(block).all(axis=1)]
        total += held.sum(axis=0)
        count += held.shape[0]
    return np.asarray(total / max(count, 1))


def sensitivity_figure(
    members: Members, name: str, *, title: str = "", size: str | Size = "page",
    cautions: tuple[str, ...] = (),
) -> Figure:  # fmt: skip
    """Bars of the variance that goes with each key, and of all its interactions where known."""
    size = size_named(size)
    found = sensitivities(members, name)
    if not found:
        raise InputError(
            "does not vary with any key", key="number", value=name, expected="another number"
        )
    labels = Labels(
        title or members.title,
        f"{label(name, members)}: dependence on each key alone",
        "fraction of the variance",
        "",
        cautions,
    )
    with styled(size):
        high = (_BAR_LINES * len(found) + 1) * size.line_in()
        sheet, axes = graph(size, labels, left=0.32, high_in=high)
        _bars(axes, found, size)
    return sheet.figure


def _bars(axes: Axes, found: list[Sensitivity], size: Size) -> None:
    rows = np.arange(len(found))[::-1]
    totals = [s.total for s in found]
    if np.isfinite(totals).all():
        axes.barh(rows, totals, height=0.62, color=size.rule)
        handles = [Patch(color=size.series[0]), Patch(color=size.rule)]
        axes.legend(handles, ["alone", "with interactions"], loc="lower right", frameon=False)
    axes.barh(rows, [s.first_order for s in found], height=0.34, color=size.series[0])
    for row, s in zip(rows, found, strict=True):
        longest = max(s.first_order, s.total if np.isfinite(s.total) else 0.0)
        sign = "rises" if s.rank_correlation > 0 else "falls"
        axes.text(
            longest + 0.01,
            row,
            f"{s.first_order:.2f}, {sign} with the key ({s.rank_correlation:+.2f})".replace(
                "-", "−"
            ),
            va="center",
            color=size.quiet,
            fontsize=size.small_pt,
        )
    axes.set_yticks(rows, [plain(key_words(s.key)) for s in found])
    axes.set_xlim(0.0, 1.35)
    axes.set_xticks(np.linspace(0, 1, 6))
    rows_high = _LEAST_BARS if size.height_in is not None else 0
    axes.set_ylim(min(-0.7, len(found) - 0.3 - rows_high), len(found) - 0.3)
    axes.tick_params(axis="y", length=0)
