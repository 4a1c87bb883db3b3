"""Which order each line belongs to, and where another order cannot be excluded.

A position fixes only the product m lambda. Every order that puts the line into the source's
range is possible; evidence decides between them: the same wavelength found in another order on
the same plate, then a line of the list at that wavelength. Without evidence the lowest order is
taken and the others are named.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from wavesim.arrays import Floats
from wavesim.measuring.budget import budget
from wavesim.measuring.instrument import Instrument
from wavesim.measuring.lists import Entry, nearest
from wavesim.measuring.peaks import Feature

VISIBLE_M = (360e-9, 830e-9)
_PARTNER = 2.0  # points for the same wavelength in another order
_ALIKE = 300.0  # factor by which a line's heights in two orders may differ
_TREND = 4  # names that tell how a bench known roughly moves lines
_LOST = 0.06  # of the width: of a line placed no better a quarter of the width is looked at
_OFF = 0.1  # of the width: what a name may be off beside its uncertainty
_LISTED = 1.5  # points for a line of the list


@dataclass(frozen=True)
class Assignment:
    """A line's order.

    Attributes
    ----------
    order : m
    entry : the list's line, or None
    confirmed : the same wavelength was found in another order
    others : orders that cannot be excluded
    """

    order: int
    entry: Entry | None
    confirmed: bool
    others: tuple[int, ...]


def assign(
    features: tuple[Feature, ...],
    instrument: Instrument,
    entries: tuple[Entry, ...],
    *,
    range_m: tuple[float, float] = VISIBLE_M,
    order: int | None = None,
    apart: tuple[bool, ...] = (),
) -> tuple[Assignment | None, ...]:
    """An order for each line; None where no order puts it into the range.

    Parameters
    ----------
    entries : line list, empty where none is known
    range_m : shortest and longest wavelength [m] that the source sends
    order : taken for all lines, where it is known
    apart : (n,) lines that are no evidence for others (subsidiary maxima), or empty
    """
    pool = tuple(f for k, f in enumerate(features) if not (apart and apart[k]))
    found = [
        _one_line(f, pool, instrument, entries, _possible(instrument, f, range_m, order))
        for f in features
    ]
    return _each_once(features, found, instrument)


def only_fitting(
    features: tuple[Feature, ...],
    found: tuple[Assignment | None, ...],
    instrument: Instrument,
) -> tuple[Assignment | None, ...]:
    """Bright lines without the names that do not go with the others' or with their uncertainty.

    A bench known roughly moves all lines together: by a constant, and with four names or more by a
    straight line along the plate (medians: Theil 1950, Sen 1968). What is left must be within four
    standard uncertainties and a tenth of the width.
    """
    named = [k for k, a in enumerate(found) if a is not None and a.entry is not None]
    x, off, limit = (
        np.array([_offset(features[k], found[k], instrument) for k in named]).reshape(-1, 3).T
    )
    if len(named) >= _TREND:
        i, j = np.triu_indices(len(named), 1)
        slope = float(np.median((off[j] - off[i]) / np.where(x[j] == x[i], np.inf, x[j] - x[i])))
        off = off - slope * x
        off = off - np.median(off)
    wrong = {k for k, o, most in zip(named, off, limit, strict=True) if abs(o) > most}
    return tuple(
        replace(a, entry=None) if a is not None and k in wrong else a for k, a in enumerate(found)
    )


def _offset(
    feature: Feature, assignment: Assignment | None, instrument: Instrument
) -> tuple[float, float, float]:
    """x, how far [m] a line stands from where its name would be, and how far it may."""
    m, entry = (0, None) if assignment is None else (assignment.order, assignment.entry)
    if entry is None:
        return feature.x_m, 0.0, 0.0
    per_m = max(abs(instrument.dispersion(feature.x_m, m)), 1e-30)
    off = (float(instrument.wavelength(feature.x_m, m)) - entry.wavelength_m) / per_m
    whole = budget(instrument, feature, m, 0.0)
    bench = math.hypot(whole.pitch_m, whole.angles_m, whole.air_m, entry.spread_m) / per_m
    position = min(feature.x_error_m, _LOST * feature.width_m)
    return feature.x_m, off, 4 * math.hypot(bench, position) + _OFF * feature.width_m


def _each_once(
    features: tuple[Feature, ...], found: list[Assignment | None], instrument: Instrument
) -> tuple[Assignment | None, ...]:
    """Of lines in one order that got the same name, the nearest keeps it."""
    best: dict[tuple[int, str], tuple[float, int]] = {}
    for k, (feature, a) in enumerate(zip(features, found, strict=True)):
        if a is None or a.entry is None:
            continue
        apart = abs(float(instrument.wavelength(feature.x_m, a.order)) - a.entry.wavelength_m)
        key = (a.order, a.entry.name)
        if key not in best or apart < best[key][0]:
            best[key] = (apart, k)
    best_features = {k for _, k in best.values()}
    return tuple(
        a if a is None or k in best_features else replace(a, entry=None)
        for k, a in enumerate(found)
    )


def possible_orders(
    instrument: Instrument, x_m: float, range_m: tuple[float, float] = VISIBLE_M
) -> tuple[int, ...]:
    """Orders that put a line at x into the range, the lowest first."""
    product = instrument.pitch_m * float(instrument.sine(x_m))
    low, high = sorted((product / range_m[1], product / range_m[0]))
    orders = range(int(np.ceil(low)), int(np.floor(high)) + 1)
    return tuple(sorted((m for m in orders if m), key=abs))


def _possible(
    instrument: Instrument, feature: Feature, range_m: tuple[float, float], order: int | None
) -> tuple[int, ...]:
    if order is None:
        return possible_orders(instrument, feature.x_m, range_m)
    return (order,)


def _one_line(
    feature: Feature,
    pool: tuple[Feature, ...],
    instrument: Instrument,
    entries: tuple[Entry, ...],
    orders: tuple[int, ...],
) -> Assignment | None:
    if not orders:
        return None
    scored = []
    enough = [f for f in pool if 1 / _ALIKE < f.height / max(feature.height, 1e-300) < _ALIKE]
    x_m = np.array([f.x_m for f in enough])
    for m in orders:
        wavelength = float(instrument.wavelength(feature.x_m, m))
        per_m = abs(instrument.dispersion(feature.x_m, m))
        error, width = per_m * feature.x_error_m, per_m * feature.width_m
        entry = nearest(entries, wavelength, error, width) if entries else None
        partner = _partner(wavelength, m, x_m, instrument, 3 * error + 0.25 * width)
        score = _PARTNER * partner + _LISTED * (entry is not None) - 0.01 * abs(m)
        scored.append((score, m, entry, partner))
    best = max(scored, key=lambda s: s[0])
    rivals = tuple(m for score, m, _, _ in scored if m != best[1] and score > best[0] - 1.0)
    return Assignment(best[1], best[2], best[3], rivals)


def _partner(
    wavelength_m: float, order: int, x_m: Floats, instrument: Instrument, reach_m: float
) -> bool:
    """Whether another order shows a line at the same wavelength."""
    for other in (order - 2, order - 1, order + 1, order + 2):
        if other == 0:
            continue
        expected_m = float(instrument.position_m(wavelength_m, other))
        if not np.isfinite(expected_m) or x_m.size == 0:
            continue
        k = int(np.argmin(np.abs(x_m - expected_m)))
        if abs(float(instrument.wavelength(x_m[k], other)) - wavelength_m) <= reach_m:
            return True
    return False
