"""All wavelengths in one pass over the pixels."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wavesim.aperture import Aperture
from wavesim.aperture.elements import Floats
from wavesim.diffraction.far import FarField, RunningIntegral
from wavesim.plate.bins import Bins, Smoothing
from wavesim.plate.envelope import Envelopes
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import sweep_boxes, sweep_points
from wavesim.threads import in_threads

Indices = npt.NDArray[np.int64]

_CACHE_BYTES = 192 * 1024  # of table in use at a time; half of a small second-level cache
_GAUSS = 4  # points across a narrow source slit


@dataclass(frozen=True, eq=False)
class Columns:
    """Light of every pixel column, before the direction of the rulings is looked at.

    Attributes
    ----------
    node_m : (k,) [m] wavelength nodes
    light : (nx, k) power per unit of the height's integral: radiance x sines x aperture width
        [W m-1 sr-1], or irradiance x aperture width [W m-1]
    first : columns before this one mirror those behind, in light as in place
    """

    node_m: Floats
    light: Floats
    first: int = 0


def first_column(place: Geometry, ruled: Aperture) -> int:
    """First pixel column that has to be computed; those before it mirror those behind.

    Real weights make |A(-u)| = |A(u)| whatever the positions, so a plate that is symmetric about
    the zero order at normal incidence needs its right half only.
    """
    folded = place.symmetric and ruled.in_phase
    return (place.sine_edges.size - 1) // 2 if folded else 0


def reach_per_m(place: Geometry, bins: Bins, ruled: Aperture) -> tuple[float, float]:
    """Smallest and largest u [1/m] that a plate asks for."""
    lo, hi = place.slit_sines or (0.0, 0.0)
    edges = place.sine_edges[first_column(place, ruled) :]
    sines = place.sine_in + np.array([lo + edges[0], hi + edges[-1]])
    ends = (bins.lo_m * bins.stretch).min(), (bins.hi_m * bins.stretch).max()
    u = np.outer(sines, [1 / ends[0], 1 / ends[1]])
    return float(u.min()), float(u.max())


def sweep(field: FarField, place: Geometry, bins: Bins, ruled: Aperture) -> Columns:
    """Light of each pixel column at each wavelength node.

    Cost: pixels x bins readings of the table for each term of the far field (measured 2 ns each
    on two cores; twice that with a source slit), half of it where the plate is symmetric. Each
    pixel is the exact difference of the running integral between its edges.
    """
    light = np.zeros((place.sine_edges.size - 1, bins.node_m.size))
    first = first_column(place, ruled)
    envelopes = Envelopes(place, bins.node_m, ruled.pitch_m)
    for term in field.terms(again=bins.smoothing in (Smoothing.SLIT, Smoothing.BIN)):
        part = light if term.envelopes is None else np.zeros_like(light)
        _sweep_term(term.integral, place, bins, part[first:])
        part[:first] = part[::-1][:first] * (-1.0 if term.part == "imaginary" else 1.0)
        factor = envelopes.factor(term)
        if factor is not None:
            light += part * factor
    return Columns(bins.node_m, light, first if field.whole else 0)


def _sweep_term(table: RunningIntegral, place: Geometry, bins: Bins, light: Floats) -> None:
    """Add the light of the plate's last columns, as many as `light` has rows."""
    sines = place.sine_edges[place.sine_edges.size - 1 - light.shape[0] :]
    block = _blocks(bins, place, table)
    run = _boxes if bins.smoothing in (Smoothing.SLIT, Smoothing.BIN) else _points
    kernel, tables, lines, (low, high, first) = run(table, place, bins)
    longest = int(np.diff(first[block]).max())

    def part(columns: slice) -> None:
        pixels, room = (columns.start, columns.stop), np.empty((2, longest))
        kernel(tables, sines, *lines, (low, high, first, block), pixels, room, light)

    in_threads(part, light.shape[0])


# a kernel, its tables, where it reads them (scale and shift), and each bin's light to the nodes
Run = tuple[Callable[..., None], object, tuple[object, ...], tuple[Floats, Floats, Indices]]


def _points(table: RunningIntegral, place: Geometry, bins: Bins) -> Run:
    """Point source, or Gauss points across a narrow slit, as so many more bins."""
    offsets, weights = np.zeros(1), np.ones(1)
    if place.slit_sines is not None:
        lo, hi = place.slit_sines
        t, w = np.polynomial.legendre.leggauss(_GAUSS)
        points = bins.smoothing is Smoothing.GAUSS
        offsets = (lo + hi) / 2 + (hi - lo) / 2 * (t if points else np.zeros(1))
        weights = (hi - lo) / 2 * (w if points else np.full(1, 2.0))
    n = weights.size
    scale = np.repeat(1.0 / (bins.wavelength_m * bins.stretch * table.step_per_m), n)
    shift = scale * (place.sine_in + np.tile(offsets, bins.power.size))
    shift -= table.start_per_m / table.step_per_m
    low, high = (np.repeat(hat, n) * np.tile(weights, hat.size) for hat in _hats(bins))
    return sweep_points, table.once, (scale, shift), (low, high, bins.first * n)


def _boxes(table: RunningIntegral, place: Geometry, bins: Bins) -> Run:
    """Mean over the source slit, or over the bin."""
    low, high = _hats(bins)
    lo, hi = place.slit_sines or (0.0, 0.0)
    if place.slit_sines is not None:
        low, high = low * (hi - lo), high * (hi - lo)
    ends = [(bins.hi_m, (lo + hi) / 2), (bins.lo_m, (lo + hi) / 2)]
    if bins.smoothing is Smoothing.SLIT:
        ends = [(bins.wavelength_m, lo), (bins.wavelength_m, hi)]
    origin = table.start_per_m / table.step_per_m
    lines = []
    for wavelength, offset in ends:
        scale = 1.0 / (wavelength * bins.stretch * table.step_per_m)
        lines.append((scale, scale * (place.sine_in + offset) - origin))
    return sweep_boxes, (table.once, table.twice), tuple(lines), (low, high, bins.first)


def _hats(bins: Bins) -> tuple[Floats, Floats]:
    """Light of each bin that goes to the node below and to the node above."""
    below = np.repeat(np.arange(bins.node_m.size - 1), np.diff(bins.first))
    width = bins.node_m[below + 1] - bins.node_m[below]
    t = np.clip((bins.wavelength_m - bins.node_m[below]) / width, 0.0, 1.0)
    return bins.power * (1 - t), bins.power * t


def _blocks(bins: Bins, place: Geometry, table: RunningIntegral) -> Indices:
    """Node numbers where blocks begin, so that a block's stretch of table fits the cache."""
    cells = abs(place.widest_sine) * np.abs(np.diff(1 / bins.node_m)) / table.step_per_m
    parts = np.floor(np.cumsum(cells) * table.once[0].nbytes / _CACHE_BYTES)
    starts = np.flatnonzero(np.diff(parts, prepend=-1.0))
    return np.append(starts, bins.node_m.size - 1).astype(np.int64)
