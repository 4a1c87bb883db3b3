"""What a comparison returns: rows of engine against formula, and where the formula fails."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wavesim.scene import Scene
from wavesim.study.rows import Table, html_table

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True)
class Check:
    """Engine and formula for one quantity, and the formula's error as its kind counts it."""

    engine: float
    formula: float
    error: float


@dataclass(frozen=True)
class Estimate:
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
    estimate: Callable[[Scene, float], Estimate | None]
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


@dataclass(frozen=True)
class Compared(Table[Row]):
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

    def __repr__(self) -> str:
        return (
            f"<comparison of {self.scene.title!r} with {len(self.comparisons)} formulas;"
            f" {len(self.left_out)} do not apply>"
        )

    def _repr_html_(self) -> str:
        """Where each formula fails, as Jupyter shows it."""
        names = ("name", "title", "parameter", "unit", "fails", "fails_at", "estimate", "own")
        rows = [{name: getattr(one, name) for name in names} for one in self.comparisons]
        return html_table(rows)
