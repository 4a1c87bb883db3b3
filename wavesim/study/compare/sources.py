"""Formulas that idealise the light: a narrow source slit, one wavelength for a band."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from wavesim.scene import Band, Scene
from wavesim.study.compare.interference import has_orders, ideal
from wavesim.study.compare.pattern import FarPattern, pattern, pitch_m, rulings
from wavesim.study.compare.result import Approximation, Check, FailureEstimate

_BAND_POINTS = 64


def _visibility(far_field: FarPattern, *, positions_alone: bool = False) -> float:
    """(max - min) / (max + min) about order zero: its peak and the first minimum beside it."""
    n = far_field.count
    mu = np.concatenate([np.linspace(-0.25, 0.25, 21) / n, np.linspace(0.6, 1.4, 81) / n])
    light = far_field.interference(mu) if positions_alone else far_field.intensity(mu)
    top, low = float(light[:21].max()), float(light[21:].min())
    return (top - low) / (top + low)


def _slit(scene: Scene, value: float | None) -> Check:
    focal = scene.bench.source_focal_m or 1.0
    far_field = pattern(scene)
    if value is not None:
        far_field = pattern(ideal(scene))
        width = value / focal * math.cos(scene.bench.alpha_rad)
        far_field = replace(far_field, slit_sine=width)
    alone = value is not None
    engine = _visibility(far_field, positions_alone=alone)
    formula = _visibility(replace(far_field, slit_sine=0.0), positions_alone=alone)
    return Check(engine, formula, abs(formula / engine - 1) if engine else math.inf)


def _slit_why(scene: Scene) -> str | None:
    if has_orders(scene):
        return has_orders(scene)
    if scene.bench.source_focal_m is None:
        return "without a collimator or a source distance the slit has no angular width"
    return None


def _slit_limit(scene: Scene, tolerance: float) -> float:
    """Width w [m] of the source slit: (w d / (lambda f)) = sin(pi/N) sqrt(6 tolerance) / pi."""
    focal, pitch = scene.bench.source_focal_m or 1.0, pitch_m(scene) or 1.0
    part = math.sin(math.pi / rulings(scene)) * math.sqrt(6 * tolerance) / math.pi
    cosine = math.cos(scene.bench.alpha_rad)
    return part * pattern(ideal(scene)).wavelength_m * focal / (pitch * cosine)


def _slit_span(scene: Scene) -> tuple[float, float]:
    middle = _slit_limit(scene, 0.01)
    return middle / 10, middle * 6


def _slit_estimate(scene: Scene, tolerance: float) -> FailureEstimate | None:
    return FailureEstimate(
        _slit_limit(scene, tolerance),
        "the minimum is filled to (pi t)^2 / (12 sin^2(pi/N)), t being the slit width in orders; "
        "for two slits V = sinc(w d / (lambda f)) (Born & Wolf 10.4)",
    )


NARROW_SLIT = Approximation(
    name="narrow-slit",
    title="the source slit is infinitely narrow",
    quantity="visibility of the fringes beside order zero, relative error",
    parameter="width of the source slit",
    unit="m",
    why_not=_slit_why,
    check=_slit,
    span=_slit_span,
    estimate=_slit_estimate,
    own=lambda scene: scene.source.slit.width_m if scene.source.slit else None,
)


def _band(scene: Scene, value: float | None) -> Check:
    """Height of the first order in the light of a band, over that of one wavelength."""
    alone = value is not None
    far_field = pattern(ideal(scene) if alone else scene)
    width = value if value is not None else own_band(scene) or 0.0
    t, w = np.polynomial.legendre.leggauss(_BAND_POINTS)
    sine = far_field.sine_in + float(far_field.sine(1.0))
    light = []
    for lam in far_field.wavelength_m + width / 2 * t:
        other = far_field.at(float(lam))
        mu = far_field.pitch_m * sine / float(lam)
        light.append(float(other.interference(mu) if alone else other.intensity(mu)))
    reference = float(far_field.interference(1.0) if alone else far_field.intensity(1.0))
    engine = float(np.sum(w / 2 * np.array(light))) / reference
    return Check(engine, 1.0, abs(1 / engine - 1))


def own_band(scene: Scene) -> float | None:
    """Width of the scene's light [m]: of a band or a bandpass filter, None for other light."""
    widths = [f.width_m for f in scene.source.filters if f.kind == "bandpass"]
    if isinstance(scene.source, Band):
        widths.append(scene.source.width_m)
    return min(widths) if widths else None


def _band_limit(scene: Scene, tolerance: float) -> float:
    far_field = pattern(ideal(scene))
    n = far_field.count
    return 6 * math.sqrt(tolerance) / (math.pi * math.sqrt(n * n - 1)) * far_field.wavelength_m


def _band_span(scene: Scene) -> tuple[float, float]:
    middle = _band_limit(scene, 0.01)
    return middle / 10, min(middle * 8, 0.5 * pattern(ideal(scene)).wavelength_m)


def _band_estimate(scene: Scene, tolerance: float) -> FailureEstimate | None:
    return FailureEstimate(
        _band_limit(scene, tolerance),
        "mean of the N-slit factor over the band: 1 - pi^2 (N^2 - 1) (m dlambda/lambda)^2 / 36",
    )


ONE_WAVELENGTH = Approximation(
    name="one-wavelength",
    title="one wavelength stands for the band",
    quantity="height of the first order, relative to that of one wavelength; relative error",
    parameter="width of the band",
    unit="m",
    why_not=has_orders,
    check=_band,
    span=_band_span,
    estimate=_band_estimate,
    own=own_band,
)
