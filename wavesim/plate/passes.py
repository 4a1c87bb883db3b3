"""Passes of a convolution in ln lambda: one grid of ln u, its stretches and their transforms."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from wavesim.arrays import Complexes, Floats, Integers
from wavesim.compiled import compiled
from wavesim.plate.bins import Bins
from wavesim.plate.interpolation import BEFORE, TAPS, coefficients, spread_nodes, weights_at
from wavesim.threads import in_threads

Room = tuple[Complexes, Floats]

SMOOTH_STEP = 1e-4  # of ln u: grid of the smooth part
_WINDOW = 13  # steps of the smooth part's grid to half the window that smooths
_KAISER = 20.2  # the window's shape: nothing above a quarter of the grid's frequency, to 1e-7
_FEW_ROWS = 4  # stretches that are not worth a second thread
_BANDS = 64  # of frequency, in which transforms are bounded
_AT_ONCE = 1 << 18  # values transformed at a time
_SUMS = {"contract", "reassoc"}  # products of a sum may be added in any fixed order


@dataclass(frozen=True)
class LogGrid:
    """Even grids of ln u (from `start`), of ln lambda (from `first`) and of ln |sigma|, whose
    point n + m belongs to the points n and m of the others. `side` is the sign of sigma."""

    start: float
    first: float
    step: float
    side: float

    def position(self, log_wavelength: Floats) -> Floats:
        """(n,) positions on the grid of ln lambda."""
        return np.asarray((log_wavelength - self.first) / self.step)

    def of_sine(self, sigma: Floats) -> Floats:
        """(n,) positions on the grid of ln sigma."""
        return np.asarray((np.log(self.side * sigma) - self.start - self.first) / self.step)


@dataclass(frozen=True, eq=False)
class Reading:
    """Linear readings of an even grid, one for each pixel edge.

    Attributes
    ----------
    start : (n,) first grid point of each edge's
    weight : (n, w) weights of the grid points from there on
    """

    start: Integers
    weight: Floats


@dataclass(frozen=True, eq=False)
class BinLight:
    """Bins, their positions, and the light of each that goes to the nodes below and above."""

    bins: Bins
    log_wavelength: Floats
    low: Floats
    high: Floats


def spans_of(bins: Bins) -> tuple[Integers, Integers]:
    """First bin of each node and the one after its last (k,); equal where it has none."""
    number = np.arange(bins.node_m.size)
    last = bins.node_m.size - 1
    return bins.first[np.maximum(number - 1, 0)], bins.first[np.minimum(number + 1, last)]


def put(
    bin_light: BinLight, position: Floats, nodes: range, length: int
) -> tuple[Integers, Floats]:
    """Light of some nodes on even samples: first sample (k,), and (k, length) from there on."""
    begin, end = (edge[nodes.start : nodes.stop] for edge in spans_of(bin_light.bins))
    some = end > begin
    first = np.zeros(len(nodes), dtype=np.int64)
    first[some] = np.floor(position[begin[some]]).astype(np.int64) - BEFORE
    out = np.zeros((len(nodes), length))
    spread_nodes(
        position, bin_light.low, bin_light.high, bin_light.bins.first, nodes.start, nodes.stop,
        first, coefficients(), np.empty(TAPS), out,
    )  # fmt: skip
    return first, out


def split_off(grid: LogGrid, values: Floats, times: int) -> tuple[LogGrid, Floats]:
    """The smooth part of `values` on a grid `times` coarser; it is taken off `values`.

    A Kaiser window of 2 x 13 coarse steps smooths, so that the coarse grid reads what is left of
    any frequency without alias; the remainder of a step is as narrow as the window.
    """
    half = _WINDOW * times
    window = np.kaiser(2 * half + 1, _KAISER)
    smooth = np.empty((values.size - 2 * half - 1) // times + 1)
    _smoothed(values, window / window.sum(), times, smooth)
    _, weight = weights_at(np.arange(times) / times)
    _take_off(values, smooth, half, weight)
    return replace(grid, start=grid.start + half * grid.step, step=grid.step * times), smooth


@dataclass(frozen=True, eq=False)
class BlockPlan:
    """How a grid of ln u is cut into stretches that overlap.

    Stretch j holds the points j `stride` .. j `stride` + `size` - 1. Convolved in a circle with
    a kernel of at most `longest` points it is right from its point longest - 1 on.
    """

    bin_light: BinLight
    position: Floats
    reading: Reading
    longest: int
    size: int
    stride: int
    count: int

    @property
    def points(self) -> int:
        """Grid points that the stretches cover."""
        return self.count * self.stride + self.size

    def over(self, values: Floats, least: float = 0.0) -> Pass:
        """The pass over values on the grid, those beyond their end being the last.

        Products of transforms of which no value can exceed `least` are left out.
        """
        if values.size < self.points:
            values = np.pad(values, (0, self.points - values.size), mode="edge")
        windows = np.lib.stride_tricks.sliding_window_view(values, self.size)
        windows = windows[:: self.stride][: self.count]
        spectrum = np.empty((self.count, self.size // 2 + 1), dtype=np.complex128)
        starts = _band_starts(spectrum.shape[1])
        bands = np.empty((self.count, starts.size))

        def some(rows: slice) -> None:
            np.fft.rfft(windows[rows], axis=1, out=spectrum[rows])
            bands[rows] = _in_bands(spectrum[rows])

        in_threads(some, self.count, few=_FEW_ROWS)
        return Pass(self, spectrum, bands, least)


def plan(grid: LogGrid, bin_light: BinLight, reading: Reading) -> BlockPlan:
    """Stretches three times as long as the light of a node and a reading."""
    position = grid.position(bin_light.log_wavelength)
    longest = longest_of(bin_light, position)
    widest = reading.weight.shape[1]
    size = 1 << max(10, math.ceil(math.log2(3 * (longest + widest))))
    stride = size - longest - widest + 2
    last = int(reading.start.max()) + widest
    return BlockPlan(bin_light, position, reading, longest, size, stride, last // stride + 2)


def longest_of(bin_light: BinLight, position: Floats) -> int:
    """Samples that the light of a node takes at most."""
    begin, end = spans_of(bin_light.bins)
    some = end > begin
    return TAPS + int((np.floor(position[end[some] - 1]) - np.floor(position[begin[some]])).max())


@dataclass(frozen=True, eq=False)
class Pass:
    """The convolution of T on one grid with the light of each node.

    Attributes
    ----------
    spectrum : (count, size / 2 + 1) transforms of the stretches
    bands : (count, b) their norms over bands of frequency
    least : values below which a product of transforms is left out
    """

    plan: BlockPlan
    spectrum: Complexes
    bands: Floats
    least: float

    def room(self) -> Room:
        """Arrays for `read` to work in."""
        rows = max(1, min(_AT_ONCE // self.plan.size, self.plan.count))
        product = np.empty((rows, self.plan.size // 2 + 1), dtype=np.complex128)
        return product, np.empty((rows, self.plan.size))

    def kernels(self, nodes: range) -> Iterator[Kernel]:
        """The light of each node."""
        cut = self.plan
        first, light = put(cut.bin_light, cut.position, nodes, cut.size)
        spectrum = np.fft.rfft(light, axis=1)
        # |sum over f of F K| <= sum over bands of |F| |K| (Cauchy and Schwarz), so no value is
        # lost that exceeds `least`
        bound = self.bands @ _in_bands(spectrum).T * (2.0 / cut.size)
        for row, kernel, each in zip(first.tolist(), spectrum, bound.T, strict=True):
            yield Kernel(row, kernel, each > self.least)

    def read(self, kernel: Kernel, edges: Floats, room: Room) -> tuple[int, int]:
        """Add the light of a node up to each edge to edges (n,); columns (first, stop) that may
        have any, stop = first = 0 where none has."""
        cut, reading = self.plan, self.plan.reading
        least, most = edges.size, -1
        for j, values, lead in self._stretches(kernel, room):
            a, z = _within(reading, lead + j * cut.stride, values.shape[0] * cut.stride)
            if z > a:
                some = reading.start[a:z], reading.weight[a:z]
                _read_blocks(values, j, (cut.stride, lead, kernel.first), *some, edges[a:z])
                least, most = min(least, a), max(most, z)
        return (max(least - 1, 0), min(most, edges.size - 1)) if most > least else (edges.size, 0)

    def at_points(self, kernel: Kernel, lowest: int, out: Floats, room: Room) -> None:
        """The light of a node at the grid's points `lowest` and on, into out (n,)."""
        cut = self.plan
        for j, values, lead in self._stretches(kernel, room):
            for row, block in enumerate(values, j):
                a = lead + row * cut.stride - lowest  # where the stretch begins to be right
                begin, end = max(a, 0), min(a + cut.size - cut.longest + 1, out.size)
                shift = row * cut.stride + kernel.first - lowest
                if end > begin:
                    out[begin:end] = block[begin - shift : end - shift]

    def _stretches(self, kernel: Kernel, room: Room) -> Iterator[tuple[int, Floats, int]]:
        """Stretches of T convolved with the light of a node: the number of the first, values
        (n, size), and the grid point from which it is right."""
        cut = self.plan
        lead = kernel.first + cut.longest - 1
        ends = cut.reading.start[[0, -1]]
        lowest = max((int(ends.min()) - lead) // cut.stride, 0)
        highest = (int(ends.max()) - lead) // cut.stride
        matters = np.flatnonzero(kernel.matters[lowest : highest + 1]) + lowest
        for j, count in _runs(matters.tolist(), room[0].shape[0]):
            product, values = room[0][:count], room[1][:count]
            np.multiply(self.spectrum[j : j + count], kernel.spectrum, out=product)
            np.fft.irfft(product, cut.size, axis=1, out=values)
            yield j, values, lead


@dataclass(frozen=True, eq=False)
class Kernel:
    """The light of a node: its first sample, its transform, and the stretches whose products with
    it may matter."""

    first: int
    spectrum: Complexes
    matters: npt.NDArray[np.bool_]


def _within(reading: Reading, lowest: int, count: int) -> tuple[int, int]:
    """Edges (first, stop) that begin to read at the points `lowest` .. `lowest` + `count` - 1."""
    start, size = reading.start, reading.start.size
    if start[0] <= start[-1]:
        a, z = np.searchsorted(start, [lowest, lowest + count])
        return int(a), int(z)
    a, z = size - np.searchsorted(start[::-1], [lowest + count, lowest])
    return int(a), int(z)


def _runs(numbers: list[int], most: int) -> list[tuple[int, int]]:
    """Runs (start, number) of at most so many numbers that follow one another."""
    runs: list[tuple[int, int]] = []
    for j in numbers:
        if runs and sum(runs[-1]) == j and runs[-1][1] < most:
            runs[-1] = (runs[-1][0], runs[-1][1] + 1)
        else:
            runs.append((j, 1))
    return runs


def _in_bands(spectrum: Complexes) -> Floats:
    """(n, b) norms of transforms (n, m) over bands of frequency."""
    power = np.square(spectrum.real)
    power += np.square(spectrum.imag)
    return np.asarray(np.sqrt(np.add.reduceat(power, _band_starts(power.shape[1]), axis=1)))


def _band_starts(size: int) -> Integers:
    return np.unique(np.linspace(0, size, _BANDS, endpoint=False).astype(np.int64))


@compiled(fastmath=_SUMS)
def _smoothed(values, window, times, smooth):  # type: ignore[no-untyped-def]
    """smooth[n] = sum of window[q] values[n times + q]."""
    for n in range(smooth.size):
        total = 0.0
        a = n * times
        for q in range(window.size):
            total += window[q] * values[a + q]
        smooth[n] = total


@compiled(fastmath=_SUMS)
def _take_off(values, smooth, half, weight):  # type: ignore[no-untyped-def]
    """values[q] less the smooth part read there; 0 where that does not reach.

    Sample n of the smooth part stands at the point `half` + n times; `weight` (times, taps)
    reads it between.
    """
    times, taps = weight.shape
    before = taps // 2 - 1
    for q in range(values.size):
        n = (q - half) // times
        part = q - half - n * times
        a = n - before
        if a < 0 or a + taps > smooth.size:
            values[q] = 0.0
            continue
        total = 0.0
        for j in range(taps):
            total += weight[part, j] * smooth[a + j]
        values[q] -= total


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


@compiled()
def put_rises(weight, start, out):  # type: ignore[no-untyped-def]
    """out[i, start[i + 1] + m] += weight[i + 1, m], and as much taken off for edge i."""
    for i in range(out.shape[0]):
        for m in range(weight.shape[1]):
            out[i, start[i + 1] + m] += weight[i + 1, m]
            out[i, start[i] + m] -= weight[i, m]
