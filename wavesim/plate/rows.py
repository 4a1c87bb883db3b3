"""The direction along the rulings: diffraction at their height and the source slit's image.

Rulings with the amplitude F(v) along y (`Along`), h sinc(h v) for an even height h, send F^2 along
v = q / lambda. For a pixel row between q1 and q2
and a source slit between -r and r (all sines), the light is

    Y = integral over q_s from -r to r, over q from q1 to q2, of  F^2((q + q_s) / lambda)
        dq dq_s / lambda,

a second difference of the same running integral, integrated once more, as along x. Without a
slit it is a first difference.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from wavesim.aperture.illumination import Along
from wavesim.arrays import Floats
from wavesim.diffraction.far.running import CELLS, RunningIntegral, integral_of
from wavesim.plate.duration import require_time
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import bend_rows, cross
from wavesim.plate.memory import require_memory
from wavesim.plate.sweep import Columns
from wavesim.threads import in_threads

_LEVEL = 1e-6  # of the brightest row: error allowed where few functions of wavelength stand for all
_CELL_BYTES = 160  # of the table along the rulings and its second integral, at the peak
_TURN_NS = 11.0  # of one frequency and one place along a ruling that a round beam cuts
_PART = 0.5  # of the free memory
_SCALE_SEEN = 0.002  # [pixel] spread of y scales across the plate that is left out
_SCALES = 10  # scales for each pixel of their spread


@dataclass(frozen=True, eq=False)
class FewFunctions:
    """Rows at two scales, weight = basis @ part to `_LEVEL` of the brightest.

    Attributes
    ----------
    basis : (k, r) functions of wavelength; None where each wavelength stands for itself
    parts : two (r, n), how much of each function each row has
    """

    basis: Floats | None
    parts: tuple[Floats, Floats]


@dataclass(frozen=True, eq=False)
class Rows:
    """Fraction of the light that each row gets.

    Attributes
    ----------
    node_m : (k,) [m] wavelength nodes
    weight : (s, k, n) Y [m] (times a sine where there is a source slit), at `scale`, for the rows
        of the plate's lower half (its middle row included); the upper half mirrors it
    scale : (s,) cosines f / sqrt(x^2 + f^2) of the columns that `weight` stands for, falling
    between : for each pair of neighbouring scales, rows as few functions of wavelength
    error : of a row's light by the columns' scale, of the brightest row
    """

    node_m: Floats
    weight: Floats
    scale: Floats
    between: tuple[FewFunctions, ...]
    error: float = 0.0

    def some(self, which: slice) -> Rows:
        """The same of some rows."""
        few = (
            FewFunctions(f.basis, (f.parts[0][:, which], f.parts[1][:, which]))
            for f in self.between
        )
        return replace(self, weight=self.weight[:, :, which], between=tuple(few))


def rows(along: Along, geometry: Geometry, node_m: Floats) -> Rows:
    """Light of each row for the amplitude along the rulings, at as few nodes as will do.

    Raises
    ------
    LimitError
        So tall a plate, aperture or source slit that the rows do not fit the memory, or take
        more than half an hour.
    """
    scale = _scales(geometry)
    shortest = float(node_m.min())
    spans = 2 * along.height_m * _reach(geometry, shortest)
    _require_memory(spans, scale.size * node_m.size, geometry)
    if (places := along.points(_reach(geometry, shortest))) > 1:
        require_time(
            1e-9 * CELLS * spans * places * _TURN_NS,
            what="for its rows, so tall is the source slit",
            key="source.slit.height",
            expected="a lower slit, a lower plate or a rectangular beam",
        )
    table = _height_table(along, geometry, shortest)
    every = np.stack([_row_weights(table, geometry, node_m, s) for s in scale])
    error = _between_scales(table, geometry, node_m, every, scale)
    pairs = pairwise(every) if scale.size > 1 else [(every[0], every[0])]
    level = _LEVEL * float(every.max())
    between = tuple(_few_functions(low, high, level) for low, high in pairs)
    return Rows(node_m, every, scale, between, error)


def _few_functions(low: Floats, high: Floats, level: float) -> FewFunctions:
    """Functions of wavelength that make up both (k, n) with no entry off by more than `level`.

    Rows within the source's image are nearly the same function of wavelength; only those in the
    diffracted light beyond it differ. Cross approximation with the largest residual as pivot
    (Bebendorf 2000, Numer. Math. 86, 565): the functions are rows of what is left of S, so the
    residual is known, and it ends where that is small enough.
    """
    nodes, rows = low.shape
    left = low.copy() if high is low else np.concatenate([low, high], axis=1)
    most = nodes * left.shape[1] // (nodes + left.shape[1])  # more would save nothing
    basis, part = np.empty((most, nodes)), np.empty((most, left.shape[1]))
    count = cross(left, level, basis, part)
    if count < 0:
        return FewFunctions(None, (low, high))
    parts = part[:count, :rows], part[:count, -rows:]
    return FewFunctions(np.ascontiguousarray(basis[:count].T), parts)


def _between_scales(
    table: RunningIntegral, geometry: Geometry, node_m: Floats, weight: Floats, scale: Floats
) -> float:
    """What rows miss where columns stand between two scales, or farthest from the only one."""
    few = node_m[:: max(1, node_m.size // 8)]
    part = weight[:, :: max(1, node_m.size // 8)]
    if scale.size == 1:
        ends = _extremes(geometry)
        wrong = [_row_weights(table, geometry, few, s) - part[0] for s in ends]
    else:
        checked = sorted({0, scale.size // 2 - 1, scale.size - 2})
        wrong = [
            _row_weights(table, geometry, few, (scale[k] + scale[k + 1]) / 2)
            - (part[k] + part[k + 1]) / 2
            for k in checked
        ]
    return float(max(np.abs(w).max() for w in wrong) / max(float(weight.max()), 1e-300))


def _scales(geometry: Geometry) -> Floats:
    """Cosines between which the rows' scale may be taken as straight.

    A point at x sees y under the sine y / sqrt(x^2 + y^2 + f^2): columns off the axis are
    nearer to the middle by f / sqrt(x^2 + f^2).
    """
    top, low = _extremes(geometry)
    tallest = float(np.abs(geometry.y_edges_m).max())
    pixel = float(geometry.y_edges_m[1] - geometry.y_edges_m[0])
    spread = tallest * (top - low) / pixel
    if spread < _SCALE_SEEN:
        return np.array([(top + low) / 2])
    return np.linspace(top, low, 2 + int(_SCALES * spread))


def _extremes(geometry: Geometry) -> tuple[float, float]:
    """Largest and smallest cosine f / sqrt(x^2 + f^2) on the plate."""
    edges = np.abs(geometry.x_edges_m)
    farthest, nearest = float(edges.max()), float(edges.min())
    if geometry.x_edges_m[0] < 0 < geometry.x_edges_m[-1]:
        nearest = 0.0
    top = geometry.focal_m / np.hypot(nearest, geometry.focal_m)
    low = geometry.focal_m / np.hypot(farthest, geometry.focal_m)
    return top, low


def _require_memory(spans: float, values: int, geometry: Geometry) -> None:
    require_memory(
        CELLS * spans * _CELL_BYTES + 3.0 * 8 * values * (geometry.half_rows + 1),
        fraction=_PART,
        what=" for its rows",
        key="plate.height",
        expected="a less tall plate or aperture, or larger pixels",
    )


def _reach(geometry: Geometry, shortest_m: float) -> float:
    """Largest frequency v [1/m] along the rulings."""
    tallest = float(np.abs(geometry.y_edges_m).max())
    return (
        tallest / math.hypot(tallest, geometry.focal_m) + (geometry.slit_rise or 0.0)
    ) / shortest_m


def _height_table(along: Along, geometry: Geometry, shortest_m: float) -> RunningIntegral:
    reach = _reach(geometry, shortest_m) * 1.001

    def power(v: Floats) -> Floats:
        return np.square(along.amplitude(v))

    return integral_of(power, along.height_m, -reach, reach, again=geometry.slit_rise is not None)


def _row_weights(
    table: RunningIntegral, geometry: Geometry, node_m: Floats, scale: float
) -> Floats:
    """(k, ny) at columns whose y is shortened by `scale`."""
    y = geometry.y_edges_m[: geometry.half_rows + 1] * scale
    q = y / np.hypot(y, geometry.focal_m)
    v = q / node_m[:, None]
    if geometry.slit_rise is None:
        return np.diff(table.read(v), axis=1)
    offset = geometry.slit_rise / node_m[:, None]
    both = table.read_twice(v + offset) - table.read_twice(v - offset)
    return np.asarray(node_m[:, None] * np.diff(both, axis=1))


@dataclass(frozen=True, eq=False)
class Combination:
    """Neighbouring columns of light, weighted and gathered by functions of wavelength.

    Attributes
    ----------
    columns : which ones, of those that do not mirror others
    number : of the rows' functions (`Rows.between`)
    light : one or two (r, columns): what parts of the lower and of the upper scale multiply
    """

    columns: slice
    number: int
    light: tuple[Floats, ...]


def combinations(
    columns: Columns, row_weights: Rows, weight: Floats, cosine: Floats
) -> tuple[Combination, ...]:
    """Light of the columns as the rows' few functions of wavelength take it.

    Parameters
    ----------
    columns : light (nx, k) of each column at each node; those that mirror others are left out
    weight : (k,) per node, for instance an observer's curve
    cosine : (nx,) f / sqrt(x^2 + f^2) of each column, which sets its rows' scale
    """
    light, cosine = columns.light[columns.first :], cosine[columns.first :]
    out = []
    for which, number, along in intervals(row_weights.scale, cosine):
        basis = row_weights.between[number].basis
        if basis is None:
            found = light[which].T * weight[:, None]
        else:
            found = (basis * weight[:, None]).T @ light[which].T
        both = (found,) if along is None else (found * (1 - along), found * along)
        out.append(Combination(which, number, both))
    return tuple(out)


def combined(light: tuple[Combination, ...], row_weights: Rows, rows: npt.ArrayLike) -> Floats:
    """(n, nx') light of some rows: numbers (n,) from the lowest up."""
    which = np.asarray(rows)
    out = np.zeros((which.size, light[-1].columns.stop))
    for part in light:
        parts = row_weights.between[part.number].parts
        for k, found in enumerate(part.light):
            out[:, part.columns] += parts[k][:, which].T @ found
    return out


def gather(columns: Columns, row_weights: Rows, weights: Floats, cosine: Floats) -> Floats:
    """Sum over wavelength nodes of light x weights x rows: (c, n, nx'), the lower half.

    Cost: 2 nx' c r (k + 2 n) operations for rows of r functions of wavelength.
    """
    rows = np.arange(row_weights.weight.shape[2])
    out = np.empty((weights.shape[1], rows.size, columns.light.shape[0] - columns.first))
    for channel, weight in zip(out, weights.T, strict=True):
        channel[:] = combined(combinations(columns, row_weights, weight, cosine), row_weights, rows)
    return out


def intervals(scale: Floats, cosine: Floats) -> Iterator[tuple[slice, int, Floats | None]]:
    """Columns between two neighbouring scales, the number of the first, and how far along each
    column stands (c,); None where there is one scale only."""
    if scale.size == 1:
        yield slice(0, cosine.size), 0, None
        return
    position = np.interp(-cosine, -scale, np.arange(scale.size))
    number = np.minimum(position.astype(np.intp), scale.size - 2)
    cuts = np.flatnonzero(np.diff(number)) + 1
    for a, b in pairwise([0, *cuts.tolist(), cosine.size]):
        s = int(number[a])
        yield slice(a, b), s, position[a:b] - s


def in_pixels(light: Floats, geometry: Geometry) -> Floats:
    """Light (n fine, c) of the columns added up in pixels, margin and all: (n, c)."""
    if geometry.fine == 1:
        return light
    return np.asarray(light.reshape(-1, geometry.fine, light.shape[1]).sum(axis=1))


def bent_columns(light: Floats, geometry: Geometry, y_m: float) -> Floats:
    """Light (n, c) of the columns as the row at y has it: (nx, c)."""
    if not geometry.margin:
        return light
    out = np.empty((1, geometry.x_edges_m.size - 1, light.shape[1]))
    edges = geometry.x_of_sine(geometry.sine_edges)
    bend_rows(light[None], edges, geometry.straightened(y_m)[None], out)
    return np.asarray(out[0])


def bow_error(light: Floats, geometry: Geometry) -> float:
    """Error of moving light (columns,) as far as lines are bowed, of the brightest pixel.

    Lines moved by t of a column, and any number of whole ones, are off by 4 t (1 - t) of what half
    a column costs, or less: interpolation is exact at both ends.
    """
    moved = geometry.straightened_rows - geometry.x_edges_m
    moved /= float(geometry.x_edges_m[1] - geometry.x_edges_m[0]) / geometry.fine
    aside = float(np.abs(moved - np.rint(moved)).max(initial=0.0))
    if np.abs(moved).max(initial=0.0) > 0.5:
        aside = 0.5
    return 4 * aside * (1 - aside) * error_half_way(light, geometry)


def error_half_way(light: Floats, geometry: Geometry) -> float:
    """Error of moving light (columns,) by half a column, of the brightest pixel.

    Columns are taken two at a time and moved by one column, where the answer is known: what they
    miss it by is more than what columns of half their width miss.
    """
    edges = geometry.column_edges_m
    whole = light[: light.size - light.size % 2]
    pairs, wanted = whole[::2] + whole[1::2], edges[1 : whole.size : 2]
    if pairs.size < 2 or light.max() <= 0:
        return 0.0
    out = np.empty((1, pairs.size - 1, 1))
    bend_rows(pairs[None, :, None], edges[: whole.size + 1 : 2], wanted[None], out)
    missed = np.abs(out[0, :, 0] - (whole[1:-1:2] + whole[2::2])).max()
    return float(missed / in_pixels(light[:, None], geometry).max())


def bowed(plate: Floats, geometry: Geometry) -> Floats:
    """Rows (n, columns, c) from the lowest up, put in the pixels where the bow of the lines takes
    them: (n, nx, c)."""
    out = np.empty((plate.shape[0], geometry.x_edges_m.size - 1, plate.shape[2]))
    edges, wanted = geometry.column_edges_m, geometry.straightened_rows[: plate.shape[0]]
    in_threads(lambda part: bend_rows(plate[part], edges, wanted[part], out[part]), plate.shape[0])
    return out
