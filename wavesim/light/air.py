"""The refractive index of air, and wavelengths in vacuum and in air.

Ciddor's equations. Wavelengths in scene files, tables and results are in *standard air* (15 degC,
101325 Pa, dry, 450 ppm CO2) unless they say vacuum; these functions are the only bridge.

References
----------
[1] P. E. Ciddor, Appl. Opt. 35, 1566 (1996): dispersion eqs. (1) to (3), procedure of Appendix B.
[2] R. S. Davis, Metrologia 29, 67 (1992): compressibility and density (BIPM 1981/91).

Valid from 300 to 1700 nm, -40 to 100 degC, 80 to 120 kPa, to about 5e-8 (2e-8 in fair weather);
lower pressures extrapolate well because the index tends to 1.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.errors import LimitError

_GAS_J_MOL_K = 8.314510  # as in [1], not today's value, so that its tables are met
_WATER_KG_MOL = 0.018015


class AirLike(Protocol):
    """Anything that tells the state of air, such as the bench's air in a scene."""

    @property
    def temperature_K(self) -> float: ...  # noqa: N802 - unit suffix
    @property
    def pressure_Pa(self) -> float: ...  # noqa: N802 - unit suffix
    @property
    def humidity(self) -> float: ...
    @property
    def co2(self) -> float: ...


@dataclass(frozen=True)
class AirState:
    """Air: temperature, pressure, relative humidity (0 to 1), mole fraction of CO2."""

    temperature_K: float = 288.15  # noqa: N815 - unit suffix
    pressure_Pa: float = 101_325.0  # noqa: N815 - unit suffix
    humidity: float = 0.0
    co2: float = 450e-6


STANDARD = AirState()
_LIMITS = {
    "temperature_K": (200.0, 400.0),
    "pressure_Pa": (0.0, 200e3),
    "humidity": (0.0, 1.0),
    "co2": (0.0, 0.1),
}


def saturation_pressure_Pa(temperature_K: float) -> float:  # noqa: N802 - unit suffix
    """Vapour pressure of water over a flat surface: [2], quoted in [1] Appendix A."""
    t = temperature_K
    return float(np.exp(1.2378847e-5 * t * t - 1.9121316e-2 * t + 33.93711047 - 6.3431645e3 / t))


def index(wavelength_vacuum_m: ArrayLike, air: AirLike = STANDARD) -> Floats:
    """Phase index n of air at vacuum wavelengths. (...) [m] -> (...).

    n - 1 = (rho_a / rho_as) (n_as - 1) + (rho_v / rho_vs) (n_vs - 1), densities of the dry and the
    moist part at hand over those where the dispersion formulas were measured: [1] eq. (5).

    Raises
    ------
    LimitError
        Air far outside the range of the formulas.
    """
    s = 1e-12 / np.square(np.asarray(wavelength_vacuum_m, dtype=np.float64))
    dry = (5_792_105.0 / (238.0185 - s) + 167_917.0 / (57.362 - s)) * 1e-8
    dry = dry * (1.0 + 0.534e-6 * (air.co2 * 1e6 - 450.0))
    moist = 1.022e-8 * (295.235 + 2.6422 * s - 0.032380 * s**2 + 0.004028 * s**3)
    dry_density, moist_density = _density_ratios(air)
    return np.asarray(1.0 + dry_density * dry + moist_density * moist)


def _density_ratios(air: AirLike) -> tuple[float, float]:
    """Densities of the dry and the moist part over those of the dispersion formulas."""
    for key, (low, high) in _LIMITS.items():
        value = getattr(air, key)
        if not low <= value <= high:
            raise LimitError(
                "is outside the range of the air formulas",
                key=f"air.{key}",
                value=value,
                expected=f"{low:g} to {high:g}",
            )
    t, p = air.temperature_K, air.pressure_Pa
    if p == 0.0:
        return 0.0, 0.0
    molar = 1e-3 * (28.9635 + 12.011e-6 * (air.co2 * 1e6 - 400.0))
    celsius = t - 273.15
    enhancement = 1.00062 + 3.14e-8 * p + 5.6e-7 * celsius**2
    water = min(1.0, enhancement * air.humidity * saturation_pressure_Pa(t) / p)
    z = _compressibility(t, p, water)
    dry = p * molar * (1.0 - water) / (z * _GAS_J_MOL_K * t)
    moist = p * _WATER_KG_MOL * water / (z * _GAS_J_MOL_K * t)
    z_dry = _compressibility(288.15, 101_325.0, 0.0)
    z_moist = _compressibility(293.15, 1333.0, 1.0)
    dry_standard = 101_325.0 * molar / (z_dry * _GAS_J_MOL_K * 288.15)
    moist_standard = 1333.0 * _WATER_KG_MOL / (z_moist * _GAS_J_MOL_K * 293.15)
    return dry / dry_standard, moist / moist_standard


def _compressibility(temperature_K: float, pressure_Pa: float, water: float) -> float:
    t, c = temperature_K, temperature_K - 273.15
    q = pressure_Pa / t
    first = (
        1.58123e-6
        + c * (-2.9331e-8 + 1.1043e-10 * c)
        + water * (5.707e-6 - 2.051e-8 * c)
        + water**2 * (1.9898e-4 - 2.376e-6 * c)
    )
    return 1.0 - q * first + q**2 * (1.83e-11 - 0.765e-8 * water**2)


def from_vacuum(wavelength_vacuum_m: ArrayLike, air: AirLike = STANDARD) -> Floats:
    """Wavelength in air of light with the given vacuum wavelength: lambda / n. [m] -> [m]."""
    vacuum = np.asarray(wavelength_vacuum_m, dtype=np.float64)
    return np.asarray(vacuum / index(vacuum, air))


def to_vacuum(wavelength_air_m: ArrayLike, air: AirLike = STANDARD) -> Floats:
    """Vacuum wavelength of light with the given wavelength in air. [m] -> [m].

    Fixed point of lambda_vac = n(lambda_vac) lambda_air; each step gains four digits or more, and
    four steps reach rounding.
    """
    wavelength = np.asarray(wavelength_air_m, dtype=np.float64)
    vacuum = wavelength * 1.00028
    for _ in range(4):
        vacuum = wavelength * index(vacuum, air)
    return np.asarray(vacuum)


def stretch(wavelength_vacuum_m: ArrayLike) -> Floats:
    """d lambda_vac / d lambda_air in standard air, n / (1 - (lambda_vac / n) dn / d lambda_vac).

    With n of eq. (1) of [1], differentiated in closed form. (...) [m] -> (...).
    """
    vacuum = np.asarray(wavelength_vacuum_m, dtype=np.float64)
    s = 1e-12 / np.square(vacuum)
    rise = (5_792_105.0 / (238.0185 - s) ** 2 + 167_917.0 / (57.362 - s) ** 2) * 1e-8  # dn / ds
    n = index(vacuum)
    return np.asarray(n / (1.0 + 2.0 * s * rise / n))


def relative_to_standard(wavelength_m: ArrayLike, air: AirLike) -> Floats:
    """Wavelength in the given air over that in standard air. [m, standard air] -> dimensionless.

    Multiply a wavelength of a table by it to get the one that diffracts on a bench in that air.
    """
    vacuum = to_vacuum(wavelength_m)
    return np.asarray(index(vacuum) / index(vacuum, air))
