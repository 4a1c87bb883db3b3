"""Columns of light in few channels: sums over all wavelengths, each with a weight of its own.

The light of channel c up to a pixel's edge at sigma = sin alpha + sin beta is

    C_c(sigma) = sum over wavelengths of P(lambda) w_c(lambda) T(sigma / lambda),

as in `plate.convolution`, with a smooth weight instead of a node's narrow hat. What depends on
light, plate and the aperture's width alone is made ready once (`WideLight`): the transform of
P w_c on a grid of ln lambda. Every aperture then asks for one reading of T on the grid of ln u, one
transform of it, and one transform back for each channel.

Pixels far wider than the rulings resolve see no structure finer than themselves, unless the light
has any. Transforms back are made on a grid two or four times coarser where that changes no column
of the whole light by more than `COARSE` of the brightest; this is measured each time.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Protocol

import numpy as np

from wavesim.arrays import Complexes, Floats
from wavesim.compiled import compiled
from wavesim.diffraction.far import RunningIntegral
from wavesim.diffraction.far.resampling import fast_size
from wavesim.plate.bins import Bins
from wavesim.plate.convolution import BEYOND, edge_readings, pseudo_bins, table_on
from wavesim.plate.costs import (
    Cut,
    Smoothing,
    channels_convolved_ns,
    channels_few_ns,
    channels_pairs_ns,
    octaves,
    widest,
)
from wavesim.plate.geometry import Geometry
from wavesim.plate.interpolation import BEFORE, PER_PERIOD, TAPS, coefficients
from wavesim.plate.memory import require_memory
from wavesim.plate.pairwise import hats, sweep_pairs
from wavesim.plate.passes import LogGrid, Reading
from wavesim.threads import in_threads

COARSE = 5e-4  # of the brightest pixel: what fine structure of the light may change
_TIMES = (4, 2)  # coarser grids that are tried, the coarsest first
_HALF = 40  # samples of a coarser grid to half the window that smooths
_KAISER = 12.0  # its shape: falls from all to nothing, both to 1e-6, over 0.1 of a frequency
_CUTS = {1: 0.3, 2: 0.2, 4: 0.2}  # of a grid's frequency: the middle of that fall
_PAD = _TIMES[0] * (_HALF + TAPS)  # grid points at either end that are not right
_KEPT = 0.35  # of the grid's frequency: T holds nothing above 1 / PER_PERIOD
_BEYOND = _PAD / PER_PERIOD + 8.0  # of 1 / W: how far beyond the plate's u the table is read
_POINT_BYTES = 16  # of a point of a channel's grid, while it is made; a third of that is kept
MOST_POINTS = 1 << 20  # of a grid: more are too many to be remembered


class _Part(Protocol):
    """Some columns and all of the light that falls there."""

    @property
    def columns(self) -> slice: ...

    def add(
        self, table: RunningIntegral, light: Floats, aside: Floats | None = None
    ) -> tuple[float, Floats | None]:
        """Add the light to (columns, r); what was left out of the brightest column, and the whole
        light between other edges (n + 1,) as sines, where that is known exactly."""


@dataclass(frozen=True, eq=False)
class WideLight:
    """The light of all wavelengths, ready for any aperture of one width.

    Attributes
    ----------
    channels : weights, r
    again : whether the running integral's second integral is read, too
    parts : stretches of columns
    """

    channels: int
    again: bool
    parts: tuple[_Part, ...]

    @property
    def beyond(self) -> float:
        """How far beyond the plate's u the table is read [1 / W]."""
        return _BEYOND if any(isinstance(part, _Convolved) for part in self.parts) else BEYOND

    def add(
        self, table: RunningIntegral, light: Floats, aside: Floats | None = None
    ) -> tuple[float, Floats | None]:
        """Add the light of the plate's last columns to (their number, r); its error, and the whole
        light between the edges `aside` (n + 1,) of other columns, given as sines, if there are."""
        first, error, beside = self.parts[0].columns.start, 0.0, None
        aside = aside if len(self.parts) == 1 else None
        for part in self.parts:
            missed, beside = part.add(table, light[part.columns.start - first :], aside)
            error = max(error, missed)
        return error, beside


def wide_light(
    bins: Bins,
    weight: Floats,
    geometry: Geometry,
    width_m: float,
    first: int,
    *,
    exact: bool = False,
) -> WideLight | None:
    """Light of a plate's columns from `first` on; None where that would take too much memory.

    Parameters
    ----------
    weight : (k, r) of the channels, at the wavelength nodes
    width_m : [m] of the apertures to come, or more; or the longest lag of what is left of them
    exact : all columns by convolution on the finest grid, or None
    """
    every = slice(first, geometry.sine_edges.size - 1)
    cut, count = bins.cut(width_m), weight.shape[1]
    parts: list[_Part] = []
    for columns, apart in octaves(geometry, cut, every):
        if exact and not apart:
            return None
        way = _convolved if exact else _cheapest(geometry, cut, columns, count, apart=apart)
        part = way(columns, geometry, bins, weight, width_m)
        if isinstance(part, _Convolved):
            if part.size > MOST_POINTS:
                return None
            part = replace(part, times=() if exact else _TIMES)
        parts.append(part)
    again = bins.smoothing in (Smoothing.SLIT, Smoothing.BIN)
    read_twice = again and any(not isinstance(part, _Convolved) for part in parts)
    return WideLight(count, read_twice, tuple(parts))


_Way = Callable[[slice, Geometry, Bins, Floats, float], _Part]


def _cheapest(geometry: Geometry, cut: Cut, columns: slice, count: int, *, apart: bool) -> _Way:
    ways: list[tuple[float, _Way]] = [(channels_pairs_ns(cut, columns, count), _pairs)]
    if cut.smoothing is not Smoothing.BIN:
        ways.append((channels_few_ns(geometry, cut, columns, count), _few))
        if apart:
            ways.append((channels_convolved_ns(geometry, cut, columns, count), _convolved))
    return min(ways, key=lambda way: way[0])[1]


@dataclass(frozen=True, eq=False)
class _Pairs:
    """The running integral read at every pair of edge and bin."""

    columns: slice
    geometry: Geometry
    bins: Bins
    weight: Floats

    def add(
        self, table: RunningIntegral, light: Floats, _aside: Floats | None = None
    ) -> tuple[float, None]:
        """Add the light."""
        columns = self.columns.stop - self.columns.start
        part = np.zeros((columns, self.bins.node_m.size))
        sweep_pairs(table, self.geometry, self.bins, self.columns, part)
        light[:columns] += part @ self.weight
        return 0.0, None


def _pairs(
    columns: slice, geometry: Geometry, bins: Bins, weight: Floats, _width_m: float
) -> _Pairs:
    return _Pairs(columns, geometry, bins, weight)


@dataclass(frozen=True, eq=False)
class _Few:
    """The running integral read at even samples of 1 / lambda, `mix` (samples, r) of each."""

    columns: slice
    geometry: Geometry
    bins: Bins
    mix: Floats

    def add(
        self, table: RunningIntegral, light: Floats, _aside: Floats | None = None
    ) -> tuple[float, None]:
        """Add the light."""
        columns = self.columns.stop - self.columns.start
        rise = np.zeros((columns, self.mix.shape[0]))
        sweep_pairs(table, self.geometry, self.bins, self.columns, rise)
        light[:columns] += rise @ self.mix
        return 0.0, None


def _few(columns: slice, geometry: Geometry, bins: Bins, weight: Floats, width_m: float) -> _Few:
    position, few = pseudo_bins(geometry, bins, columns, width_m)
    mix = _spread(bins, position, weight, few.node_m.size, -BEFORE)
    return _Few(columns, geometry, few, mix)


@dataclass(frozen=True, eq=False)
class _Convolved:
    """The light of each channel on a grid of ln lambda, transformed.

    Attributes
    ----------
    size : points of the circular convolution
    kernel : (r + 1, f) transforms up to `_KEPT` of the grid's frequency; the last of the whole
        light
    times : coarser grids that are tried, the coarsest first
    """

    columns: slice
    geometry: Geometry
    grid: LogGrid
    size: int
    kernel: Complexes
    times: tuple[int, ...] = _TIMES

    @cached_property
    def _readings(self) -> dict[int, Reading]:
        return {}

    @cached_property
    def _filters(self) -> dict[int, Floats]:
        return {}

    def add(
        self, table: RunningIntegral, light: Floats, aside: Floats | None = None
    ) -> tuple[float, Floats | None]:
        """Add the light; the error is that of the coarser grid on the whole light."""
        spectrum = np.fft.rfft(table_on(table, self.grid, self.size))[: self.kernel.shape[1]]
        columns = self.columns.stop - self.columns.start
        times, error = self._coarsest(spectrum)
        light[:columns] += self._read(spectrum, self.kernel[:-1], times).T
        if aside is None:
            return error, None
        other = replace(self.geometry, sine_edges=aside, margin=0, fine=1)
        beside = edge_readings(other, slice(0, aside.size - 1), self.grid)
        return error, self._between(spectrum * self.kernel[-1, : spectrum.size], beside)

    def _coarsest(self, spectrum: Complexes) -> tuple[int, float]:
        """How much coarser a grid may be, and what that changes, of the brightest column."""
        if not self.times:
            return 1, 0.0
        exact = self._read(spectrum, self.kernel[-1:], 1)
        brightest = max(float(exact.max()), 1e-300)
        for times in self.times:
            changed = np.abs(self._read(spectrum, self.kernel[-1:], times) - exact).max()
            if changed <= COARSE * brightest:
                return times, float(changed) / brightest
        return 1, 0.0

    def _read(self, spectrum: Complexes, kernels: Complexes, times: int) -> Floats:
        """(n, columns) light of kernels (n, f), on a grid `times` coarser."""
        size, reading, window = self.size // times, self._reading(times), self._filter(times)
        smooth = spectrum[: window.size] * (window / times)
        light = np.empty((kernels.shape[0], reading.start.size - 1))

        def part(some: slice) -> None:
            product, values = np.empty_like(smooth), np.empty(size)
            for kernel, row in zip(kernels[some], light[some], strict=True):
                np.multiply(smooth, kernel[: smooth.size], out=product)
                np.fft.irfft(product, size, out=values)
                _rises(values, reading.start, reading.weight, row)

        in_threads(part, kernels.shape[0], few=4)
        return light

    def _between(self, product: Complexes, reading: Reading) -> Floats:
        """(n,) light between edges, of a product of transforms."""
        row = np.empty(reading.start.size - 1)
        _rises(np.fft.irfft(product, self.size), reading.start, reading.weight, row)
        return row

    def _reading(self, times: int) -> Reading:
        if times not in self._readings:
            grid = replace(self.grid, step=self.grid.step * times)
            self._readings[times] = edge_readings(self.geometry, self.columns, grid)
        return self._readings[times]

    def _filter(self, times: int) -> Floats:
        """Transform of the window that smooths for a grid `times` coarser, or cuts off at both ends
        of the finest what their jump leaves above any frequency of T."""
        if times not in self._filters:
            half = _HALF * times
            n = np.arange(-half, half + 1)
            window = np.sinc(2 * _CUTS[times] / times * n) * np.kaiser(n.size, _KAISER)
            circle = np.zeros(self.size)
            circle[n] = window / window.sum()
            most = min(self.size // times // 2 + 1, self.kernel.shape[1])
            self._filters[times] = np.ascontiguousarray(np.fft.rfft(circle).real[:most])
        return self._filters[times]


def _convolved(
    columns: slice, geometry: Geometry, bins: Bins, weight: Floats, width_m: float
) -> _Convolved:
    bench = bins.wavelength_m * bins.air_ratio
    edges = geometry.sine_in + geometry.sine_edges[[columns.start, columns.stop]]
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    near, far = sorted(
        (min(abs(edges + lo).min(), abs(edges + hi).min()), widest(geometry, columns))
    )
    step = float(bench.min()) / (PER_PERIOD * width_m * widest(geometry, columns))
    longest = math.ceil(math.log(float(bench.max() / bench.min())) / step) + 2 * TAPS
    first = math.log(float(bench.min())) - TAPS * step
    start = math.log(near) - first - (longest + _PAD) * step
    side = -1.0 if edges.sum() < 0 else 1.0
    grid = LogGrid(start, first, step, side)
    size = fast_size(longest + 2 * _PAD + math.ceil(math.log(far / near) / step))
    if size <= MOST_POINTS:
        require_memory(
            _POINT_BYTES * (weight.shape[1] + 1) * size,
            what=" for the light of previews",
            expected="fewer rulings, a smaller plate, larger pixels or a narrower band",
        )
    else:
        return _Convolved(columns, geometry, grid, size, np.empty((0, 0), dtype=np.complex128))
    every = np.column_stack([weight, np.ones(weight.shape[0])])
    light = _spread(bins, grid.position(np.log(bench)), every, longest + TAPS, 0)
    frequencies = int(_KEPT * size)
    kernel = np.empty((every.shape[1], frequencies), dtype=np.complex128)

    def some(rows: slice) -> None:
        for row, samples in zip(kernel[rows], light.T[rows], strict=True):
            row[:] = np.fft.rfft(samples, size)[:frequencies]

    in_threads(some, kernel.shape[0], few=4)
    return _Convolved(columns, geometry, grid, size, kernel)


def _spread(bins: Bins, position: Floats, weight: Floats, length: int, first: int) -> Floats:
    """(length, r) light of each channel on even samples, the first of which is `first`."""
    out = np.zeros((length, weight.shape[1]))
    room = np.empty(TAPS), np.empty(weight.shape[1])
    _put(position, *hats(bins), bins.first, weight, coefficients(), first, room, out)
    return out


@compiled(fastmath={"contract", "reassoc"})
def _rises(values, start, weight, out):  # type: ignore[no-untyped-def]
    """out[i] = rise from edge i to i + 1 of the sum of weight[i, m] values[start[i] + m]."""
    before = 0.0
    for i in range(start.size):
        now = 0.0
        for m in range(weight.shape[1]):
            now += weight[i, m] * values[start[i] + m]
        if i > 0:
            out[i - 1] = now - before
        before = now


@compiled()
def _put(position, low, high, bounds, weight, coefficient, first, room, out):  # type: ignore[no-untyped-def]
    """out[n, c] += light of each bin with the weight of channel c, put on even samples.

    Bins bounds[k] .. bounds[k + 1] - 1 give `low` to node k and `high` to node k + 1.
    """
    taps, light = room
    degree = coefficient.shape[0] - 1
    for k in range(bounds.size - 1):
        for b in range(bounds[k], bounds[k + 1]):
            for c in range(light.size):
                light[c] = low[b] * weight[k, c] + high[b] * weight[k + 1, c]
            whole = np.floor(position[b])
            t = 2.0 * (position[b] - whole) - 1.0
            for j in range(taps.size):
                taps[j] = coefficient[degree, j]
            for d in range(degree - 1, -1, -1):
                for j in range(taps.size):
                    taps[j] = taps[j] * t + coefficient[d, j]
            n = int(whole) - (taps.size // 2 - 1) - first
            for j in range(taps.size):
                for c in range(light.size):
                    out[n + j, c] += taps[j] * light[c]
