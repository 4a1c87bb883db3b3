"""The frame: even cells of direction cosines that a plate in two dimensions is gathered in.

In direction cosines (p, q) the pattern of every wavelength is the same picture, scaled; a source
of any extent shifts it as a whole. So light is first gathered in even cells of p and q, then
blurred by the source, and only then put where the plate's pixels are. Cells are so many to a
pixel that four stand for the finest fringe, lambda / width, where that is bearable: what lies
between their edges is then known, too (`interpolation`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import LimitError
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.interpolation import TAPS, bend_even
from wavesim.threads import in_threads

_SEEN = 1e-5  # [pixel] displacement of an even cell against its pixel that is left out
_GUARD = TAPS // 2 + 1  # cells beyond the plate where cells and pixels differ
PER_FRINGE = 4.0  # cells to the finest fringe: interpolation is right to 1e-5
_MOST_CELLS = 4_000_000  # of a frame that is finer than its pixels
_MOST_MARGIN = 10_000_000  # cells on either side: their edges alone take 160 MB
_MOST_READINGS = 2e9  # cells times wavelengths of such a frame: some five seconds
Fineness = tuple[int, int]  # cells to a pixel along p and along q


@dataclass(frozen=True, eq=False)
class Frame:
    """Even cells of p and q.

    Attributes
    ----------
    p, q : (np + 1,), (nq + 1,) cell edges, even, ascending
    margin : (x, y) cells on each side that only serve the blur of the source
    straight : whether, without its margin, pixels are made of whole cells
    fine : cells to a pixel along p and along q
    odd : whether a pixel's middle, not its edge, lies at q = 0 in the plate's middle
    """

    p: Floats
    q: Floats
    margin: tuple[int, int]
    straight: bool
    fine: Fineness = (1, 1)
    odd: bool = False

    @property
    def cell(self) -> tuple[float, float]:
        """Width of a cell in p and in q."""
        return float(self.p[1] - self.p[0]), float(self.q[1] - self.q[0])

    @property
    def pixel(self) -> tuple[float, float]:
        """Width of a pixel in p and in q."""
        return self.cell[0] * self.fine[0], self.cell[1] * self.fine[1]

    @property
    def symmetric(self) -> bool:
        """Whether the frame is its own mirror image through the axis."""
        return bool(
            np.allclose(self.p, -self.p[::-1], rtol=0, atol=1e-9 * self.cell[0])
            and np.allclose(self.q, -self.q[::-1], rtol=0, atol=1e-9 * self.cell[1])
        )


def wanted_fineness(geometry: Geometry, size_m: tuple[float, float], shortest_m: float) -> Fineness:
    """Cells to a pixel so that `PER_FRINGE` stand for the finest fringe."""
    fringe = (shortest_m / side for side in size_m)
    both = zip(_steps(geometry), fringe, strict=True)
    p, q = (max(1, math.ceil(PER_FRINGE * step / f - 1e-9)) for step, f in both)
    return p, q


def bearable(geometry: Geometry, wanted: Fineness, wavelengths: int) -> Fineness:
    """As many cells to a pixel as are wanted, or fewer where they would be too many."""
    pixels = geometry.x_m.size * geometry.y_m.size
    most = min(_MOST_CELLS, _MOST_READINGS / max(wavelengths, 1)) / pixels
    p, q = (min(fine, max(int(most), 1)) for fine in wanted)
    while p * q > max(most, 1.0):
        p, q = (p - 1, q) if p >= q else (p, q - 1)
    return p, q


def bearable_cells(frame: Frame) -> bool:
    """Whether a frame has no more cells than are bearable."""
    return (frame.p.size - 1.0) * (frame.q.size - 1) <= _MOST_CELLS


def _steps(geometry: Geometry) -> tuple[float, float]:
    """Width of a pixel on the axis in p and in q."""
    x, y = geometry.x_edges_m, geometry.y_edges_m
    wide = float(x[1] - x[0]) / geometry.focal_m * math.cos(geometry.axis_rad)
    return wide, float(y[1] - y[0]) / geometry.focal_m


def frame_of(geometry: Geometry, reach: tuple[float, float], fine: Fineness = (1, 1)) -> Frame:
    """Frame of a plate, with a margin as wide as the source reaches from its middle.

    Raises
    ------
    LimitError
        The margin has more than ten million cells on a side.
    """
    x, y = geometry.x_edges_m, geometry.y_edges_m
    step_p, step_q = _steps(geometry)
    # at a given x, p goes one way with |y|, and q at a given y with |x|: the ends say it all
    p = geometry.sine(x, _ends(y)[:, None])
    q = y[:, None] / np.sqrt(_ends(x) ** 2 + y[:, None] ** 2 + geometry.focal_m**2)
    even_p = math.sin(geometry.axis_rad) + x * math.cos(geometry.axis_rad) / geometry.focal_m
    off = max(
        np.abs(p - even_p).max() / step_p, np.abs(q - y[:, None] / geometry.focal_m).max() / step_q
    )
    step_p, step_q = step_p / fine[0], step_q / fine[1]
    margin = (_margin(reach[0], step_p), _margin(reach[1], step_q))
    if off < _SEEN:
        inner_p, inner_q = _split(even_p, fine[0]), _split(y / geometry.focal_m, fine[1])
    else:
        inner_p = _around(p, step_p, odd=(x.size - 1) * fine[0] % 2 == 1)
        inner_q = _around(q, step_q, odd=(y.size - 1) * fine[1] % 2 == 1)
    return Frame(
        _extended(inner_p, step_p, margin[0]),
        _extended(inner_q, step_q, margin[1]),
        (margin[0], margin[1]),
        bool(off < _SEEN),
        fine,
        y.size % 2 == 0,
    )


def flat_frame(geometry: Geometry, reach: tuple[float, float], fine: Fineness) -> Frame:
    """Frame of a parallel plate without lens: p = x / z, q = y / z, so that cells are positions."""
    both = []
    for edges, side, parts in zip(
        (geometry.x_edges_m, geometry.y_edges_m), reach, fine, strict=True
    ):
        inner = _split(edges / geometry.focal_m, parts)
        step = float(inner[1] - inner[0])
        margin = _margin(side, step)
        both.append((_extended(inner, step, margin), margin))
    (p, wide), (q, high) = both
    return Frame(p, q, (wide, high), straight=True, fine=fine, odd=geometry.y_edges_m.size % 2 == 0)


def _margin(side: float, step: float) -> int:
    """Cells beyond the plate that the source reaches, whose sine is `side`."""
    if side > _MOST_MARGIN * step:
        raise LimitError(
            f"is so fine that the source's image is {2 * side / step:.2g} of its cells across",
            key="plate.pixel",
            expected="larger pixels, or a camera of smaller focal length",
        )
    return math.ceil(side / step) + TAPS // 2 if side else 0


def _split(edges: Floats, parts: int) -> Floats:
    """Even edges, each cell cut into equal parts."""
    return np.linspace(edges[0], edges[-1], (edges.size - 1) * parts + 1)


def _ends(edges: Floats) -> Floats:
    """(2,) the edges nearest to the axis and farthest from it."""
    away = np.abs(edges)
    return edges[[away.argmin(), away.argmax()]]


def _around(values: Floats, step: float, *, odd: bool) -> Floats:
    """Even edges that enclose all values, about zero where the values are (`odd`: a cell's
    middle at zero, else an edge)."""
    lo, hi = float(values.min()), float(values.max())
    if abs(lo + hi) < 1e-9 * step:
        half = math.ceil(hi / step) + _GUARD + 0.5 * odd
        return np.asarray(np.arange(-half, half + 0.75, dtype=np.float64) * step)
    first = math.floor(lo / step) - _GUARD
    last = math.ceil(hi / step) + _GUARD
    return np.asarray(np.arange(first, last + 1, dtype=np.float64) * step)


def _extended(edges: Floats, step: float, margin: int) -> Floats:
    lead = np.arange(1, margin + 1) * step
    return np.concatenate([edges[0] - lead[::-1], edges, edges[-1] + lead])


def to_pixels(cells: Floats, frame: Frame, geometry: Geometry) -> Floats:
    """Powers (nq, np, c) of the frame's cells, less its margin, put into pixels (ny, nx, c).

    First along p for every row, then along q for every column; nothing is lost or made. With
    x, y on the plate:  p = (x cos b0 + f sin b0) / sqrt(x^2 + f^2) sqrt(1 - q^2),
    q = y / sqrt(x^2 + y^2 + f^2).
    """
    mx, my = frame.margin
    inner = np.ascontiguousarray(cells[my : cells.shape[0] - my, mx : cells.shape[1] - mx])
    if frame.straight:
        ny, nx, c = inner.shape
        kp, kq = frame.fine
        return np.asarray(inner.reshape(ny // kq, kq, nx // kp, kp, c).sum(axis=(1, 3)))
    p, q = frame.p[mx : frame.p.size - mx], frame.q[my : frame.q.size - my]
    middle = (q[1:] + q[:-1]) / 2
    on_axis = geometry.sine(geometry.x_edges_m, 0.0)
    wanted = np.sqrt(np.maximum(1 - middle[:, None] ** 2, 0.0)) * on_axis
    rows = bent(inner, p, wanted)
    across = geometry.y_edges_m / np.sqrt(
        geometry.x_m[:, None] ** 2 + geometry.y_edges_m**2 + geometry.focal_m**2
    )
    columns = bent(np.ascontiguousarray(rows.transpose(1, 0, 2)), q, across)
    return columns.transpose(1, 0, 2)


def bent(power: Floats, edges: Floats, wanted: Floats) -> Floats:
    """Powers (n, m, c) between even `edges` (m + 1,) put between `wanted` (n, k + 1): (n, k, c)."""
    out = np.empty((power.shape[0], wanted.shape[1] - 1, power.shape[2]))
    even = (float(edges[0]), float(edges[1] - edges[0]))
    in_threads(lambda part: bend_even(power[part], even, wanted[part], out[part]), power.shape[0])
    return out
