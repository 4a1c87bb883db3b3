"""What a study says of all its members: quantiles, yields, sensitivities, the worst of them."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.ensemble.numbers import NUMBERS
from wavesim.ensemble.plan import Limit, ReportTable
from wavesim.ensemble.recorded import Members, ProfileSpread
from wavesim.results import Column, Listing, Result, Sentence
from wavesim.text import length

_MOST_BINS = 20  # of a drawn key, for the variance of conditional means
_MOST_MESSAGES = 3
_FEW = 8  # members below which no sensitivity is stated
_ALIKE = 1e-5  # relative spread of a number below which all members count as alike


@dataclass(frozen=True)
class Sensitivity:
    """How a number depends on a key.

    Attributes
    ----------
    number, key : which
    rank_correlation : Spearman's coefficient, -1 to 1
    first_order : fraction of the number's variance that goes with the key alone: Sobol's
        first-order index; of a grid of listed values exactly; from a random design the correlation
        ratio over values or bins of equal count, corrected for their number (Kelley 1935)
    total : Sobol's total index, with all its interactions; nan but for a Sobol design
    """

    number: str
    key: str
    rank_correlation: float
    first_order: float
    total: float


@dataclass(frozen=True)
class NumberSummary:
    """One number over all members.

    Attributes
    ----------
    name, unit : of the number
    members : that have it
    mean, deviation : and sample standard deviation
    quantiles : (probability, value) as the report asks
    worst : (member, value) of the worst ones, the worst first
    """

    name: str
    unit: str
    members: int
    mean: float
    deviation: float
    quantiles: tuple[tuple[float, float], ...]
    worst: tuple[tuple[int, float], ...]


@dataclass(frozen=True)
class Yield:
    """Fraction of the members that keep a limit, with its standard error sqrt(p (1 - p) / n)."""

    number: str
    limit: str
    fraction: float
    error: float


@dataclass(frozen=True, repr=False)
class Summary(Result):
    """What a study says of all its members."""

    kind: ClassVar[str] = "study"

    title: str
    members: int
    failures: tuple[tuple[str, int, int], ...]  # message, members that have it, the first of them
    numbers: tuple[NumberSummary, ...]
    yields: tuple[Yield, ...]
    sensitivities: tuple[Sensitivity, ...]
    profiles: ProfileSpread | None = None

    @property
    def failed(self) -> int:
        """Members that could not be computed."""
        return sum(count for _, count, _ in self.failures)

    def report(self) -> Iterator[Sentence | Listing]:
        """Members, failures, the numbers' distribution, dependence of the numbers on the keys, "
        "yields, the worst."""
        failed = f", {self.failed:,} of them failed" if self.failed else ""
        yield Sentence("members", f"{self.members:,}{failed}")
        for message, count, first in self.failures[:_MOST_MESSAGES]:
            yield Sentence("failed", f"{count:,} (member {first} first): {message}")
        if self.numbers:
            yield self._distribution()
        if self.sensitivities:
            yield self._dependence()
        if self.profiles is not None:
            yield from self._spread(self.profiles)
        for y in self.yields:
            percent = f"{100 * y.fraction:.1f} +- {100 * y.error:.1f} %"
            yield Sentence("yield", f"{percent} of the members have {y.number} {y.limit}")
        for number in self.numbers:
            if number.worst:
                listed = ", ".join(f"member {k} ({shown(v, number.unit)})" for k, v in number.worst)
                yield Sentence("worst", f"{number.name}: {listed}")

    @staticmethod
    def _spread(found: ProfileSpread) -> Iterator[Sentence]:
        yield Sentence(
            "line",
            f"mean of {found.members:,} members at order {found.order:g}: {found.peak:.5f} +- "
            f"{found.error:.1g} of the peak of a perfect ruling",
        )
        if found.positions:
            yield Sentence(
                "speckle",
                f"at {found.positions} of {found.points} points of the profile the members vary "
                f"like speckle: mean {found.speckle:.3g} of the perfect peak, standard deviation "
                f"{found.contrast:.3f} of the mean",
            )

    def _distribution(self) -> Listing:
        quantiles = [f"{100 * p:g} %" for p, _ in self.numbers[0].quantiles]
        names = ("number", "mean", "deviation", *quantiles)
        rows = tuple(
            (
                n.name,
                *(shown(v, n.unit) for v in (n.mean, n.deviation, *dict(n.quantiles).values())),
            )
            for n in self.numbers
        )
        return Listing("all members", tuple(Column(name) for name in names), rows)

    def _dependence(self) -> Listing:
        names = (
            "number",
            "key",
            "rank\ncorrelation",
            "fraction of\nvariance",
            "with\ninteractions",
        )
        rows = tuple(
            (s.number, s.key, f"{s.rank_correlation:+.3f}", f"{s.first_order:.3f}",
             f"{s.total:.3f}" if math.isfinite(s.total) else "-")
            for s in self.sensitivities
        )  # fmt: skip
        return Listing(
            "dependence of the numbers on the keys", tuple(Column(name) for name in names), rows
        )


def shown(value: float, unit: str) -> str:
    """A number with its unit, lengths with a prefix."""
    if not math.isfinite(value):
        return "-"
    if unit == "m":
        return length(value) if value >= 0 else f"-{length(-value)}"
    return f"{value:.4g} {unit}".strip()


def summarise(
    members: Members,
    report: ReportTable | None = None,
    profiles: ProfileSpread | None = None,
) -> Summary:
    """Quantiles, yields, sensitivities and the worst members of a study."""
    wanted = report or ReportTable()
    return Summary(
        title=members.title,
        members=len(members.failures),
        failures=_failures(members.failures),
        numbers=tuple(_number(name, members, wanted) for name in members.numbers),
        yields=tuple(_yield(members, limit) for limit in wanted.limits),
        profiles=profiles,
        sensitivities=tuple(s for name in members.numbers for s in sensitivities(members, name)),
    )


def _failures(messages: tuple[str, ...]) -> tuple[tuple[str, int, int], ...]:
    """Each message once, with how many members have it and the first of them."""
    found: dict[str, list[int]] = {}
    for index, text in enumerate(messages):
        if text:
            found.setdefault(text, []).append(index)
    return tuple((text, len(which), which[0]) for text, which in found.items())


def _number(name: str, members: Members, wanted: ReportTable) -> NumberSummary:
    values = members.numbers[name]
    held = values[np.isfinite(values)]
    quantiles = np.quantile(held, wanted.quantiles) if held.size else [math.nan] * 9
    return NumberSummary(
        name=name,
        unit=members.units[name],
        members=held.size,
        mean=float(held.mean()) if held.size else math.nan,
        deviation=float(held.std(ddof=1)) if held.size > 1 else math.nan,
        quantiles=tuple(zip(wanted.quantiles, map(float, quantiles), strict=False)),
        worst=_worst(values, NUMBERS[name].worst, wanted.worst),
    )


def _worst(values: Floats, end: str, count: int) -> tuple[tuple[int, float], ...]:
    held = np.flatnonzero(np.isfinite(values))
    if not end or alike(values):
        return ()
    order = np.argsort(values[held] if end == "low" else -values[held], kind="stable")
    return tuple((int(held[k]), float(values[held[k]])) for k in order[:count])


def alike(values: Floats) -> bool:
    """Whether the members' values (n,) differ by no more than 1e-5 of the largest, or are none."""
    held = values[np.isfinite(values)]
    return not held.size or float(np.ptp(held)) <= _ALIKE * float(np.abs(held).max())


def _yield(members: Members, wanted: Limit) -> Yield:
    """A member that failed keeps no limit."""
    within = wanted.holds(members.numbers[wanted.number])
    fraction = float(within.mean())
    unit = f" {members.units[wanted.number]}" if members.units[wanted.number] else ""
    bounds = (("at least", wanted.at_least), ("at most", wanted.at_most))
    limit = " and ".join(f"{word} {b:.4g}{unit}" for word, b in bounds if b is not None)
    error = math.sqrt(fraction * (1 - fraction) / within.size)
    return Yield(wanted.number, limit, fraction, error)


def sensitivities(members: Members, name: str) -> list[Sensitivity]:
    """How one number depends on each key that takes several values, the strongest first."""
    values = members.numbers[name]
    held = np.isfinite(values)
    if held.sum() < _FEW or alike(values):
        return []
    first, total = _sobol(members, values)
    whole_grid = not members.drawn and not any(_is_seed(members, key) for key in members.keys)
    found = []
    for key, column in members.keys.items():
        if column.dtype.kind not in "fiu" or _is_seed(members, key) or np.ptp(column) == 0:
            continue
        first_order = first.get(key, math.nan)
        found.append(
            Sensitivity(
                number=name,
                key=key,
                rank_correlation=_rank_correlation(column[held], values[held]),
                first_order=first_order
                if key in first
                else variance_fraction(column[held], values[held], corrected=not whole_grid),
                total=total.get(key, math.nan),
            )
        )
    return sorted(found, key=lambda s: -s.first_order)


def _is_seed(members: Members, key: str) -> bool:
    return key.rpartition(".")[2] == "seed" and key not in members.drawn


def _rank_correlation(key: NDArray[np.generic], values: Floats) -> float:
    from scipy.stats import spearmanr

    return float(spearmanr(key, values).statistic)


def variance_fraction(key: NDArray[np.generic], values: Floats, *, corrected: bool = True) -> float:
    """Fraction of the variance of `values` (n,) explained by the mean at each value of `key` (n,).

    The correlation ratio eta^2 over the distinct values, or over bins of equal count where there
    are more than 20 of them or fewer than two members have the same; `corrected` for their number k
    as epsilon^2 = 1 - (1 - eta^2)(n - 1)/(n - k) (Kelley 1935, Proc. Natl. Acad. Sci. 21, 554), and
    0 at the least. A whole grid of listed values leaves nothing to chance: there eta^2 itself is
    the first-order index.
    """
    levels, group = np.unique(key, return_inverse=True)
    if levels.size > min(_MOST_BINS, values.size // 2):
        most = min(_MOST_BINS, max(2, values.size // 10))
        rank = np.argsort(np.argsort(key, kind="stable"), kind="stable")
        group = rank * most // values.size
    count = np.bincount(group)
    mean = np.bincount(group, weights=values) / np.maximum(count, 1)
    whole = float(((values - values.mean()) ** 2).sum())
    rest = float(((values - mean[group]) ** 2).sum())
    k = int((count > 0).sum())
    if whole == 0 or values.size <= k:
        return math.nan
    correction = (values.size - 1) / (values.size - k) if corrected else 1.0
    return max(0.0, 1 - rest / whole * correction)


def _sobol(members: Members, values: Floats) -> tuple[dict[str, float], dict[str, float]]:
    """First-order and total index of each drawn key (Saltelli 2010), from a Sobol design."""
    if members.design != "sobol" or not np.isfinite(values).all():
        return {}, {}
    from scipy.stats import sobol_indices

    n = members.draws
    blocks = values.reshape(len(members.drawn) + 2, n)
    given = {"f_A": blocks[:1], "f_B": blocks[1:2], "f_AB": blocks[2:, None, :]}
    found = sobol_indices(func=given, n=n)
    first, total = np.ravel(found.first_order), np.ravel(found.total_order)
    return (
        dict(zip(members.drawn, map(float, first), strict=True)),
        dict(zip(members.drawn, map(float, total), strict=True)),
    )
