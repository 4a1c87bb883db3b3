"""All wavelengths at all pixels: the running integral read at every pair of edge and bin."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wavesim.arrays import Floats, Integers
from wavesim.diffraction.far import RunningIntegral
from wavesim.plate.bins import Bins
from wavesim.plate.costs import Smoothing
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import sweep_boxes, sweep_points
from wavesim.threads import in_threads

_CACHE_BYTES = 192 * 1024  # of table in use at a time; half of a small second-level cache
_GAUSS = 4  # points across a narrow source slit


def sweep_pairs(
    table: RunningIntegral, geometry: Geometry, bins: Bins, columns: slice, light: Floats
) -> None:
    """Add the light of some columns to light (their number, k).

    Cost: columns x bins readings of the table (measured 2 ns each on two cores), more with a
    source slit. Each pixel is the exact difference of the running integral between its edges.
    """
    sines = geometry.sine_edges[columns.start : columns.stop + 1]
    block = _blocks(bins, geometry, table)
    run = _boxes if bins.smoothing in (Smoothing.SLIT, Smoothing.BIN) else _points
    kernel, tables, lines, (low, high, first) = run(table, geometry, bins)
    longest = int(np.diff(first[block]).max())

    def part(rows: slice) -> None:
        pixels, room = (rows.start, rows.stop), np.empty((2, longest))
        kernel(tables, sines, *lines, (low, high, first, block), pixels, room, light)

    in_threads(part, light.shape[0])


# a kernel, its tables, where it reads them (scale and shift), and each bin's light to the nodes
Run = tuple[Callable[..., None], object, tuple[object, ...], tuple[Floats, Floats, Integers]]


def _points(table: RunningIntegral, geometry: Geometry, bins: Bins) -> Run:
    """Point source, or Gauss points across a narrow slit, as so many more bins."""
    offsets, weights = np.zeros(1), np.ones(1)
    if geometry.slit_sines is not None:
        lo, hi = geometry.slit_sines
        t, w = np.polynomial.legendre.leggauss(_GAUSS)
        points = bins.smoothing is Smoothing.GAUSS
        offsets = (lo + hi) / 2 + (hi - lo) / 2 * (t if points else np.zeros(1))
        weights = (hi - lo) / 2 * (w if points else np.full(1, 2.0))
    n = weights.size
    scale = np.repeat(1.0 / (bins.wavelength_m * bins.air_ratio * table.step_per_m), n)
    shift = scale * (geometry.sine_in + np.tile(offsets, bins.power.size))
    shift -= table.start_per_m / table.step_per_m
    low, high = (np.repeat(hat, n) * np.tile(weights, hat.size) for hat in hats(bins))
    return sweep_points, table.once, (scale, shift), (low, high, bins.first * n)


def _boxes(table: RunningIntegral, geometry: Geometry, bins: Bins) -> Run:
    """Mean over the source slit, or over the bin."""
    low, high = hats(bins)
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    if geometry.slit_sines is not None:
        low, high = low * (hi - lo), high * (hi - lo)
    ends = [(bins.hi_m, (lo + hi) / 2), (bins.lo_m, (lo + hi) / 2)]
    if bins.smoothing is Smoothing.SLIT:
        ends = [(bins.wavelength_m, lo), (bins.wavelength_m, hi)]
    origin = table.start_per_m / table.step_per_m
    lines = []
    for wavelength, offset in ends:
        scale = 1.0 / (wavelength * bins.air_ratio * table.step_per_m)
        lines.append((scale, scale * (geometry.sine_in + offset) - origin))
    return sweep_boxes, (table.once, table.twice), tuple(lines), (low, high, bins.first)


def hats(bins: Bins) -> tuple[Floats, Floats]:
    """Light of each bin that goes to the node below and to the node above."""
    below = np.repeat(np.arange(bins.node_m.size - 1), np.diff(bins.first))
    width = bins.node_m[below + 1] - bins.node_m[below]
    t = np.clip((bins.wavelength_m - bins.node_m[below]) / width, 0.0, 1.0)
    return bins.power * (1 - t), bins.power * t


def _blocks(bins: Bins, geometry: Geometry, table: RunningIntegral) -> Integers:
    """Node numbers where blocks begin, so that a block's stretch of table fits the cache."""
    cells = abs(geometry.widest_sine) * np.abs(np.diff(1 / bins.node_m)) / table.step_per_m
    parts = np.floor(np.cumsum(cells) * table.once[0].nbytes / _CACHE_BYTES)
    starts = np.flatnonzero(np.diff(parts, prepend=-1.0))
    return np.append(starts, bins.node_m.size - 1).astype(np.int64)
