"""Smooth spectra: black bodies, light-emitting diodes, flat bands, CIE illuminants.

References
----------
[1] M. Planck (1901); constants of the SI (c2 = 0.01438776877 m K).
[2] CIE 15 (2004), tables of illuminants A, D and FL, as carried by colour-science 0.4.7.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from wavesim.arrays import Floats
from wavesim.constants import (
    BOLTZMANN_J_K,
    LIGHT_SPEED_M_S,
    PLANCK_J_S,
    VISIBLE_HI_M,
    VISIBLE_LO_M,
)
from wavesim.light import air, pieces
from wavesim.light.pieces import Spectrum
from wavesim.light.shipped import rows


def planck(wavelength_m: Floats, temperature_K: float) -> Floats:
    """Spectral radiance of a black body, 2 h c^2 / lambda^5 / (exp(h c / lambda k T) - 1).

    Of the wavelength in vacuum. (...) [m] -> [W m-2 sr-1 m-1].
    """
    x = PLANCK_J_S * LIGHT_SPEED_M_S / (wavelength_m * BOLTZMANN_J_K * temperature_K)
    return np.asarray(
        2.0 * PLANCK_J_S * LIGHT_SPEED_M_S**2 / wavelength_m**5 * np.exp(-x) / -np.expm1(-x)
    )


def planck_in_air(wavelength_m: Floats, temperature_K: float) -> Floats:
    """The same light over its wavelength in standard air, L(lambda_vac) d lambda_vac / d lambda.

    At 2000 K and 580 nm that is 0.23 % more than `planck` of the number itself.
    """
    vacuum = air.to_vacuum(wavelength_m)
    return planck(vacuum, temperature_K) * air.stretch(vacuum)


def blackbody(temperature_K: float) -> Spectrum:
    """Radiance of a black body, 360 to 830 nm; relative error 1e-12 in any bin."""
    return _of_temperature(planck_in_air, temperature_K)


def planckian(temperature_K: float) -> Spectrum:
    """The Planckian radiator of colorimetry, with wavelengths put in as they are given [2]."""
    return _of_temperature(planck, temperature_K)


def _of_temperature(law: Callable[[Floats, float], Floats], temperature_K: float) -> Spectrum:
    breaks = np.linspace(VISIBLE_LO_M, VISIBLE_HI_M, 236)
    return pieces.from_function(
        lambda wavelength: law(wavelength, temperature_K),
        breaks,
        "radiance",
        tolerance=1e-12,
        floor=0.0,
    )


def led(peak_m: float, width_m: float) -> Spectrum:
    """A Gaussian in wavelength of that full width at half maximum, peak 1; cut below 1e-9."""
    reach = width_m * np.sqrt(9.0 / (4.0 * np.log10(2.0)))
    breaks = peak_m + reach * np.linspace(-1.0, 1.0, 9)
    whole = pieces.from_function(
        lambda wavelength: np.exp(-4.0 * np.log(2.0) * ((wavelength - peak_m) / width_m) ** 2),
        breaks,
        "radiance",
        features_m=width_m,
    )
    return whole.clipped(VISIBLE_LO_M, VISIBLE_HI_M)


def band(centre_m: float, width_m: float) -> Spectrum:
    """The same density, 1, within centre +- width / 2."""
    ends = np.clip([centre_m - width_m / 2.0, centre_m + width_m / 2.0], VISIBLE_LO_M, VISIBLE_HI_M)
    return pieces.from_nodes(ends, np.ones(2), "radiance", features_m=float(ends[1] - ends[0]))


def illuminant(name: str) -> Spectrum:
    """A CIE illuminant: straight lines between the 5 nm steps of its table [2].

    E is constant, and A is Planck's law at 2848 x 1.4388 / 1.435 = 2855.54 K, as it is defined:
    a formula into which the wavelength is put as it is given.
    """
    if name == "E":
        return band((VISIBLE_LO_M + VISIBLE_HI_M) / 2.0, VISIBLE_HI_M - VISIBLE_LO_M)
    if name == "A":
        return planckian(2848.0 * 0.01438776877 / 0.01435)
    table = [row for row in rows("illuminants.csv") if row[name]]
    wavelength = np.array([float(row["wavelength_nm"]) * 1e-9 for row in table])
    density = np.array([float(row[name]) for row in table])
    return pieces.from_nodes(wavelength, density, "radiance", features_m=5e-9)
