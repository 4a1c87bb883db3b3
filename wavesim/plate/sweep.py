"""Light of every pixel column at every wavelength."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.aperture import Aperture
from wavesim.aperture.elements import Floats
from wavesim.diffraction.far import FarField, RunningIntegral
from wavesim.plate.bins import Bins
from wavesim.plate.convolution import BEYOND
from wavesim.plate.costs import Smoothing
from wavesim.plate.envelope import Envelopes
from wavesim.plate.geometry import Geometry
from wavesim.plate.pairwise import sweep_pairs
from wavesim.plate.ways import runs


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
    for term in field.terms(again=bins.smoothing in (Smoothing.SLIT, Smoothing.BIN)):
        part = np.zeros(shape)
        if pairs:
            sweep_pairs(term.integral, geometry, bins, slice(first, shape[0]), part[first:])
        else:
            _add(term.integral, geometry, bins, ruled.width_m, part[first:])
        part[:first] = part[::-1][:first] * (-1.0 if term.part == "imaginary" else 1.0)
        envelopes.multiply(term, part)
        light = part if light is None else np.add(light, part, out=light)
    light = np.zeros(shape) if light is None else light
    return Columns(bins.node_m, light, first if field.whole else 0)


def sweep_some(
    field: FarField, geometries: list[Geometry], bins: list[Bins], ruled: Aperture
) -> list[Floats]:
    """Light (columns, k) at some edges, in any order, each with bins of its own, by every pair.

    Neither half of a symmetric plate is mirrored. Every table of the far field is made once.
    """
    pairs = list(zip(geometries, bins, strict=True))
    found = [np.zeros((geometry.sine_edges.size - 1, b.node_m.size)) for geometry, b in pairs]
    smooth = [Envelopes(geometry, b.node_m, ruled.pitch_m) for geometry, b in pairs]
    twice = any(b.smoothing in (Smoothing.SLIT, Smoothing.BIN) for b in bins)
    for term in field.terms(again=twice):
        for (geometry, b), envelopes, light in zip(pairs, smooth, found, strict=True):
            part = np.zeros_like(light)
            sweep_pairs(term.integral, geometry, b, slice(0, light.shape[0]), part)
            envelopes.multiply(term, part)
            light += part
    return found


def _add(
    table: RunningIntegral, geometry: Geometry, bins: Bins, width_m: float, light: Floats
) -> None:
    """Add the light of the plate's last columns, as many as `light` has rows."""
    first = geometry.sine_edges.size - 1 - light.shape[0]
    for columns, way in runs(geometry, bins, width_m, first):
        part = light[columns.start - first : columns.stop - first]
        way(table, geometry, bins, columns, part)
