"""Axes of a study's figures: keys and numbers in words, values with their units."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import LogNorm, Normalize
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.ensemble.numbers import NUMBERS
from wavesim.ensemble.recorded import Members
from wavesim.figures.style import in_words

_MOST_LABELLED = 12  # values of a key that a map labels one by one
_WIDE = 30.0


def label(name: str, members: Members) -> str:
    """Name of a number or key for an axis whose numbers carry their units."""
    text = name.replace("_", " ") if name in NUMBERS else key_words(name)
    return f"{text} (per m)" if members.units.get(name, "").startswith("/") else text


def key_words(key: str) -> str:
    """A key of the scene in words: "aperture width", "amplitude of defect 1"."""
    *path, last = key.replace("_", " ").split(".")
    if path and path[-1].isdecimal():
        item = path[-2].removesuffix("s") if len(path) > 1 else "item"
        return f"{last} of {item} {int(path[-1]) + 1}"
    return f"{path[-1]} {last}" if path else last


def unit_axis(axes: Axes, side: str, unit: str) -> None:
    """Numbers with a prefix that suits them, where there is a unit."""
    which = axes.xaxis if side == "x" else axes.yaxis
    which.set_major_locator(MaxNLocator(6))
    units_of(axes, side, unit)


def units_of(axes: Axes, side: str, unit: str) -> None:
    which = axes.xaxis if side == "x" else axes.yaxis
    if unit and not unit.startswith("/"):
        which.set_major_formatter(FuncFormatter(lambda value, _: in_words(value, unit, 4)))


def quantity(value: float, name: str) -> str:
    unit = NUMBERS[name].unit
    return in_words(value, unit).strip() if unit else f"{value:.3g}"


def value_of(members: Members, key: str, member: int) -> str:
    value, unit = members.keys[key][member], members.units.get(key, "")
    if members.keys[key].dtype.kind not in "fiu":
        return str(value)
    return in_unit(float(value), unit)


def in_unit(value: float, unit: str) -> str:
    if unit == "/m":
        return f"{value / 1e3:.5g}\u2009/mm"
    return in_words(value, unit, 4) if unit else f"{value:.6g}"


def last_word(key: str) -> str:
    return key.rpartition(".")[2].replace("_", " ")


def bins(values: Floats) -> int:
    return int(np.clip(np.sqrt(values.size), 5, 60))


def edges(values: NDArray[np.generic]) -> Floats:
    v = np.asarray(values, dtype=np.float64)
    inner = (v[1:] + v[:-1]) / 2
    return np.concatenate([[v[0] - (inner[0] - v[0])], inner, [v[-1] + (v[-1] - inner[-1])]])


def cells(axes: Axes, side: str, values: NDArray[np.generic], unit: str) -> Floats:
    """Edges of a map's cells: few values as cells of one size, each labelled, many on a scale."""
    if values.size > _MOST_LABELLED:
        unit_axis(axes, side, unit)
        return edges(values)
    which = axes.xaxis if side == "x" else axes.yaxis
    which.set_ticks(np.arange(values.size), [in_unit(float(v), unit) for v in values.tolist()])
    return np.asarray(np.arange(values.size + 1) - 0.5, dtype=np.float64)


def scale(values: Floats) -> Normalize:
    """Logarithmic where positive values differ by more than a factor of 30."""
    held = values[np.isfinite(values)]
    if held.size and held.min() > 0 and held.max() > _WIDE * held.min():
        return LogNorm(held.min(), held.max())
    return Normalize()
