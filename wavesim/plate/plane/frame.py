"""The frame: even cells of direction cosines that a plate in two dimensions is gathered in.

In direction cosines (p, q) the pattern of every wavelength is the same picture, scaled; a source
of any extent shifts it as a whole. So light is first gathered in even cells of p and q, then
blurred by the source, and only then put where the plate's pixels are.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import bend_rows
from wavesim.threads import in_threads

_SEEN = 0.02  # [pixel] displacement of an even cell against its pixel that is left out
_GUARD = 2  # cells beyond the plate where cells and pixels differ


@dataclass(frozen=True, eq=False)
class Frame:
    """Even cells of p and q.

    Attributes
    ----------
    p, q : (np + 1,), (nq + 1,) cell edges, even, ascending
    margin : (x, y) cells on each side that only serve the blur of the source
    straight : whether, without its margin, each cell is a pixel
    """

    p: Floats
    q: Floats
    margin: tuple[int, int]
    straight: bool

    @property
    def cell(self) -> tuple[float, float]:
        """Width of a cell in p and in q."""
        return float(self.p[1] - self.p[0]), float(self.q[1] - self.q[0])

    @property
    def symmetric(self) -> bool:
        """Whether the frame is its own mirror image through the axis."""
        return bool(
            np.allclose(self.p, -self.p[::-1], rtol=0, atol=1e-9 * self.cell[0])
            and np.allclose(self.q, -self.q[::-1], rtol=0, atol=1e-9 * self.cell[1])
        )


def frame(place: Geometry, source_half: tuple[float, float]) -> Frame:
    """Frame of a plate, with a margin as wide as half the source (in p and q)."""
    x, y = place.x_edges_m, place.y_edges_m
    step_q = float(y[1] - y[0]) / place.focal_m
    step_p = float(x[1] - x[0]) / place.focal_m * math.cos(place.axis_rad)
    # at a given x, p goes one way with |y|, and q at a given y with |x|: the ends say it all
    p = place.sine(x, _ends(y)[:, None])
    q = y[:, None] / np.sqrt(_ends(x) ** 2 + y[:, None] ** 2 + place.focal_m**2)
    even_p = math.sin(place.axis_rad) + x * math.cos(place.axis_rad) / place.focal_m
    off = max(
        np.abs(p - even_p).max() / step_p, np.abs(q - y[:, None] / place.focal_m).max() / step_q
    )
    margin = tuple(
        math.ceil(h / s) + 1 if h else 0 for h, s in zip(source_half, (step_p, step_q), strict=True)
    )
    if off < _SEEN:
        inner_p, inner_q = even_p, y / place.focal_m
    else:
        inner_p, inner_q = _around(p, step_p), _around(q, step_q)
    return Frame(
        _extended(inner_p, step_p, margin[0]),
        _extended(inner_q, step_q, margin[1]),
        (margin[0], margin[1]),
        bool(off < _SEEN),
    )


def _ends(edges: Floats) -> Floats:
    """(2,) the edges nearest to the axis and farthest from it."""
    away = np.abs(edges)
    return edges[[away.argmin(), away.argmax()]]


def _around(values: Floats, step: float) -> Floats:
    """Even edges that enclose all values, about zero where the values are."""
    lo, hi = float(values.min()), float(values.max())
    if abs(lo + hi) < 1e-9 * step:
        half = math.ceil(hi / step) + _GUARD
        return np.asarray(np.arange(-half, half + 1, dtype=np.float64) * step)
    first = math.floor(lo / step) - _GUARD
    last = math.ceil(hi / step) + _GUARD
    return np.asarray(np.arange(first, last + 1, dtype=np.float64) * step)


def _extended(edges: Floats, step: float, margin: int) -> Floats:
    lead = np.arange(1, margin + 1) * step
    return np.concatenate([edges[0] - lead[::-1], edges, edges[-1] + lead])


def to_pixels(cells: Floats, on: Frame, place: Geometry) -> Floats:
    """Powers (nq, np, c) of the frame's cells, less its margin, put into pixels (ny, nx, c).

    First along p for every row, then along q for every column; nothing is lost or made. With
    x, y on the plate:  p = (x cos b0 + f sin b0) / sqrt(x^2 + f^2) sqrt(1 - q^2),
    q = y / sqrt(x^2 + y^2 + f^2).
    """
    mx, my = on.margin
    inner = np.ascontiguousarray(cells[my : cells.shape[0] - my, mx : cells.shape[1] - mx])
    if on.straight:
        return inner
    p, q = on.p[mx : on.p.size - mx], on.q[my : on.q.size - my]
    middle = (q[1:] + q[:-1]) / 2
    on_axis = place.sine(place.x_edges_m, 0.0)
    wanted = np.sqrt(np.maximum(1 - middle[:, None] ** 2, 0.0)) * on_axis
    rows = bent(inner, p, wanted)
    across = place.y_edges_m / np.sqrt(
        place.x_m[:, None] ** 2 + place.y_edges_m**2 + place.focal_m**2
    )
    columns = bent(np.ascontiguousarray(rows.transpose(1, 0, 2)), q, across)
    return columns.transpose(1, 0, 2)


def bent(power: Floats, edges: Floats, wanted: Floats) -> Floats:
    """Powers (n, m, c) between `edges` (m + 1,) put between `wanted` (n, k + 1): (n, k, c)."""
    out = np.empty((power.shape[0], wanted.shape[1] - 1, power.shape[2]))
    in_threads(lambda part: bend_rows(power[part], edges, wanted[part], out[part]), power.shape[0])
    return out
