"""Running comparisons: over each formula's own parameter, or over any value of a scene."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from functools import partial

import numpy as np

from wavesim.aperture.round_beam import heights_add_in_power
from wavesim.arrays import Floats
from wavesim.errors import InputError, LimitError
from wavesim.plate.duration import announced
from wavesim.scene import Scene, value_at
from wavesim.study.compare.angle_and_distance import FAR_FIELD, ORDER_POSITIONS, SMALL_ANGLES
from wavesim.study.compare.efficiencies import SCALAR_ACROSS, SCALAR_ALONG
from wavesim.study.compare.interference import CLOSED_FORM, MISSING_ORDERS, RAYLEIGH
from wavesim.study.compare.pattern import pitch_m, wavelength
from wavesim.study.compare.result import Approximation, Check, Comparison, FormulaComparisons, Row
from wavesim.study.compare.ruling_errors import DIFFUSE_SMALL, GHOST_BESSEL, GHOST_SMALL, SPECKLE
from wavesim.study.compare.sources import NARROW_SLIT, ONE_WAVELENGTH
from wavesim.study.mapping import Mapping, in_turn

APPROXIMATIONS = (
    SMALL_ANGLES,
    ORDER_POSITIONS,
    FAR_FIELD,
    CLOSED_FORM,
    NARROW_SLIT,
    ONE_WAVELENGTH,
    RAYLEIGH,
    GHOST_SMALL,
    GHOST_BESSEL,
    DIFFUSE_SMALL,
    SPECKLE,
    MISSING_ORDERS,
    SCALAR_ALONG,
    SCALAR_ACROSS,
)
_STEPS = 14
_SETTLED = 1e-4


def compare(
    scene: Scene,
    *,
    tolerance: float = 0.01,
    only: Sequence[str] = (),
    points: int = 13,
    progress: Callable[[str], None] | None = None,
    mapping: Mapping = in_turn,
) -> FormulaComparisons:
    """Engine against every textbook formula that applies to a scene.

    Each formula is followed over its own parameter to where its error crosses the tolerance; that
    value is then refined and set beside the closed-form estimate.

    Parameters
    ----------
    tolerance : error from which a formula counts as failing
    only : names of formulas (`APPROXIMATIONS`); all that apply if empty
    points : values of each parameter in the table
    mapping : that carries out the formulas

    Raises
    ------
    InputError
        An unknown name, or a tolerance outside (0, 1).
    """
    chosen = _chosen(only)
    _check(tolerance, points)
    reasons = {item.name: item.why_not(scene) for item in chosen}
    applying = [item for item in chosen if reasons[item.name] is None]
    followed = mapping(partial(_followed, scene, tolerance, points), applying)
    done: list[Comparison] = []
    for item in applying:
        if progress is not None:
            progress(item.name)
        found = next(followed)
        if isinstance(found, Comparison):
            done.append(found)
        else:
            reasons[item.name] = found
    left_out = [(name, reason) for name, reason in reasons.items() if reason is not None]
    rows = tuple(row for result in done for row in result.rows)
    return FormulaComparisons(rows, tuple(done), tuple(left_out), stated(scene), scene)


def vary(
    scene: Scene,
    key: str,
    values: Sequence[str | float],
    *,
    tolerance: float = 0.01,
    only: Sequence[str] = (),
    progress: Callable[[str], None] | None = None,
    mapping: Mapping = in_turn,
) -> FormulaComparisons:
    """Engine against the formulas while one value of the scene is varied.

    Parameters
    ----------
    key : dotted, as in the scene file: "aperture.pitch", "source.slit.width",
        "aperture.defects.0.amplitude"
    values : as in the file, rising: numbers, or texts with their unit
    only : names of formulas; all that apply to the scene if empty
    mapping : that carries out the formulas

    Raises
    ------
    InputError
        The scene has no such value, or one of the values does not make a scene.
    """
    _check(tolerance, len(values))
    numbers, unit = _numbers(scene, key, values)
    scenes = [scene.but({key: value}) for value in values]
    left_out, applying = [], []
    for item in _chosen(only):
        reasons = [r for r in (item.why_not(s) for s in scenes) if r is not None]
        if reasons:
            left_out.append((item.name, reasons[0]))
        else:
            applying.append(item)
    followed = mapping(partial(_along, scenes, (key, numbers, tolerance, unit)), applying)
    done = []
    for item in applying:
        if progress is not None:
            progress(item.name)
        done.append(next(followed))
    rows = tuple(row for result in done for row in result.rows)
    return FormulaComparisons(rows, tuple(done), tuple(left_out), stated(scene), scene)


def _numbers(scene: Scene, key: str, values: Sequence[str | float]) -> tuple[list[float], str]:
    """The values [SI] and their unit.

    Raises
    ------
    InputError
        The scene has no such key, or what stands there is no number.
    """
    from wavesim.scene.units import SI_UNITS, measure

    old = value_at(scene, key)
    if isinstance(old, bool) or not isinstance(old, int | float):
        raise InputError(
            "is not a number that can be varied", key=key, value=old, expected="another key"
        )
    found = [measure(value) if isinstance(value, str) else None for value in values]
    unit = next(
        (SI_UNITS.get(quantity.dimension, "") for quantity in found if quantity is not None), ""
    )
    pairs = zip(values, found, strict=True)
    return [float(v) if quantity is None else quantity.value for v, quantity in pairs], unit


def stated(scene: Scene) -> tuple[str, ...]:
    """What bounds every number here, engine's and formulas' alike, and is not tested."""
    pitch = pitch_m(scene)
    tested = SCALAR_ALONG.why_not(scene) is None
    text = (
        f"scalar theory itself is {'tested only at the blaze' if tested else 'not tested'}. "
        "With a pitch of a few wavelengths or steep facets, positions, line shapes and ratios "
        "of ghosts to lines remain correct, absolute efficiencies do not (Fano 1948, JOSA 38, "
        "921: elementary theories give ghosts in order of magnitude)"
    )
    if pitch is None:
        return (text,)
    text = f"{text}. Here the pitch is {pitch / wavelength(scene):.3g} wavelengths"
    if heights_add_in_power(scene):
        return (
            text,
            "the beam's round edge cuts the rulings: the formulas weight each ruling by its "
            "illuminated height, but with so tall a source slit the heights add in power on the "
            "plate",
        )
    return (text,)


def _chosen(only: Sequence[str]) -> tuple[Approximation, ...]:
    known = {item.name: item for item in APPROXIMATIONS}
    for name in only:
        if name not in known:
            raise InputError(
                "is not a formula to compare with", key="only", value=name,
                expected="one of " + ", ".join(known),
            )  # fmt: skip
    return tuple(known[name] for name in only) if only else APPROXIMATIONS


def _check(tolerance: float, points: int) -> None:
    if not 0 < tolerance < 1:
        raise InputError(
            "is out of range", key="tolerance", value=tolerance, expected="above 0 and below 1"
        )
    if not 2 <= points <= 10_000:
        raise InputError(
            "is out of range", key="points", value=points, expected="from 2 to 10,000 values"
        )


def _followed(scene: Scene, tolerance: float, points: int, item: Approximation) -> Comparison | str:
    """The comparison, or why the engine itself cannot follow this formula."""
    try:
        return _over(item, scene, tolerance, points)
    except LimitError as error:
        return error.problem


def _over(item: Approximation, scene: Scene, tolerance: float, points: int) -> Comparison:
    low, high = item.span(scene)
    if not 0 < low < high < math.inf:  # of an extreme scene: nothing to vary
        raise LimitError(f"{item.parameter} would run from {low:.3g} to {high:.3g} {item.unit}")
    values = np.geomspace(low, high, points)
    if item.whole:
        values = np.unique(np.rint(values))
    text = f"for {values.size:,} values of {item.parameter}"
    every = announced(values.tolist(), text, "fewer values")
    checks = [item.check(scene, v) for v in every]
    fails_at, fails = _threshold(
        values, checks, tolerance, lambda v: item.check(scene, v).error, whole=item.whole
    )
    if item.noisy and fails_at is not None:
        fails_at = _through(values, np.array([c.error for c in checks]), tolerance)
    guess = item.estimate(scene, tolerance)
    return Comparison(
        item.name, item.title, item.quantity, item.parameter, item.unit,
        _rows(item.name, item.parameter, values, checks, tolerance), tolerance, fails_at, fails,
        guess.value if guess else None, guess.source if guess else "", item.own(scene),
        item.check(scene, None),
    )  # fmt: skip


def _along(
    scenes: list[Scene], along: tuple[str, Sequence[float], float, str], item: Approximation
) -> Comparison:
    key, values, tolerance, unit = along
    text = f"for {len(scenes):,} values of {key} ({item.name})"
    checks = [item.check(scene, None) for scene in announced(scenes, text, "fewer values")]
    parameter = np.asarray(values, dtype=np.float64)
    fails_at, fails = _threshold(parameter, checks, tolerance, None)
    rows = _rows(item.name, key, parameter, checks, tolerance)
    return Comparison(
        item.name, item.title, item.quantity, key, unit, rows, tolerance, fails_at, fails,
        None, "", None, None,
    )  # fmt: skip


def _rows(
    name: str, parameter: str, values: Floats, checks: list[Check], tolerance: float
) -> tuple[Row, ...]:
    return tuple(
        Row(name, parameter, float(v), c.engine, c.formula, c.error, c.error <= tolerance)
        for v, c in zip(values, checks, strict=True)
    )


def _threshold(
    values: Floats,
    checks: list[Check],
    tolerance: float,
    error: Callable[[float], float] | None,
    *,
    whole: bool = False,
) -> tuple[float | None, str]:
    """Where the error crosses the tolerance, seen from the end at which the formula holds."""
    bad = np.array([not c.error <= tolerance for c in checks])
    if bad.all():
        return None, "always"
    if not bad.any():
        return None, "never"
    fails = "above" if not bad[0] else "below"
    order = np.arange(values.size) if fails == "above" else np.arange(values.size)[::-1]
    first = int(np.flatnonzero(bad[order])[0])
    if first == 0:
        return None, "at some values"
    good, worse = order[first - 1], order[first]
    ends = (float(values[good]), float(values[worse]))
    if error is None or (whole and abs(ends[1] - ends[0]) < 20):
        return _interpolated(ends, checks[good].error, checks[worse].error, tolerance), fails
    return _refined(ends, (checks[good].error, checks[worse].error), tolerance, error), fails


def _through(values: Floats, errors: Floats, tolerance: float) -> float:
    """Where a power law through all errors crosses the tolerance."""
    slope, level = np.polyfit(np.log(values), np.log(errors / tolerance), 1)
    return math.exp(-level / slope)


def _interpolated(ends: tuple[float, float], low: float, high: float, tolerance: float) -> float:
    """Crossing between two values, error and value taken as straight on logarithmic scales."""
    if min(*ends, low) <= 0 or not math.isfinite(high):
        part = (tolerance - low) / (high - low) if math.isfinite(high) else 0.5
        return ends[0] + part * (ends[1] - ends[0])
    part = math.log(tolerance / low) / math.log(high / low)
    return float(ends[0] * (ends[1] / ends[0]) ** part)


def _refined(
    ends: tuple[float, float], errors: tuple[float, float], tolerance: float,
    error: Callable[[float], float],
) -> float:  # fmt: skip
    """Crossing between a good and a bad value, by false position on logarithmic scales.

    Errors are nearly powers of their parameter, so four or five steps settle it to 1e-4; the end
    that stays put is halved in weight (Illinois rule).
    """
    good, bad = ends
    low, high = (math.log(max(e, 1e-300) / tolerance) for e in errors)
    if not math.isfinite(high):
        high = 1.0
    for _ in range(_STEPS):
        middle = good * (bad / good) ** (low / (low - high))
        if abs(bad / good - 1) < _SETTLED:
            break
        deviation = error(middle)
        miss = math.log(max(deviation, 1e-300) / tolerance) if math.isfinite(deviation) else 1.0
        if abs(miss) < _SETTLED:
            return float(middle)
        if miss <= 0:
            good, low, high = middle, miss, high / 2
        else:
            bad, high, low = middle, miss, low / 2
    return float(good * (bad / good) ** (low / (low - high)))
