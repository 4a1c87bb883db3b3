"""Efficiencies along a range of wavelengths or angles, computed only where they bend."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from wavesim.arrays import Floats, Indices
from wavesim.grooves.anomalies import places
from wavesim.grooves.efficiency import (
    all_orders,
    amplitudes,
    check_converged,
    difference,
    waves_for,
)
from wavesim.grooves.sampling import SampledPart, interpolated, sampled
from wavesim.grooves.surface import FINEST, MethodName, Surface
from wavesim.grooves.waves import Amplitudes

_PROBES = (0.02, 0.4, 0.8)  # of the range: where truncations are compared


@dataclass(frozen=True, eq=False)
class Path:
    """Wavelength and angle along a curve.

    Attributes
    ----------
    vacuum_m : x -> wavelengths in vacuum [m]
    sine_in : x -> sine of the angle of incidence across the grooves, in the medium above
    sine_along : the same along the grooves; 0 in classical mounting
    """

    vacuum_m: Callable[[Floats], Floats]
    sine_in: Callable[[Floats], Floats]
    sine_along: float = 0.0


@dataclass(frozen=True, eq=False)
class EfficiencyCurve:
    """Efficiencies at any place of a range.

    Attributes
    ----------
    order : (orders,) m
    parts : pieces, from the first place on
    computed : how many places were computed
    error : (2,) of E along and across, by a second truncation at some places
    sampling_error : of the interpolation: no value is farther off (see `sampling`)
    balance : largest defect of the energy balance at the places computed
    functions : number of functions
    """

    order: Indices
    parts: tuple[SampledPart, ...]
    computed: int
    error: Floats
    sampling_error: float
    balance: float
    functions: int

    def at(self, x: Floats) -> tuple[Floats, Floats, Floats]:
        """Reflected and transmitted (2, n, orders) and absorbed (2, n) at places x."""
        x = np.atleast_1d(np.asarray(x, dtype=np.float64))
        total = np.empty((x.size, self.parts[0].value.shape[1]))
        edges = np.array([part.a for part in self.parts])
        which = np.clip(np.searchsorted(edges, x, side="right") - 1, 0, edges.size - 1)
        for k in np.unique(which):
            part, mine = self.parts[k], which == k
            total[mine] = interpolated(part, np.clip(x[mine], part.a, part.b))
        total = np.clip(total, 0.0, None)
        split = 2 * self.order.size
        shape = (x.size, 2, self.order.size)
        up = np.moveaxis(total[:, :split].reshape(shape), 1, 0)
        down = np.moveaxis(total[:, split : 2 * split].reshape(shape), 1, 0)
        return up, down, total[:, 2 * split :].T


def curve(
    surface: Surface,
    path: Path,
    breaks: Floats,
    *,
    tolerance: float = 1e-3,
    method: MethodName = "auto",
) -> EfficiencyCurve:
    """Efficiencies between the first and the last of `breaks`, to `tolerance`.

    Parameters
    ----------
    path : wavelength and angle by place
    breaks : (k,) ascending; ends of the range, and places within where an order passes off

    Raises
    ------
    LimitError, ComputationError
        As `efficiencies`.
    """
    vacuum = path.vacuum_m(breaks)
    orders = all_orders(
        surface, vacuum, waves_for(surface, vacuum, path.sine_in(breaks), path.sine_along)
    )
    # every stretch has one mesh, whatever is computed in it: its curves are smooth
    shortest = np.array([path.vacuum_m(np.array(ends)).min() for ends in pairwise(breaks)])
    probe = breaks[0] + (breaks[-1] - breaks[0]) * np.array(_PROBES)
    meshed = shortest[np.searchsorted(breaks, probe) - 1]
    level, error, size = _level(surface, path, probe, orders, tolerance, method, meshed)
    worst = [0.0]

    def values(x: Floats, stretch: Indices) -> Floats:
        found, _ = _at(surface, path, x, orders, method, level, shortest[stretch])
        worst[0] = max(worst[0], float(np.abs(found.balance).max()))
        return _channels(found)

    found = sampled(values, breaks, tolerance, _resonances(surface, path, breaks))
    parts = _turned(found.parts, orders.size)
    return EfficiencyCurve(-orders[::-1], parts, found.computed, error, found.error, worst[0], size)


def _resonances(surface: Surface, path: Path, breaks: Floats) -> Floats:
    """Places where a surface plasmon is to be expected: easily missed between two points."""
    metal = surface.below
    if metal is None or not metal.metallic:
        return np.empty(0)

    def grating(x: Floats) -> tuple[Floats, Floats]:
        vacuum = path.vacuum_m(x)
        inside = np.sqrt(surface.eps(surface.above, vacuum).real)
        return vacuum / surface.pitch_m, path.sine_in(x) * inside

    def index(x: Floats) -> Floats:
        vacuum = path.vacuum_m(x)
        below, above = surface.eps(metal, vacuum), surface.eps(surface.above, vacuum).real
        bound = below.real < -above
        along = path.sine_along**2 * above
        root = np.sqrt(below * above / (below + above) - along).real
        return np.where(bound, root, np.nan)

    found = places("surface plasmon", float(breaks[0]), float(breaks[-1]), grating, index)
    return np.unique([one.place for one in found])


def _at(
    surface: Surface,
    path: Path,
    x: Floats,
    orders: Indices,
    method: MethodName,
    level: int,
    meshed_m: Floats | None = None,
) -> tuple[Amplitudes, int]:
    vacuum = path.vacuum_m(x)
    waves = waves_for(surface, vacuum, path.sine_in(x), path.sine_along)
    return amplitudes(surface, vacuum, waves, method, level, orders, meshed_m=meshed_m)


def _level(
    surface: Surface,
    path: Path,
    probe: Floats,
    orders: Indices,
    tolerance: float,
    method: MethodName,
    meshed_m: Floats,
) -> tuple[int, Floats, int]:
    """The coarsest level that the next finer one confirms, its error (2,) and functions."""
    coarse, size = _at(surface, path, probe, orders, method, 0, meshed_m)
    best: tuple[int, Floats, int] | None = None
    for level in range(1, FINEST + 1):
        fine, finer = _at(surface, path, probe, orders, method, level, meshed_m)
        apart = difference(fine, coarse)
        if best is None or apart.max() < best[1].max():
            best = level - 1, apart.max(axis=1), size
        if apart.max() <= tolerance or apart.max() > 30 * best[1].max():
            break
        coarse, size = fine, finer
    assert best is not None
    check_converged(best[1][:, None], path.vacuum_m(probe)[:1])
    return best


def _channels(found: Amplitudes) -> Floats:
    """(b, channels): reflected, transmitted [2 x orders each], absorbed [2]."""
    rows = found.absorbed.shape[1]
    up = np.moveaxis(found.reflected_power, 0, 1).reshape(rows, -1)
    down = np.moveaxis(found.transmitted_power, 0, 1).reshape(rows, -1)
    return np.concatenate([up, down, found.absorbed.T], axis=1)


def _turned(parts: tuple[SampledPart, ...], orders: int) -> tuple[SampledPart, ...]:
    """Channels by m instead of n = -m."""
    column = np.arange(4 * orders).reshape(4, orders)[:, ::-1].ravel()
    column = np.concatenate([column, 4 * orders + np.arange(2)])
    return tuple(replace(p, value=p.value[:, column]) for p in parts)
