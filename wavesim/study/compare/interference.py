"""Formulas of the pattern: the closed N-slit form, missing orders, Rayleigh's resolving power."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from wavesim.aperture.defects.random_errors import draw
from wavesim.arrays import Floats
from wavesim.scene import ListedSlit, Ruled, Scene, Slits
from wavesim.study.compare.pattern import (
    FarPattern,
    counted,
    element_width_m,
    pattern,
    pitch_m,
    rulings,
    without_beam,
)
from wavesim.study.compare.result import Approximation, Check, FailureEstimate
from wavesim.study.formulas import RAYLEIGH_DIP, interference_factor, rms_for_loss
from wavesim.study.roots import falling_root
from wavesim.study.ruling import with_aperture

_DRAWS = 200  # rulings of an ensemble, fewer where they are long
_ORDER = 1
NO_RULINGS = "the aperture has no rulings"


def equal_elements(scene: Scene) -> str | None:
    """Why a scene has no equal clear elements at an even pitch, or None."""
    if not isinstance(scene.aperture, Ruled):
        return NO_RULINGS
    if element_width_m(scene) is None or getattr(scene.aperture, "slits", None) is not None:
        return "the formula needs equal clear openings at a constant pitch"
    if pitch_m(scene) is None or rulings(scene) < 2:
        return "a single slit has no orders"
    return None


def has_orders(scene: Scene) -> str | None:
    """Why a scene has no orders, or None."""
    if not isinstance(scene.aperture, Ruled):
        return NO_RULINGS
    return None if pitch_m(scene) and rulings(scene) > 1 else "a single slit has no orders"


def even_elements(scene: Scene) -> str | None:
    """Why a scene has no equal elements, clear or grooved, at an even pitch, or None."""
    if has_orders(scene) or getattr(scene.aperture, "slits", None) is None:
        return has_orders(scene)
    return "the formula needs equal elements at a constant pitch"


def ideal(scene: Scene) -> Scene:
    """Without defects, without a limiting beam, without a source slit."""
    point = scene.source.model_copy(update={"slit": None, "luminance_cd_m2": None})
    bare = without_beam(with_aperture(scene, defects=()))
    return bare.model_copy(update={"source": point})


# --- the closed form of N slits ----------------------------------------------------------------


def _closed(scene: Scene, value: float | None) -> Check:
    if value is None:
        return _whole_pattern(scene)
    pitch = pitch_m(scene) or 1.0
    perfect = pattern(ideal(scene))
    order = np.array([float(_ORDER)])
    formula = float(perfect.intensity(order)[0])
    draws = max(8, min(_DRAWS, 40_000 // max(perfect.count, 1)))
    mean = 0.0
    for seed in range(draws):
        error = draw("independent", seed, perfect.count, pitch)
        mean += float(perfect.displaced(value * pitch * error).intensity(order)[0]) / draws
    return Check(mean / formula, 1.0, abs(formula / mean - 1))


def _whole_pattern(scene: Scene) -> Check:
    """Largest deviation over the first two orders, of the peak; the worst position's values."""
    far_field = pattern(scene)
    width, pitch, count = element_width_m(scene) or 0.0, far_field.pitch_m, rulings(scene)
    peak = (width * count) ** 2
    near = np.linspace(-2, 2, 41) / count
    mu = np.concatenate([near, 1 + near, np.linspace(-1.6, 1.6, 801)])
    mu = mu[np.abs(far_field.sine(mu)) < 1]
    engine = far_field.intensity(mu) / peak
    formula = np.sinc(width * mu / pitch) ** 2 * interference_factor(mu, count)
    worst = int(np.argmax(np.abs(engine - formula)))
    return Check(float(engine[worst]), float(formula[worst]), float(abs(engine - formula)[worst]))


def _closed_estimate(scene: Scene, tolerance: float) -> FailureEstimate | None:
    left = 1 / (1 + tolerance)  # the formula is then too strong by the tolerance
    count = rulings(scene)
    return FailureEstimate(
        rms_for_loss((1 - left) * count / (count - 1), _ORDER),
        "E + (1 - E)/N, E = exp(-(2 pi m sigma/d)^2) of Gaussian errors (Debye-Waller form)",
    )


CLOSED_FORM = Approximation(
    name="n-slits",
    title="sinc^2(a u) times (sin N pi d u / N sin pi d u)^2",
    quantity="height of the first order, relative error (for the scene itself: largest error, "
    "relative to the peak)",
    parameter="rms position error, relative to the pitch",
    unit="",
    why_not=equal_elements,
    check=_closed,
    span=lambda _: (3e-3, 0.1),
    estimate=_closed_estimate,
    own=lambda _: None,
)


# --- missing orders ----------------------------------------------------------------------------


def missing_order(scene: Scene) -> int | None:
    """The lowest order that equal slits leave out, d/a or a multiple, up to 10."""
    width, pitch = element_width_m(scene), pitch_m(scene)
    if not width or not pitch:
        return None
    for zero in range(1, 11):
        order = zero * pitch / width
        if order > 10.5:
            return None
        if abs(order - round(order)) < 1e-6:
            return round(order)
    return None


def _missing(scene: Scene, value: float | None) -> Check:
    order = missing_order(scene) or 1
    far_field = pattern(scene) if value is None else pattern(_alternating(scene, value))
    both = far_field.intensity(np.array([0.0, float(order)]))
    height = float(both[1] / both[0])
    return Check(height, 0.0, height)


def _alternating(scene: Scene, excess: float) -> Scene:
    """Every second slit wider by a part of its width."""
    width, pitch = element_width_m(scene) or 0.0, pitch_m(scene) or 1.0
    count = 2 * max(1, min(rulings(scene), 60) // 2)
    slits = tuple(
        ListedSlit(centre_m=(j - (count - 1) / 2) * pitch, width_m=width * (1 + excess * (j % 2)))
        for j in range(count)
    )
    height = getattr(scene.aperture, "height_m", 0.01)
    update = {"aperture": Slits(slits=slits, height_m=height)}
    return ideal(scene).model_copy(update=update)


def _missing_why(scene: Scene) -> str | None:
    if equal_elements(scene):
        return equal_elements(scene)
    return None if missing_order(scene) else "no order up to the tenth is missing"


def _missing_span(scene: Scene) -> tuple[float, float]:
    width, pitch = element_width_m(scene) or 1.0, pitch_m(scene) or 1.0
    return 0.01, min(0.45, 0.95 * (pitch / width - 1) * 2)


def _missing_estimate(scene: Scene, tolerance: float) -> FailureEstimate | None:
    width, pitch = element_width_m(scene) or 1.0, pitch_m(scene) or 1.0
    zero = round((missing_order(scene) or 1) * width / pitch)

    def below(wider: float) -> float:
        return tolerance - float((wider * np.sinc(zero * wider) / (2 + wider)) ** 2)

    if below(0.5 / zero) > 0:
        return None
    return FailureEstimate(
        falling_root(below, 0.0, 0.5 / zero),
        "[e sinc(k e) / (2 + e)]^2: light of half the slits, wider by e, at the zero k of the "
        "others",
    )


MISSING_ORDERS = Approximation(
    name="missing-orders",
    title="orders m = k d / a are missing",
    quantity="height of the lowest missing order, relative to order zero",
    parameter="excess width of every second slit, relative to the others",
    unit="",
    why_not=_missing_why,
    check=_missing,
    span=_missing_span,
    estimate=_missing_estimate,
    own=lambda _: None,
)


# --- resolving power ---------------------------------------------------------------------------


def _rayleigh(scene: Scene, value: float | None) -> Check:
    if value is not None:
        scene = counted(ideal(scene), max(2, round(value)))
    far_field = pattern(scene)
    formula = float(_ORDER * rulings(scene))
    engine = resolving_power(far_field, _ORDER, positions_alone=value is not None)
    return Check(engine, formula, abs(formula / engine - 1) if engine else math.inf)


def resolving_power(far_field: FarPattern, order: int, *, positions_alone: bool = False) -> float:
    """lambda / dlambda at which two equal lines leave a dip of 8/pi^2 between them; 0 if none.

    Rayleigh's case for a slit of even light; found by bisection on the separation.
    `positions_alone` divides the elements' envelope out, whose slope deepens the dip.
    """

    def light(mu: Floats, factor: float) -> Floats:
        other = far_field.at(far_field.wavelength_m * factor)
        return other.interference(mu) if positions_alone else other.intensity(mu)

    return _separated(light, order, far_field.count)


def _separated(light: Callable[[Floats, float], Floats], order: int, count: float) -> float:
    low, high = 0.3 / (order * count), min(12.0 / (order * count), 0.4 / order)
    if dip(light, order, high) > RAYLEIGH_DIP:
        return 0.0
    for _ in range(40):
        middle = math.sqrt(low * high)
        shallow = dip(light, order, middle) > RAYLEIGH_DIP
        low, high = (middle, high) if shallow else (low, middle)
        if high / low < 1 + 1e-7:
            break
    return 1 / math.sqrt(low * high)


def dip(light: Callable[[Floats, float], Floats], order: int, separation: float) -> float:
    """Light between two lines lambda (1 +- separation/2) over the mean of their peaks.

    `light(mu, factor)` is the pattern at continuous orders of the wavelength factor x lambda.
    """
    grid = order * (1 + separation * np.linspace(-0.75, 0.75, 241))
    total = np.zeros(grid.size)
    for factor in (1 - separation / 2, 1 + separation / 2):
        total += light(grid / factor, factor)
    half = grid.size // 2
    left, right = int(np.argmax(total[:half])), half + int(np.argmax(total[half:]))
    return 2 * float(total[left : right + 1].min()) / float(total[left] + total[right])


def _rayleigh_estimate(_scene: Scene, tolerance: float) -> FailureEstimate | None:
    """By bisection on N, the N-slit factor in place of the engine."""
    low, high = 2.0, 100.0
    for _ in range(40):
        count = math.sqrt(low * high)
        found = _separated(lambda mu, _: _factor(mu, count), _ORDER, count)  # noqa: B023
        wrong = abs(_ORDER * count / found - 1) if found else math.inf
        low, high = (count, high) if wrong > tolerance else (low, count)
    return FailureEstimate(low, "the same dip from (sin N pi mu / N sin pi mu)^2 with real N")


def _factor(mu: Floats, count: float) -> Floats:
    offset = mu - np.rint(mu)
    return np.asarray((np.sinc(count * offset) / np.sinc(offset)) ** 2)


RAYLEIGH = Approximation(
    name="rayleigh",
    title="resolving power m N",
    quantity="lambda / dlambda for a dip of 8/pi^2, relative error (varied: interference "
    "function alone)",
    parameter="number of rulings",
    unit="",
    why_not=has_orders,
    check=_rayleigh,
    span=lambda _: (2.0, 40.0),
    estimate=_rayleigh_estimate,
    own=lambda scene: float(rulings(scene)),
    whole=True,
)
