"""The spectrum along the plate's middle row."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.diffraction.planar import SummedTable
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.frame import Frame, bent
from wavesim.plate.plane.source import Extent, along_axis, kernel_of
from wavesim.plate.plane.sweep import sweep_plane
from wavesim.plate.plane.wavelengths import Wavelengths

_ROWS = 6  # rows each way that stand for a tall source
_AT_ONCE = 8  # wavelengths swept side by side


@dataclass(frozen=True, eq=False)
class Strip:
    """Light of the rows about the plate's middle at the wavelength nodes.

    Attributes
    ----------
    light : (k, rows, np) power in the frame's columns
    middle : number of the middle row
    every : pixels that make up the height of one row of the strip
    """

    light: Floats
    middle: int
    every: int

    def add(self, cells: Floats, node_weight: Floats, frame: Frame) -> None:
        """Add a whole frame (nq, np) times the light (k,) that goes to each node."""
        high = frame.fine[1]  # cells to a pixel
        first = (cells.shape[0] - high * frame.odd) // 2 - self.middle * self.every * high
        rows = cells[first : first + self.light.shape[1] * self.every * high]
        rows = rows.reshape(self.light.shape[1], self.every * high, -1).sum(axis=1)
        for node in np.flatnonzero(node_weight):
            self.light[node] += node_weight[node] * rows


def _thickness(frame: Frame) -> tuple[int, int]:
    """Pixels to a row of the strip, and rows each way that the source reaches."""
    margin = frame.margin[1] / frame.fine[1]
    every = max(1, math.ceil(margin / _ROWS))
    rows = (frame.q.size - 1) // frame.fine[1]
    fitting = (rows // 2) // every - 1
    return every, max(min(math.ceil(margin / every), fitting), 0)


def empty_strip(frame: Frame, wavelengths: Wavelengths) -> Strip:
    """A dark strip to be filled one wavelength after another."""
    every, reach = _thickness(frame)
    shape = (wavelengths.node_m.size, 2 * reach + 1, frame.p.size - 1)
    return Strip(np.zeros(shape), reach, every)


Factor = Callable[[float], Floats]


def strip_of(
    table: SummedTable,
    frame: Frame,
    half: bool,
    sine_in: float,
    wavelength_m: Floats,
    node_weight: Floats,
    factor: Factor,
) -> Strip:
    """The strip by one table that serves all wavelengths (`half`: of the upper half alone);
    `node_weight` (b, k) is the light of each that goes to each node."""
    every, reach = _thickness(frame)
    step = frame.pixel[1] * every
    if not half:
        q = np.asarray(step * (np.arange(2.0 * reach + 2) - reach - 0.5 * frame.odd))
        return Strip(
            _by_node(table, frame, q, sine_in, wavelength_m, node_weight, factor), reach, every
        )
    q = np.asarray(
        step / 2 * np.arange(2 * reach + 3, dtype=np.float64)
    )  # in halves, to be mirrored
    light = _by_node(table, frame, q, sine_in, wavelength_m, node_weight, factor)
    light = np.concatenate([light[:, ::-1, ::-1], light], axis=1)
    first = 1 if frame.odd else 2
    pairs = light[:, first : first + 2 * (2 * reach + 1)]
    return Strip(pairs[:, ::2] + pairs[:, 1::2], reach, every)


def _by_node(
    table: SummedTable,
    frame: Frame,
    q: Floats,
    sine_in: float,
    wavelength_m: Floats,
    node_weight: Floats,
    factor: Factor,
) -> Floats:
    """(k, rows, np) light of all wavelengths, shared between the nodes."""
    strip = Frame(frame.p, q, (0, 0), straight=True)
    out = np.zeros((node_weight.shape[1], strip.q.size - 1, strip.p.size - 1))
    flat = out.reshape(node_weight.shape[1], -1)
    for first in range(0, wavelength_m.size, _AT_ONCE):
        now = wavelength_m[first : first + _AT_ONCE]
        light = sweep_plane(table, strip, sine_in, now, np.eye(now.size))
        light *= np.stack([factor(float(w)) for w in now])[:, None, :]
        nodes = np.flatnonzero(node_weight[first : first + now.size].any(axis=0))
        if nodes.size:
            among = slice(int(nodes[0]), int(nodes[-1]) + 1)
            flat[among] += node_weight[first : first + now.size, among].T @ light.reshape(
                now.size, -1
            )
    return out


def middle_row(strip: Strip, frame: Frame, geometry: Geometry, source: Extent) -> Floats:
    """(k, nx) power in the middle row's pixels, the source's blur included."""
    step = frame.pixel[1] * strip.every
    row = _averaged(strip.light, strip.middle, source, (frame.cell[0], step)) / strip.every
    return _to_pixels(row, frame, geometry)


def _averaged(light: Floats, middle: int, source: Extent, cell: tuple[float, float]) -> Floats:
    """(k, np) the middle row after the blur of the source."""
    if source.area == 0.0:
        return light[:, middle]
    kernel = kernel_of(source, cell)
    out = np.zeros((light.shape[0], light.shape[2], 1))
    for j, weights in enumerate(kernel, middle - kernel.shape[0] // 2):
        if 0 <= j < light.shape[1]:
            out += along_axis(light[:, j, :, None], weights, 1)
    return out[:, :, 0]


def _to_pixels(row: Floats, frame: Frame, geometry: Geometry) -> Floats:
    m = frame.margin[0]
    inner = np.ascontiguousarray(row[:, m : row.shape[1] - m])
    if frame.straight:
        return np.asarray(inner.reshape(inner.shape[0], -1, frame.fine[0]).sum(axis=2))
    on_axis = geometry.sine(geometry.x_edges_m, 0.0)
    wanted = np.broadcast_to(on_axis, (row.shape[0], on_axis.size)).copy()
    return bent(inner[:, :, None], frame.p[m : frame.p.size - m], wanted)[:, :, 0]
