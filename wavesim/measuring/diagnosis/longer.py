"""Longer periods that explain measured ghosts as well: they stand at its higher harmonics.

Ghosts at k/P from a line are the first of the period P/k and the k-th of P. Where the nearer ones
of P were not measured (hidden by the line's wings, say), positions alone cannot tell; strengths do,
by their growth with order (|m|^2k) and by the ratios of the harmonics (J_k).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from wavesim.measuring.diagnosis.fit import amplitude_of
from wavesim.measuring.diagnosis.table import GhostTable

_HIGHEST = 5
_SAME = 4.0  # standard errors within which two distances have the ratio of small whole numbers
_SAME_PART = 3e-4
_ALIKE = 1e-3  # of the period: pairs that speak of one
_AGREE = 0.1  # of the amplitude: how well the harmonics' strengths give one


@dataclass(frozen=True)
class LongerPeriod:
    """A period whose higher ghosts were measured, perhaps.

    Attributes
    ----------
    period : in rulings
    harmonics : which of its ghosts the errors found would be, in their order
    errors : numbers of those errors, from 1
    amplitude : peak displacement over pitch that gives ghosts of this strength
    amplitude_m : the same [m]; nan where the pitch is not known
    agrees : whether all these harmonics ask for one amplitude, within a tenth
    """

    period: float
    harmonics: tuple[int, ...]
    errors: tuple[int, ...]
    amplitude: float
    amplitude_m: float
    agrees: bool


_Found = tuple[
    GhostTable, float, float, str, int
]  # ghosts, first offset and its error, kind, count


def longer_periods(found: list[_Found], pitch_m: float) -> tuple[LongerPeriod, ...]:
    """One for each pair of errors with a common longer period, or for one that stands alone.

    A lone error is left out where something excludes the longer period: its growth with order
    (any kind but "undetermined"), or a harmonic of its own that it explains.
    """
    pairs = [
        longer
        for (i, a), (j, b) in itertools.combinations(enumerate(found), 2)
        if (longer := _common((i, a), (j, b), pitch_m)) is not None
    ]
    if pairs:
        return tuple(
            pair
            for k, pair in enumerate(pairs)
            if all(abs(pair.period / other.period - 1) > _ALIKE for other in pairs[:k])
        )
    single = []
    for k, (part, offset, _, kind, count) in enumerate(found):
        if kind == "undetermined" and count <= part.order.size:
            amplitude = amplitude_of(part, 2)[0]
            single.append(
                LongerPeriod(2 / offset, (2,), (k + 1,), amplitude, amplitude * pitch_m, True)
            )
    return tuple(single)


def _common(
    first: tuple[int, _Found], second: tuple[int, _Found], pitch_m: float
) -> LongerPeriod | None:
    (i, a), (j, b) = first, second
    if "strength" in (a[3], b[3]):
        return None
    ratio = a[1] / b[1]
    allowed = ratio * (_SAME * math.hypot(a[2] / a[1], b[2] / b[1]) + _SAME_PART)
    for p, q in itertools.product(range(2, _HIGHEST + 1), repeat=2):
        if math.gcd(p, q) == 1 and abs(ratio - p / q) < allowed:
            each = [amplitude_of(a[0], p)[0], amplitude_of(b[0], q)[0]]
            mean = math.sqrt(each[0] * each[1])
            weight = [(p / a[2]) ** 2, (q / b[2]) ** 2]
            base = float(np.average([a[1] / p, b[1] / q], weights=weight))
            agrees = abs(math.log(each[0] / each[1])) < _AGREE
            return LongerPeriod(1 / base, (p, q), (i + 1, j + 1), mean, mean * pitch_m, agrees)
    return None
