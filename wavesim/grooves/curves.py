"""Efficiencies along a range of wavelengths or angles, computed only where they bend."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wavesim.arrays import Floats, Indices
from wavesim.grooves.anomalies import predicted_anomalies
from wavesim.grooves.efficiency import (
    all_orders,
    amplitudes,
    check_converged,
    waves_for,
)
from wavesim.grooves.sampling import Sampled, SampledPart, read, sampled
from wavesim.grooves.surface import FINEST, MethodName, Surface
from wavesim.grooves.waves import Amplitudes, IncidentWaves

_PROBES = np.array([0.4, 0.8])  # of the range: where else truncations are compared
_MOST_PROBES = 6


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
    """Efficiencies at any position of a range.

    Attributes
    ----------
    order : (orders,) m
    parts : pieces, from the first position on
    computed : how many positions were computed
    error : (2,) of E along and across, by a second truncation at some positions
    sampling_error : of the interpolation: no value is farther off (see `sampling`)
    balance : largest defect of the energy balance at the positions computed
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
        """Reflected and transmitted (2, n, orders) and absorbed (2, n) at positions x."""
        x = np.atleast_1d(np.asarray(x, dtype=np.float64))
        total = read(self.parts, x)
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
    path : wavelength and angle by position
    breaks : (k,) ascending; ends of the range, and positions within where an order passes off

    Raises
    ------
    LimitError, ComputationError
        As `efficiencies`.
    """
    state = _Curve(surface, path, breaks, method)
    best: _Level | None = None
    for level in range(FINEST):
        found = state.level(level, tolerance)
        if best is None or found.error.max() < best.error.max():
            best = found
        if found.error.max() <= tolerance or found.error.max() > 30 * best.error.max():
            break
    assert best is not None
    check_converged(best.error[:, None], path.vacuum_m(breaks[:1]))
    return EfficiencyCurve(
        order=-state.orders[::-1],
        parts=_turned(best.sampled.parts, state.orders.size),
        computed=best.sampled.computed,
        error=np.maximum(best.error, best.balance),
        sampling_error=best.sampled.error,
        balance=best.balance,
        functions=best.functions,
    )


@dataclass(frozen=True, eq=False)
class _Level:
    """Curves by one truncation, their error (2,) against the next, their energy balance."""

    sampled: Sampled
    error: Floats
    balance: float
    functions: int


class _Curve:
    """What a curve is of. Every stretch between two breaks has one mesh, that of its shortest
    wavelength, whatever is computed in it: its curves are smooth."""

    def __init__(self, surface: Surface, path: Path, breaks: Floats, method: MethodName) -> None:
        self.surface, self.path, self.breaks, self.method = surface, path, breaks, method
        vacuum = path.vacuum_m(breaks)
        self.orders = all_orders(surface, vacuum, self._waves(breaks))
        self.meshed_m = np.minimum(vacuum[:-1], vacuum[1:])
        self.watched = _resonances(surface, path, breaks)

    def _waves(self, x: Floats) -> IncidentWaves:
        path = self.path
        return waves_for(self.surface, path.vacuum_m(x), path.sine_in(x), path.sine_along)

    def at(self, x: Floats, span: Indices, level: int) -> tuple[Amplitudes, int]:
        """Amplitudes at positions of some stretches, and the number of functions."""
        return amplitudes(
            self.surface, self.path.vacuum_m(x), self._waves(x), self.method, level, self.orders,
            meshed_m=self.meshed_m[span],
        )  # fmt: skip

    def level(self, level: int, tolerance: float) -> _Level:
        """The curves at one level, compared with the next finer where they are worst."""
        balance, functions = 0.0, 0

        def values(x: Floats, span: Indices) -> Floats:
            nonlocal balance, functions
            found, size = self.at(x, span, level)
            balance = max(balance, float(np.abs(found.balance).max()))
            functions = max(functions, size)
            return _channels(found)

        found = sampled(values, self.breaks, tolerance, self.watched)
        position, span, value = self._probes(found)
        apart = np.abs(_channels(self.at(position, span, level + 1)[0]) - value)
        error = apart.max(axis=0)[:-2].reshape(2, 2, -1).max(axis=(0, 2))
        return _Level(found, np.maximum(error, apart.max(axis=0)[-2:]), balance, functions)

    def _probes(self, found: Sampled) -> tuple[Floats, Indices, Floats]:
        """Points of a curve where truncation tells most: the shortest wave, where orders pass off
        and near resonances; position, stretch and values (n, channels) of each."""
        position = np.concatenate([part.x_of(part.s) for part in found.parts])
        span = np.concatenate([np.full(part.size, part.span) for part in found.parts])
        value = np.concatenate([part.value for part in found.parts])
        shortest = self.breaks[[np.argmin(self.path.vacuum_m(self.breaks))]]
        wanted = np.concatenate([shortest, self.breaks[1:-1], self.watched])
        if wanted.size < 3:
            wanted = np.append(shortest, self.breaks[0] + _PROBES * np.ptp(self.breaks))
        nearest = np.abs(position - wanted[:_MOST_PROBES, None]).argmin(axis=1)
        chosen = np.unique(nearest)
        return position[chosen], span[chosen], value[chosen]


def _resonances(surface: Surface, path: Path, breaks: Floats) -> Floats:
    """Positions where a surface plasmon is to be expected: easily missed between two points."""
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

    found = predicted_anomalies(
        "surface plasmon", float(breaks[0]), float(breaks[-1]), grating, index
    )
    return np.unique([anomaly.position for anomaly in found])


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
