"""The source's direct image, gathered once more where the plate's cells are coarse.

Undiffracted light stands in a peak as narrow as the finest fringe, and a source of any extent
draws its own outline with it: the rim of the Sun's disc, a slit's edge. Cells that are wider than
a fringe do not say where within them the peak lies, and the outline moves by as much. So the
cells about the peak are gathered again with all fringes resolved, where that is bearable, and
their light goes to the pixels by itself.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from wavesim.arrays import Floats
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.frame import Fineness, Frame, bearable_cells, frame_of, to_pixels
from wavesim.plate.plane.gathering import Gathering
from wavesim.plate.plane.source import Extent, blurred

_CORE = 4  # pixels each way of the peak whose cells are gathered again


@dataclass(frozen=True)
class Direct:
    """Where the direct image lies and how finely its light is gathered.

    Attributes
    ----------
    rows, columns : pixels that it reaches
    core : rows and columns of the plate's cells about the peak, gathered again
    fine : cells to a pixel that they are gathered with
    reach : margin in p and in q about these pixels; 0 where the core lies within them
    """

    rows: slice
    columns: slice
    core: tuple[slice, slice]
    fine: Fineness
    reach: tuple[float, float] = (0.0, 0.0)

    def holds(self, rows: slice, columns: slice) -> bool:
        """Whether a window lies within."""
        both = ((rows, self.rows), (columns, self.columns))
        return all(own.start <= w.start and w.stop <= own.stop for w, own in both)

    def meets(self, rows: slice, columns: slice) -> bool:
        """Whether a window has pixels in common with it."""
        both = ((rows, self.rows), (columns, self.columns))
        return all(w.start < own.stop and own.start < w.stop for w, own in both)


def direct_image(
    geometry: Geometry, source: Extent, frame: Frame, wanted: Fineness
) -> Direct | None:
    """The direct image of a source on a plate; None where it needs no other cells than the
    plate's, is not on the plate, or would take too many cells."""
    if source.area == 0.0 or all(u >= w for u, w in zip(frame.fine, wanted, strict=True)):
        return None
    core = (
        _within(frame.q, 0.0, _CORE * frame.pixel[1]),
        _within(frame.p, -geometry.sine_in, _CORE * frame.pixel[0]),
    )
    reach = [r + (_CORE + 1) * s for r, s in zip(source.reach, frame.pixel, strict=True)]
    rows = _within(geometry.y_edges_m / geometry.focal_m, 0.0, reach[1])
    columns = _within(geometry.sine(geometry.x_edges_m, 0.0), -geometry.sine_in, reach[0])
    if not all(s.start < s.stop for s in (*core, rows, columns)):
        return None
    for part in (1.0, 0.8, 0.6, 0.4):
        even = (
            u * 2 * max(1, round(part * w / u / 2)) for u, w in zip(frame.fine, wanted, strict=True)
        )
        found = _around_core(Direct(rows, columns, core, _both(even)), geometry, source, frame)
        if bearable_cells(_frame_of(found, geometry)):
            return found
    return None


def _around_core(direct: Direct, geometry: Geometry, source: Extent, frame: Frame) -> Direct:
    """The same with a margin where the core reaches beyond the plate: the source blurs it inwards.

    What of the core lies beyond the margin, too, does not reach the plate and is left as it is.
    """
    if _inside(direct, geometry, frame) == direct.core:
        return direct
    wider = replace(direct, reach=source.reach)
    return replace(wider, core=_inside(wider, geometry, frame))


def _inside(direct: Direct, geometry: Geometry, frame: Frame) -> tuple[slice, slice]:
    """The rows and columns of the core whose cells lie within the finer frame."""
    finer = _frame_of(direct, geometry)
    both = zip((finer.q, finer.p), (frame.q, frame.p), direct.core, strict=True)
    rows, columns = (_common(edges, own, part) for edges, own, part in both)
    return rows, columns


def _common(finer: Floats, own: Floats, part: slice) -> slice:
    slack = (finer[1] - finer[0]) / 4
    first = int(np.searchsorted(own, finer[0] - slack))
    last = int(np.searchsorted(own, finer[-1] + slack)) - 1
    return slice(max(part.start, first), min(part.stop, last))


def without_core(cells: Floats, direct: Direct) -> Floats:
    """The frame's cells (nq, np, c), dark about the peak."""
    out = cells.copy()
    out[direct.core] = 0.0
    return out


def core_light(
    direct: Direct, gathering: Gathering, source: Extent, wavelength_m: Floats, weight: Floats
) -> Floats:
    """(rows, columns, c) what the cells about the peak send to the direct image's pixels."""
    frame, geometry = gathering.setting.frame, gathering.setting.geometry
    finer = _frame_of(direct, geometry)
    q, p = (
        _edges(edges, own, part)
        for edges, own, part in zip(
            (finer.q, finer.p), (frame.q, frame.p), direct.core, strict=True
        )
    )
    cells = np.zeros((finer.q.size - 1, finer.p.size - 1, weight.shape[1]))
    window = Frame(
        finer.p[p.start : p.stop + 1], finer.q[q.start : q.stop + 1], (0, 0), straight=True
    )
    cells[q, p] = gathering.cells(window, wavelength_m, weight)
    return to_pixels(
        blurred(cells, finer, source), finer, window_of(geometry, direct.rows, direct.columns)
    )


def in_proportion(spectral: Floats, light: Floats, direct: Direct) -> Floats:
    """(k, nx) spectrum along the middle row of (ny, nx, c), brought to the light of its pixels
    where those were computed again."""
    middle = light.shape[0] // 2
    if not direct.rows.start <= middle < direct.rows.stop:
        return spectral
    before, after = spectral[:, direct.columns].sum(axis=0), light[middle, direct.columns, 3]
    ratio = np.divide(after, before, out=np.ones_like(after), where=before > 0)
    out = spectral.copy()
    out[:, direct.columns] *= ratio
    return out


def window_of(geometry: Geometry, rows: slice, columns: slice) -> Geometry:
    """The geometry of a window of pixels."""
    y = geometry.y_edges_m[rows.start : rows.stop + 1]
    x = geometry.x_edges_m[columns.start : columns.stop + 1]
    return replace(geometry, x_edges_m=x, y_edges_m=y)


def _both(numbers: Iterable[int]) -> Fineness:
    across, along = numbers
    return across, along


def _frame_of(direct: Direct, geometry: Geometry) -> Frame:
    return frame_of(window_of(geometry, direct.rows, direct.columns), direct.reach, direct.fine)


def _within(edges: Floats, middle: float, reach: float) -> slice:
    """Pixels or cells between ascending edges that reach to both sides of the middle."""
    first = int(np.searchsorted(edges, middle - reach, side="right")) - 1
    last = int(np.searchsorted(edges, middle + reach, side="left"))
    return slice(max(first, 0), min(last, edges.size - 1))


def _edges(finer: Floats, own: Floats, part: slice) -> slice:
    """The cells between finer edges that make up a part of the plate's own."""
    step = finer[1] - finer[0]
    first, last = np.rint((own[[part.start, part.stop]] - finer[0]) / step).astype(int)
    return slice(int(first), int(last))
