"""Photometric measures that need only the spectrum."""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.constants import LUMINOUS_EFFICACY_LM_W
from wavesim.light.observer import cie1931
from wavesim.light.pieces import Spectrum


def weighted(spectrum: Spectrum, wavelength_m: Floats, curves: Floats) -> Floats:
    """Integral of density x curve, for curves that are straight between their points: exact.

    Over one step the integral is the power times the curve at the centre of power.

    Parameters
    ----------
    wavelength_m : (n,) array [m], ascending
    curves : (n, c) array

    Returns
    -------
    (c,) array [power of the spectrum x unit of the curves]
    """
    power, centroid = spectrum.integrate(wavelength_m[:-1], wavelength_m[1:])
    part = (centroid - wavelength_m[:-1]) / np.diff(wavelength_m)
    at_centroid = curves[:-1] + part[:, None] * np.diff(curves, axis=0)
    return np.asarray(power @ at_centroid)


def tristimulus(spectrum: Spectrum) -> Floats:
    """X, Y, Z with Y the luminance [cd/m2] or illuminance [lx]; (3,).

    683 lm/W times the integral of density x colour-matching function, CIE 1931, the functions
    straight between their 1 nm steps.
    """
    return np.asarray(LUMINOUS_EFFICACY_LM_W * weighted(spectrum, *cie1931()))


def luminous(spectrum: Spectrum) -> float:
    """Luminance [cd/m2] of a radiance, illuminance [lx] of an irradiance."""
    return float(tristimulus(spectrum)[1])
