"""Scalar theory's efficiency against the rigorous one, by the pitch in wavelengths.

Followed at the blaze: order 1 in Littrow's mounting, lambda = 2 d sin(facet angle), so that the
pitch in wavelengths, 1 / (2 sin(facet angle)), stands for the facet angle too. There scalar
theory gives the order all that a flat surface of the same material reflects.
"""

from __future__ import annotations

import math
from functools import partial

import numpy as np

from wavesim.grooves import Blazed, Surface, efficiencies
from wavesim.grooves.of_scene import mounted
from wavesim.scene import Scene
from wavesim.scene.aperture import Grating
from wavesim.scene.groove import BlazedGroove
from wavesim.study.compare.pattern import wavelength
from wavesim.study.compare.result import Approximation, Check

_LEAST, _MOST = 0.75, 20.0  # pitches in wavelengths: beyond, hundreds of functions are needed
_TOLERANCE = 3e-4


def _check(scene: Scene, value: float | None, *, field: int) -> Check:
    """Relative efficiency of order 1 at its blaze, E along (0) or across (1) the grooves."""
    at_m = wavelength(scene)
    pitches = _own(scene) if value is None else value
    sine = 1 / (2 * pitches)
    facet = math.asin(sine)
    pitch_m = pitches * at_m
    metal = mounted(scene).surface.below
    surface = Surface(Blazed(facet, math.pi / 2 - facet, pitch_m), pitch_m, metal)
    found = efficiencies(surface, np.array([at_m]), sine, tolerance=_TOLERANCE)
    # light falls along the normal of the facets, whose reflectance is that of a mirror
    mirror = 1.0
    if metal is not None:
        index = metal.at(np.array([at_m]))[0]
        mirror = float(abs((1 - index) / (1 + index)) ** 2)
    engine = float(found.reflected[field, 0, found.index(1)]) / mirror
    return Check(engine, 1.0, abs(1 / engine - 1))


def _own(scene: Scene) -> float:
    """The pitch in wavelengths at which the scene's facets have their blaze in order 1."""
    grating = scene.aperture
    assert isinstance(grating, Grating)
    assert isinstance(grating.groove, BlazedGroove)
    sine = math.sin(abs(grating.groove.facet_angle_rad))
    return min(max(1 / (2 * sine), _LEAST), _MOST) if sine else _MOST


def _why(scene: Scene) -> str | None:
    grating = scene.aperture
    if not isinstance(grating, Grating) or not isinstance(grating.groove, BlazedGroove):
        return "no blazed grooves"
    if grating.mounting != "reflection":
        return "the grooves are not used in reflection"
    if grating.coating is not None:
        return "the grooves are coated"
    return None


def _span(scene: Scene) -> tuple[float, float]:
    del scene
    return _LEAST, _MOST


def _approximation(name: str, field: int, where: str) -> Approximation:
    return Approximation(
        name=name,
        title=f"at the blaze, order 1 gets all the light (electric field {where} the grooves)",
        quantity="efficiency of order 1 at its blaze, relative to a mirror; relative error",
        parameter="pitch in wavelengths, 1 / (2 sin(facet angle))",
        unit="",
        why_not=_why,
        check=partial(_check, field=field),
        span=_span,
        estimate=lambda scene, tolerance: None,  # noqa: ARG005
        own=_own,
    )


SCALAR_ALONG = _approximation("scalar-efficiency", 0, "along")
SCALAR_ACROSS = _approximation("scalar-efficiency-across", 1, "across")
