"""Efficiencies along a range of wavelengths or angles, computed only where they bend.

The range is cut where an order passes off, since the curves have a vertical tangent there. In
each part, with x = a + (b - a) sin^2(pi s / 2), the curve is smooth in s (a square root at either
end becomes a sine), and is interpolated by polynomials through nested Chebyshev points of s: 5,
9, 17, 33, until the values foretold for the next points are right; misses e1, e2 of two
refinements foretell the next as e2^2 / e1. A part that still bends is halved. A resonance thus
draws points to itself, and flat stretches take nine.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wavesim.grooves.efficiency import (
    all_orders,
    amplitudes,
    check_converged,
    difference,
    waves_for,
)
from wavesim.grooves.surface import FINEST, MethodName, Surface
from wavesim.grooves.waves import Amplitudes, Floats, Integers

_FIRST, _MOST = 4, 32  # intervals of Chebyshev points in a part
_NARROWEST = 1e-6  # of the range: parts are not halved further
_PROBES = (0.02, 0.4, 0.8)  # of the range: where truncations are compared
_MOST_POINTS = 4000


_Values = Callable[[Floats, Integers], Floats]  # (places, stretch of each) -> (n, channels)
_Wanted = tuple[float, float, int, int]  # a, b, intervals, stretch


@dataclass(frozen=True, eq=False)
class Path:
    """Wavelength and angle along a curve.

    Attributes
    ----------
    vacuum_m : x -> wavelengths in vacuum [m]
    sine_in : x -> sine of the angle of incidence, in the medium above
    """

    vacuum_m: Callable[[Floats], Floats]
    sine_in: Callable[[Floats], Floats]


@dataclass(frozen=True, eq=False)
class Part:
    """One part [a, b] with values (n + 1, channels) at its Chebyshev points.

    `stretch` numbers the stretch between two breaks that it belongs to.
    """

    a: float
    b: float
    value: Floats
    stretch: int = 0
    foretold: float = 1e-12  # by how much the last refinement was missed; so little: none yet

    @property
    def size(self) -> int:
        return int(self.value.shape[0]) - 1


@dataclass(frozen=True, eq=False)
class EfficiencyCurve:
    """Efficiencies at any place of a range.

    Attributes
    ----------
    order : (orders,) m
    parts : pieces, from the first place on
    computed : how many places were computed
    error : (2,) of E along and across, by a second truncation at some places
    sampling_error : of the interpolation, foretold at the last refinement
    balance : largest defect of the energy balance at the places computed
    functions : number of functions
    """

    order: Integers
    parts: tuple[Part, ...]
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
            total[mine] = _interpolated(part, np.clip(x[mine], part.a, part.b))
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
    orders = all_orders(surface, vacuum, waves_for(surface, vacuum, path.sine_in(breaks)))
    # every stretch has one mesh, whatever is computed in it: its curves are smooth
    shortest = np.array([path.vacuum_m(np.array(ends)).min() for ends in pairwise(breaks)])
    probe = breaks[0] + (breaks[-1] - breaks[0]) * np.array(_PROBES)
    meshed = shortest[np.searchsorted(breaks, probe) - 1]
    level, error, size = _level(surface, path, probe, orders, tolerance, method, meshed)
    worst = [0.0]

    def values(x: Floats, stretch: Integers) -> Floats:
        found, _ = _at(surface, path, x, orders, method, level, shortest[stretch])
        worst[0] = max(worst[0], float(np.abs(found.balance).max()))
        return _channels(found)

    parts, computed, sampling = _sampled(values, breaks, tolerance)
    m = -orders[::-1]
    return EfficiencyCurve(
        m, _turned(parts, orders.size), computed, error, sampling, worst[0], size
    )


def _at(
    surface: Surface,
    path: Path,
    x: Floats,
    orders: Integers,
    method: MethodName,
    level: int,
    meshed_m: Floats | None = None,
) -> tuple[Amplitudes, int]:
    vacuum = path.vacuum_m(x)
    waves = waves_for(surface, vacuum, path.sine_in(x))
    return amplitudes(surface, vacuum, waves, method, level, orders, meshed_m=meshed_m)


def _level(
    surface: Surface,
    path: Path,
    probe: Floats,
    orders: Integers,
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


def _turned(parts: list[Part], orders: int) -> tuple[Part, ...]:
    """Channels by m instead of n = -m."""
    column = np.arange(4 * orders).reshape(4, orders)[:, ::-1].ravel()
    column = np.concatenate([column, 4 * orders + np.arange(2)])
    return tuple(replace(p, value=p.value[:, column]) for p in parts)


def _sampled(values: _Values, breaks: Floats, tolerance: float) -> tuple[list[Part], int, float]:
    """Parts that are interpolated to the tolerance; number of places; error foretold."""
    narrowest = _NARROWEST * (breaks[-1] - breaks[0])
    open_parts = _fill(
        values, [(float(a), float(b), _FIRST, k) for k, (a, b) in enumerate(pairwise(breaks))]
    )
    computed, sampling, done = sum(p.size + 1 for p in open_parts), 0.0, list[Part]()
    while open_parts:
        refined = _refined(values, open_parts)
        computed += sum(part.size for part in open_parts)
        again: list[Part] = []
        halves: list[_Wanted] = []
        for coarse, fine in zip(open_parts, refined, strict=True):
            missed = _missed(coarse, fine)
            # misses fall geometrically: the finer points miss by the square over the last
            error = missed * min(1.0, missed / coarse.foretold)
            fine = replace(fine, foretold=max(missed, 1e-12))
            if error <= tolerance or fine.b - fine.a < narrowest or computed > _MOST_POINTS:
                sampling = max(sampling, error)
                done.append(fine)
            elif fine.size < _MOST:
                again.append(fine)
            else:
                middle = (fine.a + fine.b) / 2
                halves += [
                    (fine.a, middle, _FIRST, fine.stretch), (middle, fine.b, _FIRST, fine.stretch)
                ]  # fmt: skip
        open_parts = again + _fill(values, halves)
        computed += (_FIRST + 1) * len(halves)
    return sorted(done, key=lambda part: part.a), computed, sampling


def _points(a: float, b: float, size: int) -> Floats:
    s = (1 - np.cos(np.pi * np.arange(size + 1) / size)) / 2
    return np.asarray(a + (b - a) * np.sin(np.pi * s / 2) ** 2)


def _fill(values: _Values, wanted: list[_Wanted]) -> list[Part]:
    if not wanted:
        return []
    places = [_points(a, b, size) for a, b, size, _ in wanted]
    found = _at_all(values, places, [stretch for _, _, _, stretch in wanted])
    return [
        Part(a, b, value, stretch) for (a, b, _, stretch), value in zip(wanted, found, strict=True)
    ]


def _at_all(values: _Values, places: list[Floats], stretch: list[int]) -> list[Floats]:
    """Values of some stretches, each at its own places, asked for in one go."""
    size = [p.size for p in places]
    found = values(np.concatenate(places), np.repeat(np.array(stretch, dtype=np.intp), size))
    return np.split(found, np.cumsum(size)[:-1])


def _refined(values: _Values, parts: list[Part]) -> list[Part]:
    """The same parts with twice as many intervals; only the new places are computed."""
    places = [_points(p.a, p.b, 2 * p.size)[1::2] for p in parts]
    found = _at_all(values, places, [p.stretch for p in parts])
    finer = []
    for part, new in zip(parts, found, strict=True):
        value = np.empty((2 * part.size + 1, part.value.shape[1]))
        value[::2], value[1::2] = part.value, new
        finer.append(Part(part.a, part.b, value, part.stretch))
    return finer


def _missed(coarse: Part, fine: Part) -> float:
    """Largest difference between the new values and those that the old ones foretold."""
    places = _points(fine.a, fine.b, fine.size)[1::2]
    return float(np.abs(_interpolated(coarse, places) - fine.value[1::2]).max())


def _interpolated(part: Part, x: Floats) -> Floats:
    """Barycentric interpolation in s (Berrut & Trefethen 2004)."""
    n = part.size
    s = (1 - np.cos(np.pi * np.arange(n + 1) / n)) / 2
    inside = np.sqrt(np.clip((x - part.a) / (part.b - part.a), 0.0, 1.0))
    here = 2 / np.pi * np.arcsin(inside)
    weight = (-1.0) ** np.arange(n + 1)
    weight[[0, -1]] /= 2
    apart = here[:, None] - s
    hit: NDArray[np.bool_] = np.zeros(apart.shape, dtype=np.bool_)
    hit[np.abs(apart) < 1e-14] = True
    ratio = weight / np.where(hit, 1.0, apart)
    ratio = np.where(np.any(hit, axis=1, keepdims=True), hit.astype(float), ratio)
    return np.asarray(ratio @ part.value / ratio.sum(axis=1)[:, None])
