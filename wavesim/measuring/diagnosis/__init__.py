"""Which error a ruling has, from the ghosts it left beside lines in two or more orders.

    found = diagnose(read("ghosts.csv"), pitch_m=1e-3 / 600)
    found.errors[0].kind, found.errors[0].period, found.errors[0].amplitude_m

The k-th ghost of order m stands k/P orders from its line, P the period in rulings. Errors of
position grow with the order, errors of strength do not:

    displacement   J_1(2 pi (m + s/P) A/d)^2 / J_0(2 pi m A/d)^2  ~  (pi m A/d)^2,   s = +-1
    strength       (a/2)^2

so two orders tell them apart. Where both have one period their amplitudes add, and the mean of
the two sides is the sum of the two.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import asdict, dataclass, replace
from typing import ClassVar

import numpy as np

from wavesim.errors import TableError
from wavesim.measuring.diagnosis.fit import GhostFit, combined, fitted
from wavesim.measuring.diagnosis.longer import LongerPeriod, longer_periods
from wavesim.measuring.diagnosis.report import report
from wavesim.measuring.diagnosis.table import GhostTable, read
from wavesim.results import Result, Sentence

__all__ = ["Diagnosis", "FoundError", "GhostTable", "LongerPeriod", "diagnose", "read"]

_SAME = 4.0  # standard errors within which two offsets are one
_SAME_PART = 3e-4  # of the offset, allowed beside
_ALIKE = 4.0  # factor within which a harmonic's strength must meet its prediction
_HIGHEST = 6  # harmonics and combinations looked at


@dataclass(frozen=True)
class FoundError:
    """One error of the ruling.

    Attributes
    ----------
    kind : "displacement", "strength", "both" (same period) or "undetermined" (one order only)
    period, period_error : in rulings, with standard error
    amplitude, amplitude_error : peak displacement over pitch A/d (0 if there is none)
    amplitude_m, amplitude_error_m : the same [m]; nan where the pitch is not known
    modulation, modulation_error : a of the groove strength 1 + a cos (0 if there is none)
    growth, growth_error : p of strength ~ |m|^p; 2 k for displacement, 0 for strength
    harmonic : k of the ghosts that it was found by: 1, or 2 and more where the nearer ones of its
        period were not measured, and these grow as |m|^2k
    ghosts : how many measured ghosts it explains, harmonics included
    residual : root of chi square over degrees of freedom; about 1 for a good fit
    """

    kind: str
    period: float
    period_error: float
    amplitude: float
    amplitude_error: float
    amplitude_m: float
    amplitude_error_m: float
    modulation: float
    modulation_error: float
    growth: float
    growth_error: float
    ghosts: int
    residual: float
    harmonic: int = 1


@dataclass(frozen=True, repr=False)
class Diagnosis(Result):
    """All errors found, the strongest first. Every ghost is one's, or a harmonic of some.

    Attributes
    ----------
    errors : as the ghosts measured show them
    longer : periods that explain the same ghosts as higher harmonics, their nearer ghosts unseen
    """

    errors: tuple[FoundError, ...]
    longer: tuple[LongerPeriod, ...] = ()
    kind: ClassVar[str] = "diagnosis"

    def report(self) -> Iterator[Sentence]:
        """One sentence for each error."""
        return report(self)


@dataclass(frozen=True, eq=False)
class _Cluster:
    """Ghosts at one distance from their lines, that distance and its standard error [orders]."""

    part: GhostTable
    offset: float
    error: float

    def of_first(self, harmonic: int) -> _Cluster:
        """The same ghosts, the distance and error those of the first ghost of their period."""
        return replace(self, offset=self.offset / harmonic, error=self.error / harmonic)


def diagnose(measured: GhostTable, *, pitch_m: float = math.nan) -> Diagnosis:
    """Period, amplitude and kind of every error that the ghosts speak of.

    Ghosts at one distance from their lines belong together. The strongest group is an error of
    its own; a weaker one is first tried as harmonic or combination of those already found.

    Parameters
    ----------
    measured : ghosts in at least one order; two or more tell the kind
    pitch_m : d [m], which turns A/d into a length

    Raises
    ------
    TableError
        No ghosts.

    Notes
    -----
    Strengths should be free of the groove's envelope; with ghosts on both sides of the lines
    its slope cancels, so leave both in. Scalar theory.
    """
    if measured.order.size == 0:
        raise TableError("holds no ghosts", expected="at least one in each of two orders")
    clusters = sorted(_clusters(measured), key=lambda c: -float(c.part.strength.max()))
    found: list[tuple[_Cluster, GhostFit]] = []
    ghosts: list[int] = []
    for cluster in clusters:
        parent = _harmonic_of(cluster, found)
        if parent is None:
            fit = fitted(cluster.part)
            found.append((cluster.of_first(fit.harmonic), fit))
            parent = len(ghosts)
            ghosts.append(0)
        ghosts[parent] += cluster.part.order.size
    return Diagnosis(
        tuple(_error(*pair, count, pitch_m) for pair, count in zip(found, ghosts, strict=True)),
        longer_periods([(cluster.part, cluster.offset, cluster.error, fit.kind, sum_of)
                        for (cluster, fit), sum_of in zip(found, ghosts, strict=True)], pitch_m),
    )  # fmt: skip


def _clusters(measured: GhostTable) -> list[_Cluster]:
    order = np.argsort(np.abs(measured.offset), kind="stable")
    groups: list[list[int]] = []
    for row in order.tolist():
        if groups and _same(measured, groups[-1], row):
            groups[-1].append(row)
        else:
            groups.append([row])
    return [_cluster(measured.part(np.array(rows))) for rows in groups]


def _same(measured: GhostTable, group: list[int], row: int) -> bool:
    weight = 1 / measured.offset_error[group] ** 2
    middle = float(np.average(np.abs(measured.offset[group]), weights=weight))
    error = math.hypot(float(measured.offset_error[row]), 1 / math.sqrt(float(weight.sum())))
    allowed = _SAME * error + _SAME_PART * middle
    return bool(abs(abs(float(measured.offset[row])) - middle) < allowed)


def _cluster(part: GhostTable) -> _Cluster:
    distance, weight = np.abs(part.offset), 1 / part.offset_error**2
    middle = float(np.average(distance, weights=weight))
    spread = float(np.sum(weight * (distance - middle) ** 2)) / max(distance.size - 1, 1)
    return _Cluster(part, middle, math.sqrt(max(spread, 1.0) / float(weight.sum())))


def _harmonic_of(cluster: _Cluster, found: list[tuple[_Cluster, GhostFit]]) -> int | None:
    """Which found error this group is a harmonic or combination of, by position and strength."""
    if not found:
        return None
    for harmonics in itertools.product(range(-_HIGHEST, _HIGHEST + 1), repeat=min(len(found), 3)):
        if not 2 <= sum(map(abs, harmonics)) <= _HIGHEST:
            continue
        expected = sum(k * c.offset for k, (c, _) in zip(harmonics, found, strict=False))
        reach = sum(abs(k) * c.error for k, (c, _) in zip(harmonics, found, strict=False))
        # beyond half an order it stands by the next line
        distance = abs(expected - round(expected))
        allowed = _SAME * (cluster.error + reach) + _SAME_PART * cluster.offset
        if expected <= 0 or abs(distance - cluster.offset) > allowed:
            continue
        part, fits = cluster.part, [fit for _, fit in found]
        level = combined(part.order, part.offset, zip(harmonics, fits, strict=False))
        ratio = np.median(cluster.part.strength / np.maximum(level, 1e-300))
        if 1 / _ALIKE < ratio < _ALIKE:
            return next(n for n, k in enumerate(harmonics) if k)
    return None


def _error(cluster: _Cluster, fit: GhostFit, ghosts: int, pitch_m: float) -> FoundError:
    period = 1 / cluster.offset
    return FoundError(
        **asdict(fit),
        period=period,
        period_error=period**2 * cluster.error,
        amplitude_m=fit.amplitude * pitch_m,
        amplitude_error_m=fit.amplitude_error * pitch_m,
        ghosts=ghosts,
    )
