"""Telling ghosts from lines by their positions alone.

A periodic ruling error of period P rulings sets ghosts at the orders m + k/P about every line
(Rowland). Counted as f = |m| (s / s_line - 1), with s = sin alpha + sin beta, the ghosts of ALL
lines stand at the same f, to both sides, in every order; a true line keeps its wavelength ratio
instead, so its f doubles from the first order to the second. Intensities follow

    I(m + f) / I(m) = [J_p(2 pi (m + f) A1/d) J_q(2 pi (m + f) A2/d)]^2 / [J_0 J_0 at m]^2

for f = p/P1 + q/P2, counted away from the zero order: they grow with the square of the order
(Rowland 1893, and Runge for two periods, both from memory; a phase modulation's sidebands).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Flags, Floats
from wavesim.measuring.diagnosis.fit import amplitude_of
from wavesim.measuring.diagnosis.table import GhostTable
from wavesim.measuring.instrument import Instrument
from wavesim.measuring.peaks import Feature
from wavesim.study.formulas import ghost_over_line

_FARTHEST = 0.5  # |f| of a ghost; the next order's begin there
_PARENTS = 8  # strongest lines that are asked for satellites
_FAINT = 0.4  # of its line: a ghost is fainter than that
_SIDES = 2.5  # factor by which the two ghosts of a pair may differ beyond theory (blends)
_SHARE = 0.6  # of the lines that could show a pair must show it
_CHANCE = 0.03  # expected number of chance pairs up to which a lone pair is believed
_MOST_PERIODS = 4
_HARMONICS = 4
_EXPLAINED = 0.4  # of a line's height that ghosts must give for it to be one
_OVERSHOOT = 3.0  # factor by which ghosts may be predicted too strong


@dataclass(frozen=True)
class Period:
    """A periodic error as its ghosts show it.

    Attributes
    ----------
    rulings : period P in rulings
    amplitude_m : [m] peak displacement A
    ratio : first ghost over line in the order `order`
    order : lowest order that showed it
    lines : how many lines showed the pair
    orders : in how many orders
    """

    rulings: float
    amplitude_m: float
    ratio: float
    order: int
    lines: int
    orders: int


@dataclass(frozen=True)
class Classification:
    """What a feature is.

    Attributes
    ----------
    kind : "line" or "ghost"
    parent : index of the line that the ghost belongs to, or -1
    fraction : f of the ghost, k/P of its line's order
    explained : fraction of the height that ghosts explain
    """

    kind: str
    parent: int = -1
    fraction: float = 0.0
    explained: float = 0.0


@dataclass(frozen=True, eq=False)
class _Plate:
    """Features as sines; parents with their orders. What is clipped has no height: no ghost."""

    sine: Floats
    error: Floats
    height: Floats
    clipped: Flags
    order: tuple[int, ...]
    pitch_m: float
    least: float


@dataclass(frozen=True)
class _Pair:
    f: float
    error: float
    ratio: float
    parent: int
    order: int


def classify(
    features: tuple[Feature, ...], orders: tuple[int, ...], instrument: Instrument
) -> tuple[tuple[Classification, ...], tuple[Period, ...]]:
    """Each feature a line or a ghost, and the periodic errors that the ghosts reveal.

    Parameters
    ----------
    features : bright lines
    orders : (n,) order of each, 0 where none; 0 takes no part as a parent

    Notes
    -----
    A period is believed when most lines strong enough to show its pair of ghosts do, at the same
    |f| within the errors and with the two sides' intensities as theory has them; a plate with a
    single line in a single order can therefore only raise a suspicion. Fails where ghosts are
    not resolved from their line (f below twice a line's width), and for |f| above 1/2.
    """
    if len(features) < 3:
        return tuple(Classification("line") for _ in features), ()
    plate = _plate(features, orders, instrument)
    periods = _periods(plate)
    return _classified(plate, periods), tuple(periods)


def _plate(
    features: tuple[Feature, ...], orders: tuple[int, ...], instrument: Instrument
) -> _Plate:
    x = np.array([f.x_m for f in features])
    sine = instrument.sine(x)
    step = 1e-6 * instrument.focal_m
    per_m = np.abs(instrument.sine(x + step) - instrument.sine(x - step)) / (2 * step)
    error = per_m * np.array([max(3 * f.x_error_m, 0.12 * f.width_m) for f in features])
    height = np.array([max(f.height, 1e-300) for f in features])
    clipped = np.array([f.saturated for f in features])
    return _Plate(sine, error, height, clipped, orders, instrument.pitch_m, float(height.min()))


def _fraction(plate: _Plate, parent: int) -> tuple[Floats, Floats]:
    """f of all features against a parent, and its tolerance."""
    m, s = abs(plate.order[parent]), plate.sine[parent]
    f = m * (plate.sine / s - 1)
    return f, np.abs(m / s) * np.hypot(plate.error, plate.error[parent])


def _periods(plate: _Plate) -> list[Period]:
    parents = _strongest(plate)
    pairs = [pair for p in parents for pair in _pairs(plate, p)]
    pairs.sort(key=lambda pair: -pair.ratio / pair.order**2)
    found: list[Period] = []
    used: list[float] = []
    for pair in pairs:
        if len(found) == _MOST_PERIODS:
            break
        if any(abs(pair.f - f) <= 2 * pair.error for f in used) or _combination(
            pair, found, plate.pitch_m
        ):
            continue
        period = _believed(pair, pairs, plate, parents)
        if period is not None:
            found.append(period)
            used.append(pair.f)
    return found


def _strongest(plate: _Plate) -> list[int]:
    by_height = np.argsort(-plate.height)
    per_order: dict[int, int] = {}
    out = []
    for k in by_height:
        m = plate.order[int(k)]
        if m and per_order.get(m, 0) < _PARENTS:
            per_order[m] = per_order.get(m, 0) + 1
            out.append(int(k))
    return out


def _pairs(plate: _Plate, parent: int) -> list[_Pair]:
    """Features that stand symmetrically about a parent with fitting intensities."""
    m = abs(plate.order[parent])
    f, tolerance = _fraction(plate, parent)
    faint = (plate.height < _FAINT * plate.height[parent]) & (np.abs(f) < _FARTHEST)
    faint &= ~plate.clipped
    right = np.flatnonzero(faint & (f > 2 * tolerance))
    left = np.flatnonzero(faint & (f < -2 * tolerance))
    out = []
    for i in right:
        for j in left[np.abs(f[left] + f[i]) <= tolerance[left] + tolerance[i]]:
            theory = ((m + f[i]) / max(m + f[j], 0.05)) ** 2
            sides = plate.height[i] / plate.height[j] / theory
            if 1 / _SIDES < sides < _SIDES:
                ratio = math.sqrt(plate.height[i] * plate.height[j]) / plate.height[parent]
                both = float(f[i] - f[j]) / 2
                error = float(tolerance[i] + tolerance[j]) / 2
                out.append(_Pair(abs(both), error, ratio, parent, m))
    return out


def _combination(pair: _Pair, periods: list[Period], pitch_m: float) -> bool:
    """Whether a pair is a harmonic or sum of periods already believed, no stronger than those."""
    return any(
        abs(abs(f) - pair.f) <= 2 * pair.error and pair.ratio <= _OVERSHOOT * ratio
        for f, ratio in _tones(periods, pair.order, pitch_m)
    )


def _believed(pair: _Pair, pairs: list[_Pair], plate: _Plate, parents: list[int]) -> Period | None:
    same = [q for q in pairs if abs(q.f - pair.f) <= q.error + pair.error]
    strength = float(np.median([q.ratio / q.order**2 for q in same]))
    alike = [q for q in same if 1 / _SIDES < q.ratio / q.order**2 / strength < _SIDES]
    showing = {q.parent for q in alike}
    able = _able(pair.f, strength, plate, parents)
    if not showing or len(showing) < _SHARE * len(able | showing):
        return None
    orders = {abs(plate.order[p]) for p in showing}
    if len(showing) == 1 and not _clean(alike[0], plate):
        return None
    low = min(orders)
    ratio = strength * low**2
    f = float(np.average([q.f for q in alike], weights=[1 / q.error**2 for q in alike]))
    amplitude = amplitude_of(_first_ghosts(low, f, ratio), 1)[0]
    return Period(1 / f, amplitude * plate.pitch_m, ratio, low, len(showing), len(orders))


def _first_ghosts(order: int, f: float, ratio: float) -> GhostTable:
    """A pair of ghosts as the diagnosis takes them."""
    both = np.ones(2)
    return GhostTable(order * both, f * np.array([1.0, -1.0]), 1e-3 * f * both, ratio * both,
                      0.03 * ratio * both)  # fmt: skip


def _able(f: float, strength: float, plate: _Plate, parents: list[int]) -> set[int]:
    """Parents strong enough, and far enough from the plate's ends, to show a pair."""
    out = set()
    lo, hi = float(plate.sine.min()), float(plate.sine.max())
    for p in parents:
        m, s = abs(plate.order[p]), float(plate.sine[p])
        inside = lo <= s * (1 - f / m) <= hi and lo <= s * (1 + f / m) <= hi
        if inside and plate.height[p] * strength * m**2 > 3 * plate.least:
            out.add(p)
    return out


def _clean(pair: _Pair, plate: _Plate) -> bool:
    """A lone pair counts only where chance would hardly make one.

    n lines to the left and m to the right of a line, placed at random within half an order, make
    4 n m x tolerance pairs by chance, a third of them with fitting intensities.
    """
    f, _ = _fraction(plate, pair.parent)
    fainter = plate.height < plate.height[pair.parent]
    left = np.count_nonzero(fainter & (f < 0) & (f > -_FARTHEST))
    right = np.count_nonzero(fainter & (f > 0) & (f < _FARTHEST))
    by_chance = left * right * 4 * pair.error / 3
    return pair.ratio < 0.1 and bool(by_chance < _CHANCE)


def _tones(periods: list[Period], order: int, pitch_m: float) -> list[tuple[float, float]]:
    """f and intensity ratio of all ghosts of the periods about a line of an order (> 0)."""
    if not periods:
        return []
    steps = [range(-_HARMONICS, _HARMONICS + 1)] * len(periods)
    size = [p.amplitude_m / pitch_m for p in periods]
    out = []
    for k in itertools.product(*steps):
        if not any(k) or sum(map(abs, k)) > _HARMONICS:
            continue
        f = sum(n / p.rulings for n, p in zip(k, periods, strict=True))
        each = (ghost_over_line(order, f, n, a) for n, a in zip(k, size, strict=True))
        out.append((f, math.prod(float(ratio) for ratio in each)))
    return [tone for tone in out if abs(tone[0]) < 0.9 * order]


def _classified(plate: _Plate, periods: list[Period]) -> tuple[Classification, ...]:
    """From the tallest to the faintest: a ghost is what taller lines' ghosts explain."""
    classified = [Classification("line") for _ in plate.order]
    if not periods:
        return tuple(classified)
    expected = np.zeros(plate.sine.size)
    best = np.zeros(plate.sine.size)
    source = np.full(plate.sine.size, -1)
    offset = np.zeros(plate.sine.size)
    tones = {m: _tones(periods, m, plate.pitch_m) for m in {abs(m) for m in plate.order} if m}
    for k in np.argsort(-plate.height):
        explained = float(expected[k] / plate.height[k])
        if explained >= _EXPLAINED and not plate.clipped[k]:
            classified[k] = Classification("ghost", int(source[k]), float(offset[k]), explained)
            continue
        classified[k] = Classification("line", explained=explained)
        if not plate.order[k]:
            continue
        f, tolerance = _fraction(plate, int(k))
        for tone, ratio in tones[abs(plate.order[k])]:
            near = np.abs(f - tone) <= 1.5 * tolerance
            light = np.where(near, ratio * plate.height[k], 0.0)
            expected += light
            better = light > best
            best, source, offset = (
                np.where(better, new, old)
                for new, old in ((light, best), (k, source), (tone, offset))
            )
    return tuple(classified)
