"""What a comparison returns: rows of engine against formula, and where the formula fails."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wavesim.arrays import Floats
from wavesim.results import Column, Listing, Result, Sentence, Table, plain
from wavesim.scene import Scene
from wavesim.text import length

_WHERE = {"never": "nowhere", "always": "everywhere"}


@dataclass(frozen=True)
class Check:
    """Engine and formula for one quantity, and the formula's error as its kind counts it."""

    engine: float
    formula: float
    error: float


@dataclass(frozen=True)
class FailureEstimate:
    """Parameter at which a closed form expects the formula to fail, and where that comes from."""

    value: float
    source: str


@dataclass(frozen=True)
class Approximation:
    """A textbook formula that a scene may be compared with.

    Attributes
    ----------
    name : short, for options and files
    title : what the formula says
    quantity : what is compared, with its unit, and how its error counts
    parameter, unit : what is varied to see where the formula fails; SI
    why_not : reason why it does not apply to a scene, or None
    check : engine and formula at a value of the parameter; None takes the scene as it is
    span : lowest and highest value of the parameter worth a look
    estimate : closed form of the failing value for a tolerance, or None
    own : the scene's own value of the parameter, or None
    whole : the parameter counts things
    noisy : the error scatters, so the failing value is read off a straight line through it
    """

    name: str
    title: str
    quantity: str
    parameter: str
    unit: str
    why_not: Callable[[Scene], str | None]
    check: Callable[[Scene, float | None], Check]
    span: Callable[[Scene], tuple[float, float]]
    estimate: Callable[[Scene, float], FailureEstimate | None]
    own: Callable[[Scene], float | None]
    whole: bool = False
    noisy: bool = False


@dataclass(frozen=True)
class Row:
    """One value of a parameter.

    Attributes
    ----------
    approximation : name of the formula
    parameter : what was varied
    value : its value [SI]
    engine, formula : the quantity by either
    error : of the formula
    holds : the error is within the tolerance
    """

    approximation: str
    parameter: str
    value: float
    engine: float
    formula: float
    error: float
    holds: bool


@dataclass(frozen=True)
class Comparison:
    """One formula over a range.

    Attributes
    ----------
    name, title, quantity, parameter, unit : see `Approximation`
    rows : over the range, rising in the parameter
    tolerance : error from which the formula counts as failing
    fails_at : parameter at which its error crosses the tolerance, None where it does not
    fails : "below" or "above" that value, or "never", "always"
    estimate, estimate_source : the closed form's expectation of `fails_at`
    own : the scene's own value of the parameter
    at_scene : engine, formula and error of the scene as it is
    """

    name: str
    title: str
    quantity: str
    parameter: str
    unit: str
    rows: tuple[Row, ...]
    tolerance: float
    fails_at: float | None
    fails: str
    estimate: float | None
    estimate_source: str
    own: float | None
    at_scene: Check | None

    def arrays(self) -> tuple[Floats, Floats]:
        """Parameter and error, (n,) each."""
        return (
            np.array([r.value for r in self.rows]),
            np.array([r.error for r in self.rows]),
        )


@dataclass(frozen=True, repr=False)
class FormulaComparisons(Result, Table[Row]):
    """All formulas that apply to a scene.

    Attributes
    ----------
    rows : of all comparisons, one after the other
    comparisons : each formula with its threshold
    left_out : name and reason of those that do not apply
    stated : limits that are stated and not tested
    scene : what was compared
    """

    comparisons: tuple[Comparison, ...]
    left_out: tuple[tuple[str, str], ...]
    stated: tuple[str, ...]
    scene: Scene

    kind: ClassVar[str] = "comparison"

    @property
    def title(self) -> str:
        """Of the scene."""
        return self.scene.title

    def report(self) -> Iterable[Sentence | Listing]:
        """Sentences and tables, in order."""
        return _report(self)

    def record(self) -> dict[str, object]:
        """Everything as plain values, SI."""
        return {
            "title": self.title,
            "comparisons": [plain(comparison) for comparison in self.comparisons],
            "left_out": [{"name": name, "reason": reason} for name, reason in self.left_out],
            "stated": list(self.stated),
        }


def _report(found: FormulaComparisons) -> Iterator[Sentence | Listing]:
    """The scene, one row for each formula, then what each formula says."""
    yield Sentence("scene", found.scene.title or "untitled")
    if found.comparisons:
        yield _table(found.comparisons)
    for comparison in found.comparisons:
        yield Sentence("formula", _formula(comparison))
    for name, reason in found.left_out:
        yield Sentence("left out", f"{name}: {reason}")
    for text in found.stated:
        yield Sentence("not tested", text)


def _table(comparisons: tuple[Comparison, ...]) -> Listing:
    percent = f"{comparisons[0].tolerance * 100:.3g} %"
    columns = (
        Column("formula"), Column("varied quantity", wraps=True), Column(f"off by {percent}"),
        Column("expected"), Column("this scene"), Column("its error"),
    )  # fmt: skip
    title = f"where each formula differs from the exact computation by {percent}"
    return Listing(title, columns, tuple(_row(comparison) for comparison in comparisons))


def _row(comparison: Comparison) -> tuple[str, ...]:
    if comparison.fails_at is None:
        where = _WHERE.get(comparison.fails, "at some values")
    else:
        where = f"{comparison.fails} {_value(comparison.fails_at, comparison.unit)}"
    compared = (
        comparison.at_scene is not None
        and comparison.at_scene.engine != comparison.at_scene.formula
    )
    return (
        comparison.name,
        comparison.parameter,
        where,
        "" if comparison.estimate is None else _value(comparison.estimate, comparison.unit),
        "" if comparison.own is None else _value(comparison.own, comparison.unit),
        f"{comparison.at_scene.error:.2g}" if compared and comparison.at_scene is not None else "",
    )


def _formula(comparison: Comparison) -> str:
    text = f"{comparison.name}: {comparison.title}"
    if (
        comparison.at_scene is not None
        and comparison.at_scene.engine != comparison.at_scene.formula
    ):
        exact, formula = comparison.at_scene.engine, comparison.at_scene.formula
        text += f"; computed {exact:.6g}, by formula {formula:.6g}"
    if comparison.estimate is not None:
        estimate = _value(comparison.estimate, comparison.unit)
        text += f"; expected to fail at {estimate}: {comparison.estimate_source}"
    return text


def _value(value: float, unit: str) -> str:
    return length(value) if unit == "m" else f"{_number(value)} {unit}".rstrip()


def _number(value: float) -> str:
    return f"{value:,.0f}" if value >= 1e4 else f"{value:.4g}"
