"""Formulas of position and distance: small angles, and the far field against distance."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from wavesim.arrays import Floats
from wavesim.diffraction import far
from wavesim.diffraction.fresnel import Wavefront
from wavesim.diffraction.fresnel.rulings import near_rulings
from wavesim.geometry import grating_geometry
from wavesim.grating_equation import sine_of_order
from wavesim.scene import Ruled, Scene
from wavesim.study.compare.interference import NO_RULINGS, equal_elements, has_orders, ideal
from wavesim.study.compare.pattern import (
    counted,
    element_width_m,
    pattern,
    pitch_m,
    rulings,
    scaled_pitch,
    wavelength,
)
from wavesim.study.compare.result import Approximation, Check, FailureEstimate

_MANY = 300  # elements: the maxima are then sharp, and their positions free of the envelope's pull


# --- small angles ------------------------------------------------------------------------------


def _angles(scene: Scene, value: float | None) -> Check:
    """Distance of the first order from the zero order [m]; swept: the camera on the zero order."""
    if value is not None:
        scene = scaled_pitch(scene, value)
    if getattr(scene.aperture, "slits", None) is None:
        scene = counted(ideal(scene), _MANY)
    far_field = pattern(scene)
    mu = peak(far_field.intensity, 1.0, 1.0 / far_field.count)
    geometry = grating_geometry(scene)
    if value is not None:
        geometry = replace(geometry, axis_rad=-scene.bench.alpha_rad)
    zero, first = geometry.x_of_sine(-far_field.sine_in), geometry.x_of_sine(far_field.sine(mu))
    engine = float(first - zero)
    formula = geometry.focal_m * far_field.wavelength_m / far_field.pitch_m
    return Check(engine, formula, abs(formula / engine - 1))


def peak(intensity, near: float, reach: float) -> float:  # type: ignore[no-untyped-def]
    """Continuous order of the maximum near an order, by two rounds of a parabola."""
    for _ in range(3):
        mu = near + reach * np.linspace(-0.5, 0.5, 9)
        value = intensity(mu)
        k = int(np.clip(np.argmax(value), 1, 7))
        left, top, right = (float(v) for v in value[k - 1 : k + 2])
        bend = left - 2 * top + right
        near = float(mu[k]) + (0.5 * (left - right) / bend * reach / 8 if bend < 0 else 0.0)
        reach /= 4
    return near


def _angles_why(scene: Scene) -> str | None:
    if has_orders(scene):
        return has_orders(scene)
    pitch = pitch_m(scene) or 1.0
    sine_in = math.sin(scene.bench.alpha_rad)
    if abs(sine_of_order(1, wavelength(scene), pitch_m=pitch, sine_in=sine_in)) >= 1:
        return "the first order does not propagate"
    return None


def _angles_span(scene: Scene) -> tuple[float, float]:
    most = 1 + abs(math.sin(scene.bench.alpha_rad))
    return 1.15 * wavelength(scene) * max(1.0, 1 / (2 - most + 1e-9)), 300 * wavelength(scene)


def _angles_estimate(scene: Scene, tolerance: float) -> FailureEstimate | None:
    if scene.bench.alpha_rad != 0:
        return None
    sine = math.sqrt(1 - (1 - tolerance) ** 2)
    return FailureEstimate(
        wavelength(scene) / sine,
        "tan(beta) compared with sin(beta): 1 - cos(beta) = tolerance (trigonometry)",
    )


SMALL_ANGLES = Approximation(
    name="small-angles",
    title="orders lie at x = f m lambda / d",
    quantity="distance of the first order from the zero order [m], relative error",
    parameter="pitch",
    unit="m",
    why_not=_angles_why,
    check=_angles,
    span=_angles_span,
    estimate=_angles_estimate,
    own=pitch_m,
)


# --- maxima at whole orders --------------------------------------------------------------------


def _order(scene: Scene, value: float | None) -> Check:
    """Where the maximum nearest to order 1 lies, in orders."""
    far_field = pattern(scene if value is None else counted(ideal(scene), max(2, round(value))))
    engine = peak(far_field.intensity, 1.0, 1.2 / far_field.count)
    return Check(engine, 1.0, abs(1 / engine - 1))


def _order_why(scene: Scene) -> str | None:
    if equal_elements(scene):
        return equal_elements(scene)
    far_field = pattern(counted(ideal(scene), 2))
    if abs(float(far_field.sine(1.3))) >= 1:
        return "the first order does not propagate"
    if (element_width_m(scene) or 1.0) / far_field.pitch_m > 0.9:
        return "the first order is nearly missing"
    return None


def _order_estimate(scene: Scene, tolerance: float) -> FailureEstimate | None:
    part = (element_width_m(scene) or 1.0) / (pitch_m(scene) or 1.0)
    slope = abs(2 * (math.pi * part / math.tan(math.pi * part) - 1))
    return FailureEstimate(
        math.sqrt(1 + 1.5 * slope / (math.pi**2 * tolerance)),
        "the envelope's slope g shifts a maximum of curvature 2 pi^2 (N^2 - 1) / 3 by their ratio",
    )


ORDER_POSITIONS = Approximation(
    name="order-places",
    title="maxima lie at whole orders m, whatever the envelope",
    quantity="position of the first maximum in orders, relative error",
    parameter="number of slits",
    unit="",
    why_not=_order_why,
    check=_order,
    span=lambda _: (2.0, 80.0),
    estimate=_order_estimate,
    own=lambda scene: float(rulings(scene)),
    whole=True,
)


# --- far field ---------------------------------------------------------------------------------


def _distance(scene: Scene, value: float | None) -> Check:
    """Intensity on the axis over that of the far field, at a distance without lenses [m]."""
    distance = value if value is not None else _own_distance(scene)
    if distance is None:
        return Check(1.0, 1.0, 0.0)
    far_field = pattern(ideal(scene) if value is not None else scene)
    near = near_rulings(far_field.ruled, Wavefront(1 / distance, 1 / distance))
    directions = np.array([0.0, 1e-3 / far_field.ruled.width_m])  # an even grid; the axis is wanted
    axis = float(np.abs(near.amplitude(directions, far_field.wavelength_m)[0]) ** 2)
    distant = float(
        np.abs(far.amplitude(far_field.ruled, 0.0, np.zeros(1), far_field.wavelength_m)[0]) ** 2
    )
    return Check(axis / distant, 1.0, abs(distant / axis - 1) if axis > 0 else math.inf)


def _edges(scene: Scene) -> Floats:
    """(n, 2) [m] edges of all openings, about the middle of the open area."""
    combs = pattern(scene).ruled.combs
    parts = [
        np.stack([c.position_m - c.element.width_m / 2, c.position_m + c.element.width_m / 2], 1)
        for c in combs
    ]
    edges = np.concatenate(parts)
    return np.asarray(edges - (edges.min() + edges.max()) / 2)


def fresnel_number(scene: Scene, distance_m: float) -> float:
    """a^2 / (lambda z) with a half the aperture's width."""
    half = float(np.ptp(_edges(scene))) / 2
    return half**2 / (wavelength(scene) * distance_m)


def _own_distance(scene: Scene) -> float | None:
    return scene.bench.plate_distance_m


def _distance_why(scene: Scene) -> str | None:
    if not isinstance(scene.aperture, Ruled):
        return NO_RULINGS
    if element_width_m(scene) is None and getattr(scene.aperture, "slits", None) is None:
        return "behind phase-shifting grooves the axis may be dark"
    return None


def _distance_span(scene: Scene) -> tuple[float, float]:
    middle = _spread(scene) / 0.1
    return middle / 10, middle * 10


def _spread(scene: Scene) -> float:
    """(pi / lambda) sqrt(<x^4> - <x^2>^2) over the openings [m]."""
    edges = _edges(scene)
    width = float((edges[:, 1] - edges[:, 0]).sum())
    moments = [
        float(((edges[:, 1] ** (k + 1) - edges[:, 0] ** (k + 1)) / (k + 1)).sum()) / width
        for k in (2, 4)
    ]
    return math.pi / wavelength(scene) * math.sqrt(max(moments[1] - moments[0] ** 2, 0.0))


def _distance_estimate(scene: Scene, tolerance: float) -> FailureEstimate | None:
    distance = _spread(scene) / math.sqrt(tolerance)
    number = fresnel_number(scene, distance)
    return FailureEstimate(
        distance,
        f"1 - I = variance of the phase pi x^2 / (lambda z); a slit: 4 (pi N_F)^2 / 45 "
        f"(Goodman 4.2); Fresnel number {number:.4g}",
    )


FAR_FIELD = Approximation(
    name="far-field",
    title="the plate is distant: the Fraunhofer pattern holds without a lens",
    quantity="intensity on the axis over that of the far field, relative error",
    parameter="distance of the plate",
    unit="m",
    why_not=_distance_why,
    check=_distance,
    span=_distance_span,
    estimate=_distance_estimate,
    own=_own_distance,
)
