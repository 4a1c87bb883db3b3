"""The spectrum along the plate's middle row."""

from __future__ import annotations

import math

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.farfield.plane import SummedTable
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.frame import Frame, bent
from wavesim.plate.plane.source import Extent, along_axis, kernel_of
from wavesim.plate.plane.sweep import sweep_plane
from wavesim.plate.plane.waves import Waves

_ROWS = 20  # rows each way that stand for a tall source
_AT_ONCE = 8  # wavelengths swept side by side


def profile(
    table: SummedTable, on: Frame, half: bool, place: Geometry, waves: Waves, source: Extent
) -> Floats:
    """(k, nx) power in the middle row's pixels at the wavelength nodes, source included.

    Rows within half the source's height are swept for each wavelength apart; where there are
    many, strips of several rows stand for them.
    """
    every = max(1, math.ceil(on.margin[1] / _ROWS))
    step, reach = on.cell[1] * every, math.ceil(on.margin[1] / every)
    rows = on.q.size - 1
    odd = rows % 2 == 1 and every == 1
    if half:
        q = (-step / 2 if odd else 0.0) + step * np.arange(reach + 2)
    else:
        q = on.q[rows // 2] + step * (np.arange(2 * reach + 2) - reach)
    q = q[(q >= on.q[0] - 1e-9 * step) & (q <= on.q[-1] + 1e-9 * step)]
    light = _by_node(table, Frame(on.p, q, (0, 0), straight=True), place.sine_in, waves)
    if half:
        light = np.concatenate([light[:, int(odd) :][:, ::-1, ::-1], light], axis=1)
    middle = light.shape[1] // 2 if half else int(np.searchsorted(q, on.q[rows // 2] + step / 2)) - 1
    row = _averaged(light, middle, source, (on.cell[0], step)) / every
    return _to_pixels(row, on, place)


def _by_node(table: SummedTable, strip: Frame, sine_in: float, waves: Waves) -> Floats:
    """(k, rows, np) light shared between the nodes beside each wavelength."""
    shape = (waves.node_m.size, strip.q.size - 1, strip.p.size - 1)
    out = np.zeros(shape)
    for first in range(0, waves.power.size, _AT_ONCE):
        part = slice(first, first + _AT_ONCE)
        wavelength = waves.wavelength_m[part]
        light = sweep_plane(table, strip, sine_in, wavelength, np.eye(wavelength.size))
        for b, cells in enumerate(light, first):
            share = waves.part[b]
            out[waves.below[b]] += waves.power[b] * (1 - share) * cells
            out[waves.below[b] + 1] += waves.power[b] * share * cells
    return out


def _averaged(
    light: Floats, middle: int, source: Extent, cell: tuple[float, float]
) -> Floats:
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
        return inner
    on_axis = place.sine(place.x_edges_m, np.float64(0.0))
    wanted = np.broadcast_to(on_axis, (row.shape[0], on_axis.size)).copy()
    return bent(inner[:, :, None], on.p[m : on.p.size - m], wanted)[:, :, 0]
