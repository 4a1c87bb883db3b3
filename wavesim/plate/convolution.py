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

A source slit is a mean of C over sigma: Gauss-Legendre points while it is narrow, else the
difference of T's second integral, which convolves with lambda P. Both are exact but for the
interpolation's error (`interpolation`): a pixel at each wavelength is right to 1e-6 as in
`pairwise`, which is the independent check (tests/test_plate_convolution.py).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wavesim.aperture.elements import Complexes, Floats
from wavesim.compiled import compiled
from wavesim.diffraction.far import RunningIntegral
from wavesim.plate.bins import Bins
from wavesim.plate.costs import Smoothing, widest
from wavesim.plate.geometry import Geometry
from wavesim.plate.interpolation import (
    BEFORE,
    PER_PERIOD,
    TAPS,
    coefficients,
    spread,
    weights_at,
)
from wavesim.plate.pairwise import hats, sweep_pairs
from wavesim.threads import in_threads

Indices = npt.NDArray[np.int64]

BEYOND = TAPS / 2 / PER_PERIOD + 2.0  # of 1 / W: how far beyond the plate's u the table is read
_GAUSS = 6  # points across a narrow source slit
_AT_ONCE = 1 << 18  # values transformed at a time
_NODES = 16  # whose light is written at a time
_SUMS = {"contract", "reassoc"}  # products of a sum may be added in any fixed order


@dataclass(frozen=True, eq=False)
class Reading:
    """Linear readings of an even grid, one for each pixel edge.

    Attributes
    ----------
    start : (n,) first grid point of each edge's
    weight : (n, w) weights of the grid points from there on
    """

    start: Indices
    weight: Floats


def few_wavelengths(
    width_m: float,
    table: RunningIntegral,
    place: Geometry,
    bins: Bins,
    columns: slice,
    light: Floats,
) -> None:
    """Add the light of some columns to light (their number, k), by even samples of 1/lambda.

    Cost: columns x 4 W sigma (1/lambda1 - 1/lambda2) readings of the table, and columns x nodes
    x 25 multiplications.
    """
    step = 1.0 / (PER_PERIOD * width_m * widest(place, columns))
    bench = bins.wavelength_m * bins.stretch
    position = (1.0 / bench.min() - 1.0 / bench) / step  # rising with wavelength
    samples = math.ceil(position.max()) + TAPS + 1
    wave = 1.0 / (1.0 / bench.min() - (np.arange(samples + 1) - BEFORE) * step)
    share = _node_shares(position, bins)
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
    rise = np.zeros((light.shape[0], samples + 1))
    sweep_pairs(table, place, pseudo, columns, rise)
    _share_out(rise, *share, light)


def _share_out(rise: Floats, first: Indices, share: Floats, light: Floats) -> None:
    """light[:, k] += sum over j of rise[:, first[k] + j] share[k, j], some nodes at a time."""
    for k in range(0, first.size, 2 * _NODES):
        some = slice(k, min(k + 2 * _NODES, first.size))
        lit = np.flatnonzero(share[some].any(axis=1)) + k
        if not lit.size:
            continue
        start, width = int(first[lit].min()), share.shape[1]
        dense = np.zeros((int(first[lit].max()) - start + width, some.stop - some.start))
        for node in lit:
            dense[first[node] - start : first[node] - start + width, node - k] = share[node]
        part = rise[:, start : start + dense.shape[0]]
        light[:, some] += part @ dense[: part.shape[1]]  # beyond its samples a node has no light


def _node_shares(position: Floats, bins: Bins) -> tuple[Indices, Floats]:
    """Light of each node on even samples: first sample (k,) and light (k, w) from there on.

    Sample 0 is the point BEFORE steps before position 0.
    """
    first = np.zeros(bins.node_m.size, dtype=np.int64)
    spans = [_bins_of(bins, k) for k in range(bins.node_m.size)]
    ends = [(math.floor(position[s.start]), math.floor(position[s.stop - 1])) if s.stop > s.start
            else (0, 0) for s in spans]  # fmt: skip
    longest = max(b - a for a, b in ends) + TAPS
    out = np.zeros((bins.node_m.size, longest))
    low, high = hats(bins)
    room = np.empty(TAPS)
    for k, (span, (start, _)) in enumerate(zip(spans, ends, strict=True)):
        first[k] = start
        _put(position, low, high, bins, k, span, start - BEFORE, room, out[k])
    return first, out


def _bins_of(bins: Bins, k: int) -> slice:
    """Bins that give light to node k."""
    last = bins.node_m.size - 1
    return slice(int(bins.first[max(k - 1, 0)]), int(bins.first[min(k + 1, last)]))


def _put(
    position: Floats,
    low: Floats,
    high: Floats,
    bins: Bins,
    k: int,
    span: slice,
    first: int,
    room: Floats,
    out: Floats,
) -> None:
    """Put node k's light on even samples; out[0] is sample `first`."""
    middle = int(bins.first[k]) if k < bins.node_m.size - 1 else span.stop
    below, above = slice(span.start, middle), slice(middle, span.stop)
    if k == 0:
        below, above = slice(0, 0), span
    factor = coefficients()
    spread(position[below], high[below], factor, first, room, out)
    spread(position[above], low[above], factor, first, room, out)


def convolved(
    width_m: float,
    table: RunningIntegral,
    place: Geometry,
    bins: Bins,
    columns: slice,
    light: Floats,
) -> None:
    """Add the light of some columns to light (their number, k), by convolution in ln lambda.

    All edges must lie on one side of the zero order. With M = 4 W u the grid points to a factor
    e of u, cost: M (ln u2/u1) readings of the table and, for each node, transforms of
    M (ln sigma2/sigma1) points at some 5 ns each.
    """
    grid = _LogGrid.about(place, bins, columns, width_m)
    low, high = hats(bins)
    if bins.smoothing is Smoothing.SLIT:
        scale = bins.wavelength_m * bins.stretch * table.step_per_m
        low, high = low * scale, high * scale
    position = grid.position(np.log(bins.wavelength_m * bins.stretch))
    readings = _edge_readings(place, bins, columns, grid)
    blocks = _Blocks.of(table, grid, bins, position, readings)

    def part(nodes: slice) -> None:
        room = blocks.room()
        for k in range(nodes.start, nodes.stop, _NODES):
            some = range(k, min(k + _NODES, nodes.stop))
            edges = np.zeros((len(some), light.shape[0] + 1))
            for row, node in zip(edges, some, strict=True):
                _read_node(blocks, bins, node, (position, low, high), readings, row, room)
            light[:, some.start : some.stop] += np.diff(edges, axis=1).T

    in_threads(part, bins.node_m.size)


def _read_node(
    blocks: _Blocks,
    bins: Bins,
    k: int,
    lit: tuple[Floats, Floats, Floats],
    readings: tuple[Reading, ...],
    edges: Floats,
    room: tuple[Complexes, Floats],
) -> None:
    """Add the light of node k up to each edge."""
    position, low, high = lit
    span = _bins_of(bins, k)
    if span.stop == span.start:
        return
    first = math.floor(position[span.start]) - BEFORE
    kernel = np.zeros(blocks.size)
    _put(position, low, high, bins, k, span, first, np.empty(TAPS), kernel)
    blocks.read(kernel, first, readings, edges, room)


@dataclass(frozen=True, eq=False)
class _LogGrid:
    """Even grids of ln u (from `start`), of ln lambda (from `first`) and of ln |sigma|, whose
    point n + m belongs to the points n and m of the others."""

    start: float
    first: float
    step: float
    side: float

    @classmethod
    def about(cls, place: Geometry, bins: Bins, columns: slice, width_m: float) -> _LogGrid:
        bench = bins.wavelength_m * bins.stretch
        edges = place.sine_in + place.sine_edges[[columns.start, columns.stop]]
        far = widest(place, columns)
        step = float(bench.min()) / (PER_PERIOD * width_m * far)
        lo, hi = place.slit_sines or (0.0, 0.0)
        nearest = min(abs(edges[0] + lo), abs(edges[1] + hi))
        spans = (bench[_bins_of(bins, k)] for k in range(bins.node_m.size))
        longest = max(math.log(float(w[-1] / w[0])) for w in spans if w.size)
        start = math.log(nearest / bench.max()) - longest - 4 * TAPS * step
        side = -1.0 if edges[0] + edges[1] < 0 else 1.0
        return cls(start, math.log(bench.min()) - 2 * TAPS * step, step, side)

    def position(self, log_wavelength: Floats) -> Floats:
        """(n,) places on the grid of ln lambda."""
        return np.asarray((log_wavelength - self.first) / self.step)

    def of_sine(self, sigma: Floats) -> Floats:
        """(n,) places on the grid of ln sigma."""
        return np.asarray((np.log(self.side * sigma) - self.start - self.first) / self.step)


def _edge_readings(
    place: Geometry, bins: Bins, columns: slice, grid: _LogGrid
) -> tuple[Reading, ...]:
    """How the edges of some columns read the grid of ln sigma; the readings add up."""
    sigma = place.sine_in + place.sine_edges[columns.start : columns.stop + 1]
    if place.slit_sines is None:
        return (_reading(grid, sigma[:, None], np.ones(1)),)
    lo, hi = place.slit_sines
    if bins.smoothing is Smoothing.SLIT:
        upper = _reading(grid, sigma[:, None] + hi, np.ones(1))
        lower = _reading(grid, sigma[:, None] + lo, -np.ones(1))
        return upper, lower
    if bins.smoothing is Smoothing.POINT:
        return (_reading(grid, sigma[:, None] + (lo + hi) / 2, np.array([hi - lo])),)
    t, w = np.polynomial.legendre.leggauss(_GAUSS)
    offsets = (lo + hi) / 2 + (hi - lo) / 2 * t
    return (_reading(grid, sigma[:, None] + offsets, (hi - lo) / 2 * w),)


def _reading(grid: _LogGrid, sigma: Floats, weight: Floats) -> Reading:
    """Sum over points (n, p) of weight (p,) times the grid's value there."""
    places, single = weights_at(grid.of_sine(sigma).ravel())
    start = places.reshape(sigma.shape)
    single = single.reshape(*sigma.shape, TAPS)
    first = start.min(axis=1)
    out = np.zeros((sigma.shape[0], TAPS + int((start - first[:, None]).max())))
    rows = np.arange(sigma.shape[0])[:, None]
    for p, w in enumerate(weight):
        out[rows, (start[:, p] - first)[:, None] + np.arange(TAPS)] += w * single[:, p]
    return Reading(first, out)


@dataclass(frozen=True, eq=False)
class _Blocks:
    """Transforms of stretches of T on the grid of ln u.

    Stretch j holds the points j `stride` .. j `stride` + `size` - 1. Convolved in a circle with
    a kernel of at most `longest` points it is right from its point longest - 1 on.
    """

    spectrum: Complexes
    size: int
    stride: int
    longest: int

    @classmethod
    def of(
        cls,
        table: RunningIntegral,
        grid: _LogGrid,
        bins: Bins,
        position: Floats,
        readings: tuple[Reading, ...],
    ) -> _Blocks:
        spans = [_bins_of(bins, k) for k in range(bins.node_m.size)]
        longest = TAPS + max(
            math.floor(position[s.stop - 1]) - math.floor(position[s.start])
            for s in spans if s.stop > s.start
        )  # fmt: skip
        widest_reading = max(r.weight.shape[1] for r in readings)
        size = 1 << max(10, math.ceil(math.log2(3 * (longest + widest_reading))))
        stride = size - longest - widest_reading + 2
        last = max(int(r.start.max()) for r in readings) + widest_reading
        count = last // stride + 2
        coefficient = table.once if table.twice is None else table.twice
        values = np.empty(count * stride + size)
        origin = (table.start_per_m, table.step_per_m)

        def read(part: slice) -> None:
            lines = (grid.start, grid.step, grid.side)
            _read_log(coefficient, origin, lines, part.start, part.stop, values)

        in_threads(read, values.size)
        windows = np.lib.stride_tricks.sliding_window_view(values, size)[::stride][:count]
        return cls(np.fft.rfft(windows, axis=1), size, stride, longest)

    def room(self) -> tuple[Complexes, Floats]:
        """Arrays for `read` to work in."""
        rows = max(1, min(_AT_ONCE // self.size, self.spectrum.shape[0]))
        product = np.empty((rows, self.size // 2 + 1), dtype=np.complex128)
        return product, np.empty((rows, self.size))

    def read(
        self,
        kernel: Floats,
        first: int,
        readings: tuple[Reading, ...],
        edges: Floats,
        room: tuple[Complexes, Floats],
    ) -> None:
        """Add the readings of T convolved with a kernel whose point 0 is `first` to edges (n,)."""
        lead = first + self.longest - 1
        start = [r.start for r in readings]
        lowest = (min(int(s.min()) for s in start) - lead) // self.stride
        highest = (max(int(s.max()) for s in start) - lead) // self.stride
        spectrum = np.fft.rfft(kernel)
        step = room[0].shape[0]
        for j in range(lowest, highest + 1, step):
            count = min(step, highest + 1 - j)
            product, values = room[0][:count], room[1][:count]
            np.multiply(self.spectrum[j : j + count], spectrum, out=product)
            np.fft.irfft(product, self.size, axis=1, out=values)
            for r in readings:
                _read_blocks(values, j, (self.stride, lead, first), r.start, r.weight, edges)


@compiled()
def _read_log(coefficient, origin, grid, a, b, out):  # type: ignore[no-untyped-def]
    """out[n] = T (or its second integral) at u = side exp(start + n step), n from a to b - 1.

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


@compiled(fastmath=_SUMS)
def _read_blocks(values, block, lines, start, weight, edges):  # type: ignore[no-untyped-def]
    """edges[i] += sum of weight[i] times the stretch (n, size) from `block` on that holds it."""
    stride, lead, first = lines
    row = 0
    for i in range(start.size):
        n = start[i] - lead - (block + row) * stride
        while n >= stride:
            row += 1
            n -= stride
        while n < 0:
            row -= 1
            n += stride
        if 0 <= row < values.shape[0]:
            n += lead - first
            total = 0.0
            for m in range(weight.shape[1]):
                total += weight[i, m] * values[row, n + m]
            edges[i] += total
