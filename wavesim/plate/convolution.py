"""Columns of light whose cost does not multiply pixels by wavelengths.

The light up to a pixel's edge at sigma = sin alpha + sin beta, that of wavelength node k, is

    C_k(sigma) = sum over wavelengths of P_k(lambda) T(sigma / lambda),

with T the running integral of the far field's power over u, which holds no frequency above the
aperture's width W. Two consequences:

- As a function of 1/lambda, T(sigma / lambda) holds none above W sigma. So the light is first
  put on even samples of 1/lambda (`interpolation.spread`), four to the shortest period, and only
  these are read: `few_wavelengths`.
- T depends on ln sigma - ln lambda alone, so C_k is a convolution over the logarithm of
  wavelength: with T read once on an even grid of ln u, all edges of all pixels follow from
  products of short Fourier transforms: `convolved`. The transforms of stretches of T serve all
  nodes; a node's light is 2 nm wide and short.

A source slit is a mean of C over sigma, by Gauss-Legendre points. All is exact but for the
interpolation's error (`interpolation`): a pixel at each wavelength is right to 1e-6 as in
`pairwise`, which is the independent check (tests/test_plate_convolution.py).
"""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from wavesim.arrays import Floats, Integers
from wavesim.compiled import compiled
from wavesim.diffraction.far import RunningIntegral
from wavesim.plate.bins import Bins
from wavesim.plate.costs import widest
from wavesim.plate.geometry import Geometry
from wavesim.plate.interpolation import BEFORE, PER_PERIOD, TAPS, coefficients, gather
from wavesim.plate.pairwise import hats, sweep_pairs
from wavesim.plate.passes import (
    SMOOTH_STEP,
    BinLight,
    LogGrid,
    Pass,
    Reading,
    longest_of,
    plan,
    put,
    put_rises,
    spans_of,
    split_off,
)
from wavesim.threads import in_threads

BEYOND = TAPS / 2 / PER_PERIOD + 2.0  # of 1 / W: how far beyond the plate's u the table is read
_GAUSS = 6  # points across a narrow source slit
_NODES = 16  # whose light is written at a time
_EDGES, _WINDOW = 128, 12  # most edges of pixels, and grid points between them, read at a time
_LEAST = 3e-7  # of a pixel's mean light: what may be left out of it
_LEAST_SPLIT = 8  # times coarser a smooth part must be to be worth its own pass


def few_wavelengths(
    width_m: float,
    table: RunningIntegral,
    geometry: Geometry,
    bins: Bins,
    columns: slice,
    light: Floats,
) -> None:
    """Add the light of some columns to light (their number, k), by even samples of 1/lambda.

    Cost: columns x 4 W sigma (1/lambda1 - 1/lambda2) readings of the table, and columns x nodes
    x 25 multiplications.
    """
    position, pseudo = pseudo_bins(geometry, bins, columns, width_m)
    bin_light = BinLight(bins, position, *hats(bins))
    node_light = put(bin_light, position, range(bins.node_m.size), longest_of(bin_light, position))
    rise = np.zeros((light.shape[0], pseudo.node_m.size))
    sweep_pairs(table, geometry, pseudo, columns, rise)
    _share_out(rise, node_light[0] + BEFORE, node_light[1], light)


def pseudo_bins(
    geometry: Geometry, bins: Bins, columns: slice, width_m: float
) -> tuple[Floats, Bins]:
    """Positions (b,) of the light on even samples of 1/lambda for some columns, and the samples as
    bins of unit light, each with a node of its own; sample n is number n + BEFORE."""
    step = 1.0 / (PER_PERIOD * width_m * widest(geometry, columns))
    bench = bins.wavelength_m * bins.air_ratio
    position = (1.0 / bench.min() - 1.0 / bench) / step  # rising with wavelength
    samples = math.ceil(position.max()) + TAPS + 1
    wave = 1.0 / (1.0 / bench.min() - (np.arange(samples + 1) - BEFORE) * step)
    pseudo = Bins(
        lo_m=wave[:-1],
        hi_m=wave[1:],
        wavelength_m=wave[:-1],
        power=np.ones(samples),
        node_m=wave,
        first=np.append(np.arange(samples), samples).astype(np.int64),
        smoothing=bins.smoothing,
        error=0.0,
    )
    return np.asarray(position), pseudo


def _share_out(rise: Floats, first: Integers, node_light: Floats, light: Floats) -> None:
    """light[:, k] += sum over j of rise[:, first[k] + j] node_light[k, j], some nodes at a time."""
    for k in range(0, first.size, 2 * _NODES):
        some = slice(k, min(k + 2 * _NODES, first.size))
        nonzero = np.flatnonzero(node_light[some].any(axis=1)) + k
        if not nonzero.size:
            continue
        start, width = int(first[nonzero].min()), node_light.shape[1]
        dense = np.zeros((int(first[nonzero].max()) - start + width, some.stop - some.start))
        for node in nonzero:
            dense[first[node] - start : first[node] - start + width, node - k] = node_light[node]
        part = rise[:, start : start + dense.shape[0]]
        light[:, some] += part @ dense[: part.shape[1]]  # beyond its samples a node has no light


def convolved(
    width_m: float,
    table: RunningIntegral,
    geometry: Geometry,
    bins: Bins,
    columns: slice,
    light: Floats,
) -> None:
    """Add the light of some columns to light (their number, k), by convolution in ln lambda.

    All edges must lie on one side of the zero order. T is the sum of a smooth part, on a grid
    `split` times coarser, and of what jumps at the orders and ghosts and is next to nothing
    between them; a product of transforms that cannot matter to a pixel is left out
    (`passes.Pass.matters`). With M = 4 W u the grid points to a factor e of u, cost:
    M (ln u2/u1) readings of the table and, for each node, transforms of those of its
    M (ln sigma2/sigma1) points where T jumps, at some 5 ns each.
    """
    grid, split = _grid(geometry, bins, columns, width_m)
    low, high = hats(bins)
    bin_light = BinLight(bins, np.log(bins.wavelength_m * bins.air_ratio), low, high)
    fine = plan(grid, bin_light, edge_readings(geometry, columns, grid))
    values = table_on(table, grid, fine.points + split * 2 * TAPS)
    reached = values[[0, -1]]
    slow = None
    if split > 1:
        rough, smooth = split_off(grid, values, split)
        slow = plan(rough, bin_light, edge_readings(geometry, columns, rough)).over(smooth)
    mean = float(np.ptp(reached) * (low + high).sum()) / light.shape[0]
    fast = fine.over(values, _LEAST * mean / math.sqrt(bins.node_m.size))

    def part(nodes: slice) -> None:
        room, edges = fast.room(), np.zeros((_NODES, light.shape[0] + 1))
        for k in range(nodes.start, nodes.stop, _NODES):
            some = range(k, min(k + _NODES, nodes.stop))
            found = [
                fast.read(kernel, row, room)
                for kernel, row in zip(fast.kernels(some), edges, strict=False)
            ]
            a, z = min(a for a, _ in found), max(z for _, z in found)
            if z > a:
                rises = np.diff(edges[: len(some), a : z + 1], axis=1)
                light[a:z, some.start : some.stop] += rises.T
                edges[:, a : z + 1] = 0.0

    if slow is not None:
        _add_smooth(slow, light)

    in_threads(part, bins.node_m.size)


def _add_smooth(slow: Pass, light: Floats) -> None:
    """Add the smooth part's light, some edges at a time by a product of matrices."""
    reading = slow.plan.reading
    lowest = int(reading.start.min())
    points = int(reading.start.max()) - lowest + reading.weight.shape[1]
    values = np.zeros((light.shape[1], points))

    def part(nodes: slice) -> None:
        room = slow.room()
        for k in range(nodes.start, nodes.stop, _NODES):
            some = range(k, min(k + _NODES, nodes.stop))
            for kernel, row in zip(slow.kernels(some), values[some.start : some.stop], strict=True):
                slow.at_points(kernel, lowest, row, room)

    in_threads(part, light.shape[1])
    start = reading.start - lowest

    blocks = list(_together(start, light.shape[0]))  # the same for any number of threads

    def read(some: slice) -> None:
        for a, z in blocks[some]:
            few = start[a : z + 1]
            low, high = int(few.min()), int(few.max()) + reading.weight.shape[1]
            weight = np.zeros((z - a, high - low))
            put_rises(reading.weight[a : z + 1], few - low, weight)
            light[a:z] += weight @ values[:, low:high].T

    in_threads(read, len(blocks))


def _together(start: Integers, last: int) -> Iterator[tuple[int, int]]:
    """Columns a .. z - 1 whose edges read nearly the same grid points."""
    a = 0
    while a < last:
        z = a + 1
        while z < last and z - a < _EDGES and abs(int(start[z + 1] - start[a])) <= _WINDOW:
            z += 1
        yield a, z
        a = z


def _grid(geometry: Geometry, bins: Bins, columns: slice, width_m: float) -> tuple[LogGrid, int]:
    """The grid of ln u for some columns, and how many times coarser its smooth part may be."""
    bench = bins.wavelength_m * bins.air_ratio
    edges = geometry.sine_in + geometry.sine_edges[[columns.start, columns.stop]]
    step = float(bench.min()) / (PER_PERIOD * width_m * widest(geometry, columns))
    split = int(SMOOTH_STEP / step)
    split = split if split >= _LEAST_SPLIT else 1
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    nearest = min(abs(edges[0] + lo), abs(edges[1] + hi))
    begin, end = spans_of(bins)
    some = end > begin
    longest = math.log(float((bench[end[some] - 1] / bench[begin[some]]).max()))
    start = math.log(nearest / bench.max()) - longest - 6 * TAPS * split * step
    side = -1.0 if edges[0] + edges[1] < 0 else 1.0
    return LogGrid(start, math.log(bench.min()) - 2 * TAPS * split * step, step, side), split


def table_on(table: RunningIntegral, grid: LogGrid, points: int) -> Floats:
    """(points,) T on the grid of ln u."""
    values = np.empty(points)
    origin, lines = (table.start_per_m, table.step_per_m), (grid.start, grid.step, grid.side)
    in_threads(
        lambda part: _read_log(table.once, origin, lines, part.start, part.stop, values), points
    )
    return values


def edge_readings(geometry: Geometry, columns: slice, grid: LogGrid) -> Reading:
    """How the edges of some columns read the grid of ln sigma.

    The mean over a source slit is taken by Gauss-Legendre points, two for each of the grid's
    that it covers and some more.
    """
    sigma = geometry.sine_in + geometry.sine_edges[columns.start : columns.stop + 1, None]
    if geometry.slit_sines is None:
        return _reading(grid, sigma, np.ones(1))
    lo, hi = geometry.slit_sines
    covered = (hi - lo) / float(np.abs(sigma).min()) / grid.step
    t, w = np.polynomial.legendre.leggauss(_GAUSS + math.ceil(covered / 2))
    return _reading(grid, sigma + (lo + hi) / 2 + (hi - lo) / 2 * t, (hi - lo) / 2 * w)


def _reading(grid: LogGrid, sigma: Floats, weight: Floats) -> Reading:
    """Sum over points (n, p) of weight (p,) times the grid's value there."""
    position = grid.of_sine(sigma)
    start = np.floor(position).astype(np.int64) - BEFORE
    first = start.min(axis=1)
    out = np.zeros((position.shape[0], TAPS + int((start - first[:, None]).max())))
    gather(position, weight, coefficients(), first, np.empty(TAPS), out)
    return Reading(first, out)


@compiled()
def _read_log(coefficient, origin, grid, a, b, out):  # type: ignore[no-untyped-def]
    """out[n] = T at u = side exp(start + n step), n from a to b - 1.

    Beyond the table its end stands: nothing that lies there is ever weighted.
    """
    start, step, side = grid
    degree = coefficient.shape[1] - 1
    last = coefficient.shape[0] - 1
    for n in range(a, b):
        s = (side * np.exp(start + n * step) - origin[0]) / origin[1]
        s = min(max(s, 0.0), last + 1.0)
        j = min(int(s), last)
        t = s - j
        value = coefficient[j, degree]
        for k in range(degree - 1, -1, -1):
            value = value * t + coefficient[j, k]
        out[n] = value
