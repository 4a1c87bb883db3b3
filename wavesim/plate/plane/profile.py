"""The spectrum along the plate's middle row."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.diffraction.planar import SummedTable
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.frame import Frame, bent
from wavesim.plate.plane.source import Extent, along_axis, kernel_of
from wavesim.plate.plane.sweep import sweep_plane
from wavesim.plate.plane.waves import Waves

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

    def add(self, cells: Floats, share: Floats, on: Frame) -> None:
        """Add a whole frame (nq, np) times the light (k,) that goes to each node."""
        high = on.fine[1]  # cells to a pixel
        first = (cells.shape[0] - high * on.odd) // 2 - self.middle * self.every * high
        rows = cells[first : first + self.light.shape[1] * self.every * high]
        rows = rows.reshape(self.light.shape[1], self.every * high, -1).sum(axis=1)
        for node in np.flatnonzero(share):
            self.light[node] += share[node] * rows


def _thickness(on: Frame) -> tuple[int, int]:
    """Pixels to a row of the strip, and rows each way that the source reaches."""
    margin = on.margin[1] / on.fine[1]
    every = max(1, math.ceil(margin / _ROWS))
    rows = (on.q.size - 1) // on.fine[1]
    fitting = (rows // 2) // every - 1
    return every, max(min(math.ceil(margin / every), fitting), 0)


def empty_strip(on: Frame, waves: Waves) -> Strip:
    """A dark strip to be filled one wavelength after another."""
    every, reach = _thickness(on)
    shape = (waves.node_m.size, 2 * reach + 1, on.p.size - 1)
    return Strip(np.zeros(shape), reach, every)


Factor = Callable[[float], Floats]


def strip_of(
    table: SummedTable,
    on: Frame,
    half: bool,
    sine_in: float,
    wavelength_m: Floats,
    share: Floats,
    factor: Factor,
) -> Strip:
    """The strip by one table that serves all wavelengths (`half`: of the upper half alone);
    share (b, k) is the light of each that goes to each node."""
    every, reach = _thickness(on)
    step = on.pixel[1] * every
    if not half:
        q = np.asarray(step * (np.arange(2.0 * reach + 2) - reach - 0.5 * on.odd))
        return Strip(_by_node(table, on, q, sine_in, wavelength_m, share, factor), reach, every)
    q = np.asarray(
        step / 2 * np.arange(2 * reach + 3, dtype=np.float64)
    )  # in halves, to be mirrored
    light = _by_node(table, on, q, sine_in, wavelength_m, share, factor)
    light = np.concatenate([light[:, ::-1, ::-1], light], axis=1)
    first = 1 if on.odd else 2
    pairs = light[:, first : first + 2 * (2 * reach + 1)]
    return Strip(pairs[:, ::2] + pairs[:, 1::2], reach, every)


def _by_node(
    table: SummedTable,
    on: Frame,
    q: Floats,
    sine_in: float,
    wavelength_m: Floats,
    share: Floats,
    factor: Factor,
) -> Floats:
    """(k, rows, np) light of all wavelengths, shared between the nodes."""
    strip = Frame(on.p, q, (0, 0), straight=True)
    out = np.zeros((share.shape[1], strip.q.size - 1, strip.p.size - 1))
    flat = out.reshape(share.shape[1], -1)
    for first in range(0, wavelength_m.size, _AT_ONCE):
        now = wavelength_m[first : first + _AT_ONCE]
        light = sweep_plane(table, strip, sine_in, now, np.eye(now.size))
        light *= np.stack([factor(float(w)) for w in now])[:, None, :]
        nodes = np.flatnonzero(share[first : first + now.size].any(axis=0))
        if nodes.size:
            among = slice(int(nodes[0]), int(nodes[-1]) + 1)
            flat[among] += share[first : first + now.size, among].T @ light.reshape(now.size, -1)
    return out


def middle_row(strip: Strip, on: Frame, place: Geometry, source: Extent) -> Floats:
    """(k, nx) power in the middle row's pixels, the source's blur included."""
    step = on.pixel[1] * strip.every
    row = _averaged(strip.light, strip.middle, source, (on.cell[0], step)) / strip.every
    return _to_pixels(row, on, place)


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


def _to_pixels(row: Floats, on: Frame, place: Geometry) -> Floats:
    m = on.margin[0]
    inner = np.ascontiguousarray(row[:, m : row.shape[1] - m])
    if on.straight:
        return np.asarray(inner.reshape(inner.shape[0], -1, on.fine[0]).sum(axis=2))
    on_axis = place.sine(place.x_edges_m, 0.0)
    wanted = np.broadcast_to(on_axis, (row.shape[0], on_axis.size)).copy()
    return bent(inner[:, :, None], on.p[m : on.p.size - m], wanted)[:, :, 0]
