"""Rings and minima of single openings, for apertures without rulings to interfere.

    slit, rectangle     dark at k lambda / a (Born & Wolf 8.5.1), bright at 1.4303, 2.4590, 3.4709
    disc                dark at 1.21967, 2.23313, 3.23832 lambda / D (Born & Wolf 8.5.2)
    annulus             first dark ring where J1(v) = eps J1(eps v), eps = inner / outer
    mesh                orders m lambda / pitch along its rows

An obstacle shows the same beside the light that passes it (Babinet).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.geometry import grating_geometry
from wavesim.scene import Annulus, Disc, Dots, Ellipse, Mesh, Rectangle, Scene, Slits

# roots of J1 and of J2 over pi, roots of tan x = x over pi; heights J1 and sinc there
_AIRY_DARK = (1.21966989127, 2.23313059438, 3.23831548417)
_AIRY_BRIGHT = ((1.63471935, 0.0174978627858), (2.67929202, 0.00415799638453))
_SLIT_BRIGHT = ((1.43029665312, 0.0471904492258), (2.45902403296, 0.0164800259930))


@dataclass(frozen=True)
class OpeningFeature:
    """A ring, minimum or order of a single opening.

    Attributes
    ----------
    what : "dark ring 1", "bright ring 1", "minimum 1", "maximum 1", "order 1"
    wavelength_m : [m]
    distance_m : from the middle of the pattern, towards +x on the plate [m]
    height : over the middle's; 0 where dark, nan where the formula does not say
    """

    what: str
    wavelength_m: float
    distance_m: float
    height: float


def features_of(scene: Scene, wavelengths_m: tuple[float, ...]) -> tuple[OpeningFeature, ...]:
    """First features at each wavelength; empty for shapes without a closed form."""
    rows = _rows(scene)
    geometry = grating_geometry(scene)
    middle = float(geometry.x_of_sine(-geometry.sine_in))
    found = []
    for wavelength in wavelengths_m:
        for what, per_wavelength, height in rows:
            sine = per_wavelength * float(geometry.bench_wavelength_m(wavelength))
            distance = float(geometry.x_of_sine(sine - geometry.sine_in)) - middle
            if math.isfinite(distance):
                found.append(OpeningFeature(what, wavelength, distance, height))
    return tuple(found)


def _rows(scene: Scene) -> list[tuple[str, float, float]]:
    """Name, sin(angle) per wavelength [1/m] and height of each feature."""
    match scene.aperture:
        case Slits(count=1, width_m=float() as width):
            return _slit(width)
        case Rectangle() as opening:
            return _slit(opening.width_m)
        case Disc() | Dots() as opening:
            return _disc(opening.diameter_m)
        case Ellipse() as opening:
            return _disc(opening.width_m)
        case Annulus() as opening:
            first = annulus_dark(opening.inner_m / opening.outer_m)
            return [("dark ring 1", first / opening.outer_m, 0.0)]
        case Mesh() as opening:
            return [(f"order {m}", m / opening.pitch_x_m, math.nan) for m in (1, 2, 3)]
        case _:
            return []


def _slit(width_m: float) -> list[tuple[str, float, float]]:
    dark = [(f"minimum {k}", k / width_m, 0.0) for k in (1, 2, 3)]
    bright = [(f"maximum {k}", p / width_m, h) for k, (p, h) in enumerate(_SLIT_BRIGHT, 1)]
    return sorted([*dark, *bright], key=lambda row: row[1])


def _disc(diameter_m: float) -> list[tuple[str, float, float]]:
    dark = [(f"dark ring {k}", p / diameter_m, 0.0) for k, p in enumerate(_AIRY_DARK, 1)]
    bright = [(f"bright ring {k}", p / diameter_m, h) for k, (p, h) in enumerate(_AIRY_BRIGHT, 1)]
    return sorted([*dark, *bright], key=lambda row: row[1])


def annulus_dark(obstruction: float) -> float:
    """First dark ring of an annulus [lambda / outer diameter], `obstruction` inner over outer."""
    from scipy.optimize import brentq
    from scipy.special import j1

    if obstruction == 0:
        return _AIRY_DARK[0]

    def amplitude(v: float) -> float:
        return float(j1(v) - obstruction * j1(obstruction * v))

    v: Floats = np.linspace(1.5, 4.0, 200)
    sign = np.array([amplitude(float(x)) for x in v])
    k = int(np.flatnonzero(sign[:-1] * sign[1:] < 0)[0])
    return float(brentq(amplitude, float(v[k]), float(v[k + 1]), xtol=1e-13)) / math.pi
