"""How long to expose, estimated: illuminance from the radiance of the source slit.

A slit of luminance L in the collimator's focus lights its image behind an aperture of open area S
and a camera of focal length f with E = L S cos(beta) eta / f^2, eta the share of the light that the
order gets: radiance is conserved, and S cos(beta) / f^2 is the solid angle from which the image is
illuminated (the beam caught, S cos(alpha), lands on an image cos(alpha) / cos(beta) as wide). Away
from order 0 a point of the plate gets the light of one slit image's width of wavelengths.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.constants import LUMINOUS_EFFICACY_LM_W
from wavesim.light.pieces import Spectrum
from wavesim.light.recorders import counted_by
from wavesim.scene import Scene
from wavesim.study.formulas import FIRST_MAXIMUM
from wavesim.study.predict.orders import Order
from wavesim.study.ruling import Ruling
from wavesim.study.visibility.result import BURNT_STOPS, FAINT
from wavesim.text import ranges, stops_from_white, three_digits

_BINS = 40  # of the light that meets at one point
_EYE_M = 555e-9  # peak of the eye


@dataclass(frozen=True)
class Exposed:
    """One order on the plate.

    Attributes
    ----------
    order, wavelength_m : which
    illuminance_lx : estimated, at the brightest of the line or colour
    stops : log2 of its exposure over white
    state : "burnt out", "visible" or "too faint"
    """

    order: int
    wavelength_m: float
    illuminance_lx: float
    stops: float
    state: str


@dataclass(frozen=True)
class ExposureEstimate:
    """Time for the brightest order and what it does to the others.

    Attributes
    ----------
    time_s : as the scene says, or what puts the brightest order listed at white
    subsidiary : state and stops of the largest subsidiary maximum beside the brightest order;
        None where there is none
    orders : the rest
    sentences : in sentences
    """

    time_s: float
    subsidiary: tuple[str, float] | None
    orders: tuple[Exposed, ...]
    sentences: tuple[str, ...]


def estimate(
    scene: Scene, ruled: Ruling, spectrum: Spectrum, lines: tuple[Order, ...]
) -> ExposureEstimate | None:
    """Exposure of the listed orders that reach the plate; None without a slit or in near field.

    The widths of slit image, line and pixel are added as squares: good to about a fifth where one
    of them is much the widest, and to a factor of two else; the exposed plate has the exact figure.
    """
    on_plate = [line for line in lines if line.on_plate and not line.missing]
    if scene.source.slit is None or not scene.bench.far_field or not on_plate:
        return None
    if spectrum.kind_of_level != "radiance":
        return None
    if len({line.wavelength_m for line in on_plate if line.order == 0}) > 1:
        white_m = min((x.wavelength_m for x in on_plate), key=lambda x: abs(x - _EYE_M))
        on_plate = [line for line in on_plate if line.order or line.wavelength_m == white_m]
    light = [_illuminance(scene, ruled, spectrum, line) for line in on_plate]
    white = scene.exposure.white_exposure_lx_s
    brightest = max(light)
    if brightest <= 0:
        return None
    time = scene.exposure.time_s
    if time is None:
        time = 2.0**scene.exposure.over * white / brightest
    stops = [math.log2(time * e / white) if e > 0 else -math.inf for e in light]
    orders = tuple(
        Exposed(line.order, line.wavelength_m, e, s, _state(s))
        for line, e, s in zip(on_plate, light, stops, strict=True)
    )
    side = max(stops) + math.log2(FIRST_MAXIMUM)
    subsidiary = (_state(side), side) if ruled.uniform and ruled.count > 2 else None
    return ExposureEstimate(time, subsidiary, orders, _sentences(scene, orders, subsidiary))


def _illuminance(scene: Scene, ruled: Ruling, spectrum: Spectrum, line: Order) -> float:
    """L S eta / f^2 of the wavelengths that meet there, on the axis of one order [lx]."""
    lit_m = float(np.sum(np.abs(ruled.bare.combs[0].weight) ** 2)) * ruled.pitch_m
    area = lit_m * ruled.bare.mean_height_m * math.cos(line.beta_rad)
    optics = area * line.efficiency / scene.bench.camera_focal_m**2
    wide = math.hypot(line.slit_image_m, line.line_m, scene.plate.pixel_m)
    filled = optics * line.slit_image_m / wide
    level, eye = counted_by(scene)
    if line.order == 0:
        return level(spectrum) * filled
    half = wide * line.dispersion_nm_mm * 1e-6 / 2
    edges = line.wavelength_m + half * np.linspace(-1, 1, _BINS + 1)
    power, centroid = spectrum.integrate(edges[:-1], edges[1:])
    return float(LUMINOUS_EFFICACY_LM_W * np.sum(eye(centroid) * power) * filled)


def _state(stops: float) -> str:
    if stops > BURNT_STOPS:
        return "burnt out"
    return "visible" if stops >= math.log2(FAINT) else "too faint"


def _sentences(
    scene: Scene, orders: tuple[Exposed, ...], subsidiary: tuple[str, float] | None
) -> tuple[str, ...]:
    brightest = max(orders, key=lambda order: order.stops)
    found = [
        f"at ISO {scene.exposure.speed:g}: order {brightest.order} gets "
        f"{three_digits(brightest.illuminance_lx)} lx (estimated from L S / f^2)"
    ]
    best = {order.order: order for order in sorted(orders, key=lambda order: order.stops)}
    for state in ("burnt out", "visible", "too faint"):
        names = sorted(m for m, order in best.items() if order.state == state)
        if names:
            found.append(f"{state}, at the brightest wavelength of each: {ranges('order', names)}")
    if subsidiary is not None:
        state, stops = subsidiary
        found.append(f"the largest subsidiary maximum: {state}, {stops_from_white(stops)}")
    found.append("too faint: more than 7 stops below white")
    return tuple(found)
