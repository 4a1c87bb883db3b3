"""Elements worked into a lattice of small cells, each with the part of it that is open."""

from __future__ import annotations

import math

import numpy as np

from wavesim.aperture.plane import elements as el
from wavesim.aperture.plane.groups import Group, Lattice, PlaneAperture
from wavesim.arrays import Floats
from wavesim.compiled import compiled
from wavesim.errors import LimitError

_LINES = 8  # lines across a cell along which its open part is measured


def rasterised(
    aperture: PlaneAperture, cell_m: float, half_m: tuple[float, float] | None = None
) -> Lattice:
    """The same aperture as a lattice centred on the axis.

    Open parts are exact along x and averaged over eight lines a cell along y: areas are right to
    about 1e-2 of a cell for each cell on an edge. What lies beyond `half_m` along x and y [m],
    by default nothing, is left out.
    """
    if half_m is None:
        lo_x, hi_x, lo_y, hi_y = aperture.box_m
        half_m = max(-lo_x, hi_x), max(-lo_y, hi_y)
    half_x, half_y = half_m
    nx, ny = (2 * (math.ceil(h / cell_m) + 1) for h in (half_x, half_y))
    open_part = np.zeros((ny, nx))
    for group in aperture.groups:
        _draw(group, cell_m, open_part)
    cell = el.RectangleElement(cell_m, cell_m)
    return Lattice(cell, cell_m, open_part.astype(np.float32))


def _draw(group: Group, cell_m: float, out: Floats) -> None:
    element = group.element
    if isinstance(element, el.AnnulusElement):
        for diameter, sign in ((element.outer_m, 1.0), (element.inner_m, -1.0)):
            weight = sign * group.weight
            _draw(Group(el.disc(diameter), group.x_m, group.y_m, weight), cell_m, out)
        return
    if isinstance(element, el.GaussianBeam):
        ny, nx = out.shape
        x = (np.arange(nx) - (nx - 1) / 2) * cell_m
        y = (np.arange(ny) - (ny - 1) / 2) * cell_m
        a, b = element.width_m / 2, element.height_m / 2
        out += np.exp(-((y[:, None] / b) ** 2)) * np.exp(-((x / a) ** 2))
        return
    outline = element.outline()
    if outline is None:
        raise LimitError(
            "grooves cannot be computed at so short a distance: one phase for each is not enough",
            key="bench",
            expected="a plate farther away, or less defocus",
        )
    corners = np.array(outline)
    weight = np.ascontiguousarray(group.weight.real, dtype=np.float64)
    _fill(corners, group.x_m, group.y_m, weight, cell_m, out)


@compiled(fastmath=False)
def _fill(corners, xs, ys, weight, cell, out):  # type: ignore[no-untyped-def]
    """Adds weight times the open part of each cell, by scan lines."""
    ny, nx = out.shape
    n = corners.shape[0]
    cross = np.empty(n)
    low = corners[:, 1].min()
    high = corners[:, 1].max()
    for k in range(xs.size):
        first = max(int(np.floor(((ys[k] + low) / cell + ny / 2) * _LINES)), 0)
        last = min(int(np.ceil(((ys[k] + high) / cell + ny / 2) * _LINES)), ny * _LINES)
        for line in range(first, last):
            y = ((line + 0.5) / _LINES - ny / 2) * cell - ys[k]
            m = 0
            for a in range(n):
                b = a + 1 if a + 1 < n else 0
                y0, y1 = corners[a, 1], corners[b, 1]
                if (y0 <= y) != (y1 <= y):
                    t = (y - y0) / (y1 - y0)
                    cross[m] = corners[a, 0] + t * (corners[b, 0] - corners[a, 0]) + xs[k]
                    m += 1
            sides = np.sort(cross[:m])
            j = line // _LINES
            for s in range(0, m - 1, 2):
                _span(out[j], sides[s] / cell + nx / 2, sides[s + 1] / cell + nx / 2, weight[k])


@compiled(inline="always", fastmath=False)
def _span(row, a, b, weight):  # type: ignore[no-untyped-def]
    a = max(a, 0.0)
    b = min(b, float(row.size))
    i = int(a)
    while i < b and i < row.size:
        row[i] += weight / _LINES * (min(b, i + 1.0) - max(a, float(i)))
        i += 1
