"""Which wavelengths stand for a source in a table of orders."""

from __future__ import annotations

import math

import numpy as np

from wavesim import light
from wavesim.arrays import Floats
from wavesim.light.pieces import Spectrum
from wavesim.scene import Band, Lamp, Laser, Led, Scene
from wavesim.study.ruling import Ruling

_WHITE_M = (400e-9, 500e-9, 550e-9, 600e-9, 700e-9)
_EYE_M = (380e-9, 780e-9)
_MOST_LINES = 8
_SEEN = 1e-3  # of the strongest candidate; weaker ones are left out


def reference_wavelengths(scene: Scene, spectrum: Spectrum) -> tuple[float, ...]:
    """Air wavelengths [m], ascending: a laser's line, a lamp's strongest lines, the middle of a
    band, and 400, 500, 550, 600 and 700 nm of anything white, as far as the filters pass them.
    """
    candidates = np.sort(np.array(_candidates(scene)))
    strength = _strength(scene, spectrum, candidates)
    chosen = strength > _SEEN * strength.max() if strength.max() > 0 else strength > 0
    if not chosen.any():
        return (_middle(spectrum),)
    if chosen.sum() > _MOST_LINES:
        weakest = np.sort(strength)[-_MOST_LINES]
        chosen &= strength >= weakest
    return tuple(candidates[chosen].tolist())


def principal_wavelength(
    wavelengths_m: tuple[float, ...], scene: Scene, spectrum: Spectrum
) -> float:
    """The strongest of a lamp's lines, else the middle one [m]."""
    if isinstance(scene.source, Lamp) and len(wavelengths_m) > 1:
        strength = _strength(scene, spectrum, np.array(wavelengths_m))
        return wavelengths_m[int(np.argmax(strength))]
    return wavelengths_m[len(wavelengths_m) // 2]


def usual_wavelength(scene: Scene) -> float:
    """The wavelength [m] to speak of where none is asked for: `principal_wavelength`."""
    spectrum = light.of_scene(scene)
    return principal_wavelength(reference_wavelengths(scene, spectrum), scene, spectrum)


def middle_wavelength(scene: Scene, ruled: Ruling) -> float | None:
    """Visible wavelength [m] of the lowest order that stands in the middle of the plate, if any."""
    if ruled.count < 2 or isinstance(scene.source, Lamp | Laser | Led | Band):
        return None
    order_one = abs(float(ruled.geometry.wavelength_m(scene.plate.centre_m, 1)))
    orders = np.arange(1.0, 1 + math.floor(order_one / _EYE_M[0]))
    found = np.abs(ruled.geometry.wavelength_m(scene.plate.centre_m, orders)).tolist()
    return next((wavelength for wavelength in found if wavelength < _EYE_M[1]), None)


def _candidates(scene: Scene) -> tuple[float, ...]:
    source = scene.source
    if isinstance(source, Laser | Led):
        return (source.wavelength_m,)
    if isinstance(source, Band):
        return (source.centre_m,)
    if isinstance(source, Lamp):
        from wavesim.light.lamps import lines

        found = lines(source.element).wavelength_m
        return tuple(found[(found > _EYE_M[0]) & (found < _EYE_M[1])].tolist())
    return _WHITE_M


def _strength(scene: Scene, spectrum: Spectrum, wavelength_m: Floats) -> Floats:
    """Power within 0.1 nm of each line, or in 1 nm of a continuum."""
    half = 0.05e-9 if isinstance(scene.source, Lamp | Laser) else 0.5e-9
    return spectrum.integrate(wavelength_m - half, wavelength_m + half)[0]


def _middle(spectrum: Spectrum) -> float:
    _, centroid = spectrum.integrate(np.array([360e-9]), np.array([830e-9]))
    return float(centroid[0])
