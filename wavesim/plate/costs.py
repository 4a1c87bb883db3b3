"""What each way to the light of the columns costs.

Costs are nanoseconds of one core, as measured (`python -m benchmarks columns`). Where two ways
cost about the same it does not matter which is taken: all keep the same error.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from itertools import pairwise

import numpy as np

from wavesim.plate.geometry import Geometry
from wavesim.plate.interpolation import PER_PERIOD, TAPS

_READ_NS = 4.0  # one reading of the running integral
_TAP_NS = 0.3  # one multiplication of an interpolation
_PUT_NS = 180.0  # one bin's light put on even samples of the two nodes beside it
_POINT_NS = 5.0  # one point of a transform, both directions and the product
_BACK_NS = 10.0  # one point of a transform back of the whole light
_GRID_NS = 30.0  # one reading of the grid of ln u and its transform
_NODE_NS = 150e3  # one node's calls
_SHARE_NS = 10e3  # one node's light made ready where few wavelengths are read
_FEWEST_PERIODS = 100.0  # of the running integral to a factor e: below, its grid is no grid
_WIDEST_SLIT = 256.0  # grid points that a source slit may cover: more are too many to add up
_SLITS_OFF = 8.0  # source slits' widths from the zero order from which a logarithm is safe


class Smoothing(Enum):
    """What the running integral is averaged over at a pixel's edge."""

    POINT = "a point source"
    GAUSS = "the narrow source slit (Gauss-Legendre points)"
    SLIT = "the source slit"
    BIN = "the wavelength bin"


READINGS = {Smoothing.POINT: 1.0, Smoothing.GAUSS: 4.0, Smoothing.SLIT: 2.5, Smoothing.BIN: 3.0}


@dataclass(frozen=True)
class Cut:
    """A spectrum cut into bins, in numbers.

    Attributes
    ----------
    smoothing : what pixel edges are averaged over
    bins, nodes : how many
    shortest_m, longest_m : [m] its ends
    width_m : [m] of the aperture that it meets
    """

    smoothing: Smoothing
    bins: float
    nodes: int
    shortest_m: float
    longest_m: float
    width_m: float


def octaves(geometry: Geometry, cut: Cut, every: slice) -> list[tuple[slice, bool]]:
    """Stretches of columns over which |sin alpha + sin beta| changes by two at most, and what is
    left about the zero order; whether a logarithm of it may be taken there."""
    sigma = geometry.sine_in + geometry.sine_edges[every.start : every.stop + 1]
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    far = float(np.abs(sigma).max())
    least = max(_FEWEST_PERIODS * cut.shortest_m / cut.width_m, _SLITS_OFF * max(-lo, hi))
    rings = []
    while far > least:
        far /= 2
        rings.append(far)
    cuts = np.sort(np.concatenate([-np.array(rings), rings]))
    ends = {0, sigma.size - 1, *np.clip(np.searchsorted(sigma, cuts), 0, sigma.size - 1).tolist()}
    edges = sorted(ends)
    found = []
    for a, b in pairwise(edges):
        apart = sigma[a] * sigma[b] > 0 and min(abs(sigma[a]), abs(sigma[b])) >= least / 4
        found.append((slice(every.start + a, every.start + b), bool(apart)))
    return found


def widest(geometry: Geometry, columns: slice) -> float:
    """Largest |sin alpha + sin beta| of some columns, the source slit included."""
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    edges = geometry.sine_in + geometry.sine_edges[[columns.start, columns.stop]]
    return float(max(abs(edges[0] + lo), abs(edges[1] + hi), 1e-12))


def pairs_ns(cut: Cut, columns: slice) -> float:
    """The running integral read at every pair of edge and bin (`pairwise`)."""
    return int(columns.stop - columns.start) * cut.bins * READINGS[cut.smoothing] * _READ_NS


def few_ns(geometry: Geometry, cut: Cut, columns: slice) -> float:
    """Even samples of 1/lambda (`convolution.few_wavelengths`)."""
    inverse = 1 / cut.shortest_m - 1 / cut.longest_m
    samples = PER_PERIOD * cut.width_m * widest(geometry, columns) * inverse + TAPS
    reading = samples * READINGS[cut.smoothing] * _READ_NS
    sharing = cut.nodes * (TAPS + 32 * samples / cut.nodes) * _TAP_NS
    each = int(columns.stop - columns.start) * (reading + sharing)
    return each + cut.nodes * _SHARE_NS + cut.bins * _PUT_NS


def convolved_ns(geometry: Geometry, cut: Cut, columns: slice) -> float:
    """A convolution in ln lambda (`convolution.convolved`)."""
    sigma = np.abs(geometry.sine_in + geometry.sine_edges[[columns.start, columns.stop]])
    per_e = PER_PERIOD * cut.width_m * widest(geometry, columns) / cut.shortest_m
    across = per_e * abs(math.log(float(sigma[1] / sigma[0])))
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    covered = (hi - lo) / float(sigma.min()) * per_e
    if covered > _WIDEST_SLIT:
        return math.inf
    kernel = 2e-9 / cut.shortest_m * per_e + 2 * TAPS
    reading = int(columns.stop - columns.start) * (TAPS + covered) * _TAP_NS
    node = (0.5 * across + 6 * kernel) * _POINT_NS + 2 * reading + _NODE_NS
    grid = grid_points(geometry, cut, columns) * _GRID_NS
    return cut.nodes * node + grid + cut.bins * _PUT_NS


def channels_pairs_ns(cut: Cut, columns: slice, channels: int) -> float:
    """Every pair of edge and bin, then channels of the nodes (`wide`)."""
    width = int(columns.stop - columns.start)
    return pairs_ns(cut, columns) + width * cut.nodes * channels * _TAP_NS


def channels_few_ns(geometry: Geometry, cut: Cut, columns: slice, channels: int) -> float:
    """Even samples of 1/lambda, for few channels; their light is made ready before."""
    inverse = 1 / cut.shortest_m - 1 / cut.longest_m
    samples = PER_PERIOD * cut.width_m * widest(geometry, columns) * inverse + TAPS
    each = samples * (READINGS[cut.smoothing] * _READ_NS + channels * _TAP_NS)
    return int(columns.stop - columns.start) * each


def channels_convolved_ns(geometry: Geometry, cut: Cut, columns: slice, channels: int) -> float:
    """A convolution in ln lambda of the whole light, for few channels."""
    points = grid_points(geometry, cut, columns)
    sigma = np.abs(geometry.sine_in + geometry.sine_edges[[columns.start, columns.stop]])
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    covered = (hi - lo) * PER_PERIOD * cut.width_m / cut.shortest_m
    if covered * widest(geometry, columns) / float(sigma.min()) > _WIDEST_SLIT:
        return math.inf
    reading = int(columns.stop - columns.start) * (TAPS + covered) * _TAP_NS
    return points * (_GRID_NS + (channels + 3) * _BACK_NS) + channels * reading


def grid_points(geometry: Geometry, cut: Cut, columns: slice) -> float:
    """Points of the grid of ln u that a convolution over some columns reads."""
    sigma = np.abs(geometry.sine_in + geometry.sine_edges[[columns.start, columns.stop]])
    per_e = PER_PERIOD * cut.width_m * widest(geometry, columns) / cut.shortest_m
    return per_e * math.log(cut.longest_m / cut.shortest_m * float(sigma.max() / sigma.min()))


def least_ns(geometry: Geometry, cut: Cut) -> float:
    """The cheapest way over a whole plate."""
    every = slice(0, geometry.sine_edges.size - 1)
    if cut.smoothing is Smoothing.BIN:
        return pairs_ns(cut, every)
    total = 0.0
    for columns, apart in octaves(geometry, cut, every):
        ways = [pairs_ns(cut, columns), few_ns(geometry, cut, columns)]
        if apart:
            ways.append(convolved_ns(geometry, cut, columns))
        total += min(ways)
    return total
