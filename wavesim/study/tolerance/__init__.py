"""How large each error of a ruling may be: by formula first, then confirmed by simulation.

found = tolerance(scene, Limits(ghost=1e-4, diffuse=1e-3, resolving_power=30_000), order=2)
for row in found.rows: ...
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import ClassVar

from wavesim.errors import LimitError
from wavesim.results import Listing, Result, Sentence
from wavesim.scene import PeriodicDefect, Scene
from wavesim.study.mapping import Mapping, in_turn
from wavesim.study.ruling import beam_notes, defects_of
from wavesim.study.tolerance.formula import (
    Broadening,
    largest,
    largest_missing,
    largest_modulation,
    largest_periodic,
    largest_random,
    resolving_power,
)
from wavesim.study.tolerance.report import report
from wavesim.study.tolerance.simulation import RelativeErrors, SimulatedRuling, bench

__all__ = ["Allowed", "Limits", "Together", "Tolerance", "tolerance"]

_PERIOD = 100.0  # rulings, where the scene has no periodic error
_STEPS = 3  # simulated corrections of an amplitude; each leaves about a tenth of the error
_HALVINGS = 6  # of a third, to 0.5 % of the amplitude
_CLOSE = 1e-3
_SHRINK, _LEAST_FACTOR = 0.05, 0.3


@dataclass(frozen=True)
class Limits:
    """What a ruling must keep; None asks nothing.

    Attributes
    ----------
    ghost : strongest ghost over its line
    diffuse : light scattered evenly between the orders, over the line's light
    resolving_power : least 0.8859 |m| / FWHM, which a perfect ruling of N has as |m| N
    """

    ghost: float | None = None
    diffuse: float | None = None
    resolving_power: float | None = None


@dataclass(frozen=True)
class Allowed:
    """The largest error of one kind.

    Attributes
    ----------
    kind, limit : the error and the limit that it meets first
    alone : largest by formula if it is the only error, in `unit`
    simulated : the same by simulation
    reached : what the simulation measures at `alone`
    required : the limit
    together : largest by formula with all the others present
    unit : "m", or "" for a plain number
    """

    kind: str
    limit: str
    alone: float
    simulated: float
    reached: float
    required: float
    together: float
    unit: str


@dataclass(frozen=True)
class Together:
    """What the simulation measures with all errors at their `together` at once.

    Ghosts and diffuse light are measured without the errors that widen the line, for a ghost
    widens as its line does and the wings of a wide line are not diffuse light.

    Attributes
    ----------
    ghost, diffuse, resolving_power : measured; nan where there is no limit
    ghost_error, diffuse_error : standard errors
    factor : by which the errors that widen the line had to be shrunk to meet their limit; 1 where
        the formula's share was right
    within_limits : whether all limits are kept
    """

    ghost: float
    ghost_error: float
    diffuse: float
    diffuse_error: float
    resolving_power: float
    factor: float
    within_limits: bool


@dataclass(frozen=True, repr=False)
class Tolerance(Result):
    """The table of tolerances for one line.

    Attributes
    ----------
    order, wavelength_m : the line
    perfect : resolving power of the perfect ruling
    period : of periodic errors [rulings]
    rows : one for each kind of error that a limit was given for
    together : simulation of all at once
    notes : what else to know of the ruling
    """

    order: int
    wavelength_m: float
    perfect: float
    period: float
    rows: tuple[Allowed, ...]
    together: Together
    notes: tuple[str, ...]

    kind: ClassVar[str] = "tolerances"

    def report(self) -> Iterator[Sentence | Listing]:
        """Sentences and tables, in order."""
        return report(self)


@dataclass(frozen=True)
class _Kind:
    """One kind of error: its formula, and how the engine is asked for it."""

    name: str
    limit: str
    unit: str
    formula: float
    fraction: float
    errors: Callable[[float], RelativeErrors]
    measure: Callable[[RelativeErrors], float]
    required: float
    power: float  # the measured quantity goes with the error to this power, about


def tolerance(
    scene: Scene,
    limits: Limits,
    *,
    wavelength_m: float,
    order: int = 1,
    period: float | None = None,
    mapping: Mapping = in_turn,
) -> Tolerance:
    """Largest errors that keep the limits in one order, alone and together.

    Together, errors that spoil the same thing share its limit: ghosts and diffuse light equally,
    those that widen the line by one common factor.

    Parameters
    ----------
    limits : at least one
    wavelength_m : [m] in air
    period : of periodic errors in rulings; default the scene's first, or 100
    mapping : that carries out the simulations

    Raises
    ------
    LimitError
        No limit given, order 0, a resolving power that the perfect ruling does not have, or fewer
        rulings than show a ghost or diffuse light.
    """
    if order == 0:
        raise LimitError("order 0 shows no position errors", expected="another order")
    if limits == Limits():
        raise LimitError("no limit is given", expected="a limit for ghosts, diffuse light or width")
    simulation = bench(scene, wavelength_m, order)
    period = period or _period(scene, simulation.ruled.pitch_m)
    perfect = resolving_power(simulation.ruled, order, Broadening())
    if limits.resolving_power is not None and limits.resolving_power >= perfect:
        raise LimitError(
            f"the perfect ruling resolves only {perfect:,.0f} in order {order}",
            value=limits.resolving_power,
            expected="a smaller resolving power",
        )
    kinds = [
        *_ghost_kinds(simulation, limits, period),
        *_diffuse_kinds(simulation, limits),
        *_width_kinds(simulation, limits),
    ]
    rows = tuple(mapping(_row, kinds))
    everything = _sum(kind.errors(row.together) for kind, row in zip(kinds, rows, strict=True))
    together = _together(simulation, limits, everything)
    notes = beam_notes(simulation.ruled)
    return Tolerance(order, wavelength_m, perfect, period, rows, together, notes)


def _period(scene: Scene, pitch_m: float) -> float:
    for defect in defects_of(scene, PeriodicDefect):
        return defect.period.in_rulings(pitch_m)
    return _PERIOD


def _ghost_kinds(simulation: SimulatedRuling, limits: Limits, period: float) -> list[_Kind]:
    if limits.ghost is None:
        return []
    if period > simulation.ruled.count:
        raise LimitError(
            f"has fewer rulings ({simulation.ruled.count:,}) than one period of the error "
            f"({period:g}): it makes no ghosts",
            key="aperture",
            expected="a shorter period, or more rulings",
        )
    d, limit = simulation.ruled.pitch_m, limits.ghost
    displacement = largest_periodic(simulation.order, period, limit)
    strength = largest_modulation(limit)

    def measure(errors: RelativeErrors) -> float:
        return simulation.ghost(errors)[0]

    # in the worst case both add in amplitude, so each may have half of it
    return [
        _Kind("periodic displacement", "ghost", "m", displacement * d,
              largest_periodic(simulation.order, period, limit / 4) / displacement,
              lambda a: RelativeErrors(periodic=a / d, period=period), measure, limit, 2.0),
        _Kind("periodic groove strength", "ghost", "", strength, 0.5,
              lambda a: RelativeErrors(modulation=a, period=period), measure, limit, 2.0),
    ]  # fmt: skip


def _diffuse_kinds(simulation: SimulatedRuling, limits: Limits) -> list[_Kind]:
    if limits.diffuse is None:
        return []
    d, limit = simulation.ruled.pitch_m, limits.diffuse
    random, missing = largest_random(simulation.order, limit), largest_missing(limit)

    def measure(errors: RelativeErrors) -> float:
        return simulation.diffuse(errors)[0]

    half = math.sqrt(1 + limit) - 1  # (1 + half)^2 = 1 + limit
    return [
        _Kind("random displacement, rms", "diffuse", "m", random * d,
              largest_random(simulation.order, half) / random,
              lambda s: RelativeErrors(random=s / d), measure, limit, 2.0),
        _Kind("missing rulings, fraction", "diffuse", "", missing, largest_missing(half) / missing,
              lambda q: RelativeErrors(missing=q), measure, limit, 1.0),
    ]  # fmt: skip


def _width_kinds(simulation: SimulatedRuling, limits: Limits) -> list[_Kind]:
    if limits.resolving_power is None:
        return []
    ruled, order, limit = simulation.ruled, simulation.order, limits.resolving_power
    d = ruled.pitch_m

    def over(errors: Callable[[float], Broadening]) -> Callable[[float], float]:
        return lambda size: limit - resolving_power(ruled, order, errors(size))

    count, m = ruled.count, abs(order)
    walk = largest(over(lambda s: Broadening(walk=s)), 3 / (2 * math.pi * m * math.sqrt(count)))
    drift = largest(over(lambda k: Broadening(drift=k)), 30 / (m * count))
    step = largest(over(lambda s: Broadening(step=s)), 0.5 / m)
    each = Broadening(walk, drift, step)
    fraction = largest(lambda t: limit - resolving_power(ruled, order, each.scaled(t)), 1.0)
    measure = simulation.resolving_power
    return [
        _Kind("accumulated pitch error, rms", "resolving power", "m", walk * d, fraction,
              lambda s: RelativeErrors(walk=s / d), measure, limit, 0.0),
        _Kind("drift of pitch over the width", "resolving power", "", drift, fraction,
              lambda k: RelativeErrors(drift=k), measure, limit, 0.0),
        _Kind("one step in the middle", "resolving power", "m", step * d, fraction,
              lambda s: RelativeErrors(step=s / d), measure, limit, 0.0),
    ]  # fmt: skip


def _row(kind: _Kind) -> Allowed:
    reached = _measured(kind, kind.formula)
    return Allowed(
        kind=kind.name,
        limit=kind.limit,
        alone=kind.formula,
        simulated=_simulated(kind, reached),
        reached=reached,
        required=kind.required,
        together=kind.formula * kind.fraction,
        unit=kind.unit,
    )


def _simulated(kind: _Kind, reached: float) -> float:
    """The amplitude at which the simulation itself meets the limit.

    Ghosts and diffuse light by the power law that they follow; widths, which may jump where a
    line splits, by bisection between 0.85 and 1.15 of the formula's.
    """
    size = kind.formula
    if not kind.power:
        return _bisected(lambda t: kind.measure(kind.errors(t * size)) > kind.required) * size
    for _ in range(_STEPS):
        if abs(reached / kind.required - 1) < _CLOSE or reached <= 0:
            break
        size *= (kind.required / reached) ** (1 / kind.power)
        reached = _measured(kind, size)
    return size


def _measured(kind: _Kind, size: float) -> float:
    reached = kind.measure(kind.errors(size))
    if math.isnan(reached) and kind.limit == "diffuse":
        raise LimitError(
            "has too few rulings: no diffuse light can be told from its line",
            key="aperture",
            expected="more rulings, or no limit of diffuse light",
        )
    return reached


def _bisected(meets: Callable[[float], bool]) -> float:
    """Largest factor between 0.85 and 1.15 that meets a limit; nan if none or all do."""
    low, high = 0.85, 1.15
    if not meets(low) or meets(high):
        return math.nan
    for _ in range(_HALVINGS):
        middle = (low + high) / 2
        low, high = (middle, high) if meets(middle) else (low, middle)
    return low


def _sum(parts: Iterable[RelativeErrors]) -> RelativeErrors:
    total: dict[str, float] = {}
    for errors in parts:
        for name, value in vars(errors).items():
            if name == "period":
                if errors.periodic or errors.modulation:
                    total[name] = value
            else:
                total[name] = total.get(name, 0.0) + value
    return RelativeErrors(**total)


def _together(simulation: SimulatedRuling, limits: Limits, errors: RelativeErrors) -> Together:
    """All errors at once; what still breaks a limit is shrunk until it does not."""
    alone = errors.without_widening()
    ghost, unsure = simulation.ghost(alone) if limits.ghost is not None else (math.nan, 0.0)
    scattered, error = simulation.diffuse(alone) if limits.diffuse is not None else (math.nan, 0.0)
    power, factor = math.nan, 1.0
    if limits.resolving_power is not None:
        power = simulation.resolving_power(errors)
        while power < limits.resolving_power and factor > _LEAST_FACTOR:
            factor -= _SHRINK
            power = simulation.resolving_power(errors.widening_scaled(factor))
    within = [
        limits.ghost is None or ghost <= limits.ghost + 2 * unsure,
        limits.diffuse is None or scattered <= limits.diffuse + 2 * error,
        limits.resolving_power is None or power >= limits.resolving_power,
    ]
    return Together(ghost, unsure, scattered, error, power, factor, all(within))
