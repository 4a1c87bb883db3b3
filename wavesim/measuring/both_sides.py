"""Subsidiary maxima: what the sharp ends of a ruling set beside every line.

N rulings leave maxima of height 1 / (pi N dmu)^2 at N dmu = 1.43, 2.46, 3.47 ... beside a line, dmu
in orders (Born & Wolf 8.6.1). Where N is not known, the line's own width w stands for it:
N dmu = 0.886 dx / w.
"""

from __future__ import annotations

import math

from wavesim.measuring.instrument import Instrument
from wavesim.measuring.peaks import Feature

_MARGIN = 3.0  # factor over the envelopes' sum up to which a maximum is subsidiary
_REACH = 40.0  # steps of 1/N from a line within which they are looked for
_SPACING = (0.65, 1.35)  # steps between one and the next, blends allowed for
_NARROW = 1.3  # of the line's width: subsidiary maxima are no wider


def subsidiary(
    features: tuple[Feature, ...], instrument: Instrument, orders: tuple[int, ...]
) -> list[bool]:
    """Which features are subsidiary maxima of taller lines.

    One is, if it is no higher than three times the envelopes of all taller lines together, and if
    the next one stands a step of 1/N from it. A faint true line within some tens of steps of a
    strong one can hide among them.
    """
    out = [False] * len(features)
    by_height = sorted(range(len(features)), key=lambda k: -features[k].height)
    for rank, j in enumerate(by_height):
        taller = [k for k in by_height[:rank] if not out[k]]
        steps = [(_steps(features, orders, instrument, k, j), k) for k in taller]
        near = [(s, k) for s, k in steps if 1.2 <= s <= _REACH]
        narrow = [k for _, k in near if features[j].width_m < _NARROW * features[k].width_m]
        envelope = sum(features[k].height / (math.pi * s) ** 2 for s, k in near)
        if narrow and features[j].height < _MARGIN * envelope:
            out[j] = _in_step(features, orders, instrument, j)
    return out


def _steps(
    features: tuple[Feature, ...], orders: tuple[int, ...], instrument: Instrument, k: int, j: int
) -> float:
    """Distance of feature j from line k in steps of 1/N."""
    if not (instrument.rulings and orders[k]):
        return 0.886 * abs(features[j].x_m - features[k].x_m) / features[k].width_m
    sine_line, sine_feature = (float(instrument.sine(features[i].x_m)) for i in (k, j))
    return instrument.rulings * abs(orders[k] * (sine_feature / sine_line - 1))


def _in_step(
    features: tuple[Feature, ...], orders: tuple[int, ...], instrument: Instrument, j: int
) -> bool:
    """Whether some other feature stands one step from it."""
    return any(
        _SPACING[0] < _steps(features, orders, instrument, k, j) < _SPACING[1]
        for k in range(len(features))
        if k != j
    )
