"""Light of every pixel column at every wavelength."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wavesim.aperture import Aperture
from wavesim.arrays import Floats
from wavesim.diffraction.far import FarField
from wavesim.plate.bins import Bins
from wavesim.plate.convolution import BEYOND
from wavesim.plate.costs import Smoothing
from wavesim.plate.envelope import Envelopes
from wavesim.plate.geometry import Geometry
from wavesim.plate.pairwise import sweep_pairs
from wavesim.plate.ways import Way, reads_twice, runs

_GAP_M = 2e-9  # between wavelengths that do not follow one another


@dataclass(frozen=True, eq=False)
class Columns:
    """Light of every pixel column, before the direction of the rulings is looked at.

    Attributes
    ----------
    node_m : (k,) [m] wavelength nodes
    light : (nx, k) power per unit of the height's integral: radiance x sines x aperture width
        [W m-1 sr-1], or irradiance x aperture width [W m-1]
    first : columns before this one mirror those behind, in light as in position
    """

    node_m: Floats
    light: Floats
    first: int = 0


def first_column(geometry: Geometry, ruled: Aperture) -> int:
    """First pixel column that has to be computed; those before it mirror those behind.

    Real weights make |A(-u)| = |A(u)| whatever the positions, so a plate that is symmetric about
    the zero order at normal incidence needs its right half only.
    """
    folded = geometry.symmetric and ruled.in_phase
    return (geometry.sine_edges.size - 1) // 2 if folded else 0


def reach_per_m(
    geometry: Geometry, bins: Bins, ruled: Aperture, *, beyond: float = BEYOND
) -> tuple[float, float]:
    """Smallest and largest u [1/m] that a plate asks for, and `beyond` / (aperture width) more."""
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    edges = geometry.sine_edges[first_column(geometry, ruled) :]
    sines = geometry.sine_in + np.array([lo + edges[0], hi + edges[-1]])
    ends = (bins.lo_m * bins.air_ratio).min(), (bins.hi_m * bins.air_ratio).max()
    u = np.outer(sines, [1 / ends[0], 1 / ends[1]])
    more = beyond / ruled.width_m
    return float(u.min()) - more, float(u.max()) + more


def sweep(
    field: FarField, geometry: Geometry, bins: Bins, ruled: Aperture, *, pairs: bool = False
) -> Columns:
    """Light of each pixel column at each wavelength node.

    Each term of the far field is taken over the columns in the way that costs least
    (`plate.ways`): every pair of edge and bin, few wavelengths and what lies between them, or a
    convolution in the logarithm of wavelength. Half of a symmetric plate is computed. With
    `pairs` every pair of edge and bin is read, and edges need not be in order.
    """
    shape = (geometry.sine_edges.size - 1, bins.node_m.size)
    light: Floats | None = None
    first = first_column(geometry, ruled)
    envelopes = Envelopes(geometry, bins.node_m, ruled.pitch_m)
    every: Way = sweep_pairs
    ways = [(slice(first, shape[0]), every)]
    if not pairs:
        ways = runs(geometry, bins, ruled.width_m, first)
    for term in field.terms(again=reads_twice(ways, bins)):
        part = np.zeros(shape)
        for columns, way in ways:
            way(term.integral, geometry, bins, columns, part[columns])
        part[:first] = part[::-1][:first] * (-1.0 if term.part == "imaginary" else 1.0)
        envelopes.multiply(term, part)
        light = part if light is None else np.add(light, part, out=light)
    light = np.zeros(shape) if light is None else light
    return Columns(bins.node_m, light, first if field.whole else 0)


def sweep_some(
    field: FarField,
    geometries: list[Geometry],
    bins: list[Bins],
    ruled: Aperture,
    widest: float,
) -> list[Floats]:
    """Light (columns, k) at some edges, in any order, each with bins of its own, by every pair.

    Neither half of a symmetric plate is mirrored. Every table of the far field is made once, where
    it is read. Edges that follow one another stand no farther apart than `widest`, a sine, or are
    not those of one pixel.
    """
    pairs = list(zip(geometries, bins, strict=True))
    found = [np.zeros((geometry.sine_edges.size - 1, b.node_m.size)) for geometry, b in pairs]
    smooth = [Envelopes(geometry, b.node_m, ruled.pitch_m) for geometry, b in pairs]
    twice = any(b.smoothing in (Smoothing.SLIT, Smoothing.BIN) for b in bins)
    spans = _merged([span for geometry, b in pairs for span in _spans(geometry, b, widest)])
    for term in field.terms(again=twice, spans=spans):
        for (geometry, b), envelopes, light in zip(pairs, smooth, found, strict=True):
            part = np.zeros_like(light)
            sweep_pairs(term.integral, geometry, b, slice(0, light.shape[0]), part)
            envelopes.multiply(term, part)
            light += part
    return found


def _spans(geometry: Geometry, bins: Bins, widest: float) -> Iterator[tuple[float, float]]:
    """Stretches of u [1/m] that some edges meet in some light."""
    edges = geometry.sine_edges
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    if not bins.wavelength_m.size:
        return
    apart = np.flatnonzero(np.abs(np.diff(edges)) > widest) + 1
    gaps = np.flatnonzero(np.diff(bins.wavelength_m) > _GAP_M) + 1
    shortest = np.minimum(bins.lo_m, bins.wavelength_m) * bins.air_ratio
    longest = np.maximum(bins.hi_m, bins.wavelength_m) * bins.air_ratio
    groups = pairwise([0, *gaps.tolist(), bins.wavelength_m.size])
    ends = [(float(shortest[a:z].min()), float(longest[a:z].max())) for a, z in groups]
    for a, z in pairwise([0, *apart.tolist(), edges.size]):
        sines = geometry.sine_in + edges[a:z].min() + lo, geometry.sine_in + edges[a:z].max() + hi
        for short, long in ends:
            u = [sine / wavelength for sine in sines for wavelength in (short, long)]
            yield min(u), max(u)


def _merged(spans: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The same stretches, those that meet as one, ascending."""
    found: list[tuple[float, float]] = []
    for a, z in sorted(spans):
        if found and a <= found[-1][1]:
            found[-1] = (found[-1][0], max(z, found[-1][1]))
        else:
            found.append((a, z))
    return found
