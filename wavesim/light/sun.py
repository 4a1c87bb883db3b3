"""The Sun with its dark lines, above the air and from the ground.

    E(lambda) = continuum x product over 8,783 lines of (1 - depth V / V(0)) x air

from 380 to 780 nm; the ASTM G173-03 spectrum itself outside, and everywhere without lines.

Sources (see data/README.md for all): lines and continuum after Chance & Kurucz (2010), J. Quant.
Spectrosc. Radiat. Transfer 111, 1289, VALD3 (Ryabchikova et al. 2015, Phys. Scr. 90, 054005) and
Moore (1945); ASTM G173-03 as carried by colour-science. The continuum is scaled so that the
spectrum, smoothed to 1 nm, follows the extraterrestrial column of G173.

Sun as a star: whole disc, solar rest frame. The wavelengths of G173 are taken as air; its lines
lie 0.1 nm to the red of that, which the standard does not explain.

Accuracy of the numbers against the model (the table's own uncertainty is larger, see the README):
density within 3e-4 of the continuum, 1e-5 rms; power in a bin of 1 pm within 1e-4 of the
continuum's, in wider bins 6e-5.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import lru_cache
from math import factorial
from typing import Literal

import numpy as np

from wavesim import disk_cache
from wavesim.arrays import Floats, frozen
from wavesim.constants import SUN_SOLID_ANGLE_SR
from wavesim.light import oxygen, pieces
from wavesim.light.pieces import Spectrum
from wavesim.light.shipped import DATA
from wavesim.light.voigt import faddeeva, weideman

Air = Literal["above", "ground"]

G173_AIR_MASS = 1.5  # ASTM G173-03: the Sun 41.8 degrees above the horizon
LINES_LO_M, LINES_HI_M = 380e-9, 780e-9
_SPACING_PM = 1.0  # of the grid on which the transmission is evaluated; a quartic spans four steps
_STRIDE = 10  # the wings' grid is this much coarser
_BLOCK = 40  # grid steps: ranges start and end on multiples, so that parts equal the whole
_NEAR_PM = 60.0  # to either side of a line, evaluated on the fine grid
_CUT = 1e-7  # a wing is followed until it takes this part of the light
_TAYLOR_STEP = 1.0 / 1024.0
_TAYLOR_ORDERS = 6


@dataclass(frozen=True)
class SolarLines:
    """The line table: air wavelength [m], central depth, Gaussian and Lorentz FWHM [m], species.

    All arrays (8783,), in ascending wavelength.
    """

    wavelength_m: Floats
    depth: Floats
    gaussian_m: Floats
    lorentz_m: Floats
    species: tuple[str, ...]


@lru_cache(maxsize=1)
def lines() -> SolarLines:
    """The shipped line table."""
    with np.load(DATA / "solar.npz") as table:
        names = [str(name) for name in table["species_names"]]
        return SolarLines(
            frozen(table["wavelength_tenth_pm"] * 1e-13),
            frozen(table["depth_ten_thousandth"] * 1e-4),
            frozen(table["gaussian_hundredth_pm"] * 1e-14),
            frozen(table["lorentz_hundredth_pm"] * 1e-14),
            tuple(names[k] for k in table["species"]),
        )


@lru_cache(maxsize=1)
def g173() -> tuple[Floats, Floats, Floats, Floats]:
    """ASTM G173-03, 355 to 835 nm: wavelength [m]; irradiance above the air, direct with
    circumsolar, and on a 37 degree slope [W m-2 m-1]; (526,) each."""
    table = np.loadtxt(DATA / "astm_g173.csv", delimiter=",", skiprows=1)
    nm = 1e-9
    above, direct, tilted = (frozen(table[:, k] / nm) for k in (1, 2, 3))
    return frozen(table[:, 0] * nm), above, direct, tilted


@lru_cache(maxsize=1)
def _continuum() -> tuple[Floats, Floats]:
    with np.load(DATA / "solar.npz") as table:
        nm, density = table["continuum_nm"], table["continuum_W_m2_nm"]
        return frozen(nm * 1e-9), frozen(density * 1e9)


def continuum(wavelength_m: Floats) -> Floats:
    """Irradiance between the lines, above the air, 380 to 780 nm. [m] -> [W m-2 m-1]."""
    return np.asarray(np.interp(wavelength_m, *_continuum()))


@lru_cache(maxsize=1)
def _taylor() -> Floats:
    """Terms of V(x + i y) = sum_n y^n H_n(x) on an even grid of x from 0 to 8; (k, 6)."""
    x = np.arange(0.0, 8.0 + 3 * _TAYLOR_STEP, _TAYLOR_STEP)
    terms = [faddeeva(x.astype(np.complex128))]
    terms.append(-2.0 * x * terms[0] + 2j / np.sqrt(np.pi))
    for n in range(_TAYLOR_ORDERS - 2):
        terms.append(-2.0 * x * terms[-1] - 2.0 * (n + 1) * terms[-2])
    scaled = [(1j**n * term / factorial(n)).real for n, term in enumerate(terms)]
    return np.ascontiguousarray(np.stack(scaled, axis=1))


def transmission(
    table: Floats, lo_m: float = LINES_LO_M, hi_m: float = LINES_HI_M
) -> tuple[float, Floats]:
    """Product over lines on the even grid of 1 pm: first wavelength [m], values (4 k + 1,).

    Parameters
    ----------
    table : (n, 4) array
        Air wavelength [nm], depth, Gaussian and Lorentz FWHM [pm].
    lo_m, hi_m : float [m]
        The grid covers these, rounded outwards to blocks of 40 pm from 380 nm on.
    """
    from wavesim.light import kernels

    block = _BLOCK * _SPACING_PM
    first = int(np.floor((lo_m * 1e12 - 380e3) / block + 1e-6))
    last = int(np.ceil((hi_m * 1e12 - 380e3) / block - 1e-6))
    start = 380e3 + first * block
    scale, series = weideman()
    picometres = np.ascontiguousarray(table * [1e3, 1.0, 1.0, 1.0])
    fine, coarse = kernels.transmission(
        start, _SPACING_PM, (last - first) * _BLOCK + 1, _STRIDE, picometres, _CUT, _NEAR_PM,
        (_taylor(), _TAYLOR_STEP, scale, series),
    )  # fmt: skip
    return start * 1e-12, kernels.spread(fine, coarse, _STRIDE)


@lru_cache(maxsize=4)
def irradiance(
    air: Air = "above",
    *,
    with_lines: bool = True,
    telluric: bool = True,
    air_mass: float = G173_AIR_MASS,
    lo_m: float = 360e-9,
    hi_m: float = 830e-9,
) -> Spectrum:
    """Irradiance of the Sun on a surface that faces it, at one astronomical unit.

    From the ground it is the direct beam of G173: air mass 1.5, with the 2.5 degrees around the
    Sun (which add about 1 %); the sky is not in it. Through another air mass m the air's optical
    depth is m / 1.5 times that of G173 (Bouguer's law), a clear air of little haze; within some
    per cent down to 5 degrees above the horizon, where bands of water saturate less than that
    says. About 0.1 s for the whole range.

    Parameters
    ----------
    air : str
        "above" the air or from the "ground".
    with_lines : bool
        False: the steps of 0.5 to 1 nm of G173 as they are.
    telluric : bool
        With the oxygen bands A and B, resolved (with lines) or as in G173 (without). False
        bridges them. Bands of water vapour and ozone stay, as smooth as in G173.
    air_mass : float
        Of the way through the air, from the ground.
    lo_m, hi_m : float [m]
        Only this range is built.
    """
    depths = air_mass / G173_AIR_MASS if air == "ground" else 0.0
    lo_m, hi_m = max(lo_m, 360e-9), min(hi_m, 830e-9)
    parts = []
    if not with_lines:
        parts.append(_smooth(depths, lo_m, hi_m, bridged=not telluric))
    else:
        if lo_m < LINES_LO_M:
            parts.append(_smooth(depths, lo_m, min(hi_m, LINES_LO_M)))
        if lo_m < LINES_HI_M and hi_m > LINES_LO_M:
            parts.append(_with_lines(depths, max(lo_m, LINES_LO_M), min(hi_m, LINES_HI_M)))
        if hi_m > LINES_HI_M:
            parts.append(_smooth(depths, max(lo_m, LINES_HI_M), hi_m))
    whole = pieces.joined(*parts)
    if air == "ground" and telluric and with_lines:
        return _behind_oxygen(whole, depths)
    return whole


def radiance(irradiance_spectrum: Spectrum) -> Spectrum:
    """Mean radiance of the disc, E / 6.794e-5 sr."""
    return irradiance_spectrum.scaled(1.0 / SUN_SOLID_ANGLE_SR, "radiance")


def _smooth(depths: float, lo_m: float, hi_m: float, *, bridged: bool = False) -> Spectrum:
    wavelength, above, direct, _ = g173()
    passed = air_transmittance(wavelength) if bridged else direct / above
    values = above * passed**depths
    return pieces.from_nodes(wavelength, values, "irradiance", features_m=1e-9).clipped(lo_m, hi_m)


def _with_lines(depths: float, lo_m: float, hi_m: float) -> Spectrum:
    table = lines()
    columns = (table.wavelength_m * 1e9, table.depth, table.gaussian_m, table.lorentz_m)
    units = np.column_stack(columns) * [1.0, 1.0, 1e12, 1e12]
    start, values = _kept_transmission(units, lo_m, hi_m)
    steps = np.arange(values.size, dtype=np.float64)
    wavelength = np.asarray(start + steps * (_SPACING_PM * 1e-12), dtype=np.float64)
    values = values * continuum(wavelength)
    if depths:
        values = values * air_transmittance(wavelength) ** depths
    spectrum = pieces.from_grid(start, _SPACING_PM * 1e-12, values, 5e-12)
    return spectrum.scaled(1.0, "irradiance").with_error(1e-5).clipped(lo_m, hi_m)


def _behind_oxygen(whole: Spectrum, depths: float) -> Spectrum:
    """`oxygen.absorbed`, kept between runs."""

    def packed(spectrum: Spectrum) -> Floats:
        return np.column_stack([spectrum.lo_m, spectrum.hi_m, spectrum.coefficient])

    before = packed(whole)
    shape = (None, before.shape[1])
    rows = disk_cache.grid(
        before,
        (*oxygen.SETTINGS, depths),
        lambda: packed(oxygen.absorbed(whole, depths)),
        shape,
    )
    lo_m, hi_m, coefficient = rows[:, 0].copy(), rows[:, 1].copy(), rows[:, 2:].copy()
    return replace(
        whole, lo_m=lo_m, hi_m=hi_m, coefficient=coefficient, error=max(whole.error, 1e-5)
    )


def _kept_transmission(table: Floats, lo_m: float, hi_m: float) -> tuple[float, Floats]:
    """`transmission`, kept between runs where the whole range is asked for."""
    if (lo_m, hi_m) != (LINES_LO_M, LINES_HI_M):
        return transmission(table, lo_m, hi_m)
    settings = (_SPACING_PM, _STRIDE, _BLOCK, _NEAR_PM, _CUT, lo_m, hi_m)
    size = round((hi_m - lo_m) * 1e12 / _SPACING_PM) + 1
    made = disk_cache.grid(table, settings, lambda: transmission(table, lo_m, hi_m)[1], (size,))
    return LINES_LO_M, made


def air_transmittance(wavelength_m: Floats) -> Floats:
    """Direct over extraterrestrial irradiance of G173, the oxygen bands bridged. (...) [m]."""
    nodes, above, direct, _ = g173()
    ratio = direct / above
    keep = np.ones(nodes.size, dtype=bool)
    for lo, hi in oxygen.RANGES_M:
        keep &= (nodes < lo + 0.5e-9) | (nodes > hi - 0.5e-9)
    return np.asarray(np.interp(wavelength_m, nodes[keep], ratio[keep]))


def air_mass_at(height_rad: float) -> float:
    """Relative optical air mass with the Sun that high above the horizon.

        m = 1 / (sin h + 0.50572 (h + 6.07995)^-1.6364),   h in degrees

    Kasten & Young (1989), Appl. Opt. 28, 4735, eq. (3): 1 in the zenith, 38 at the horizon.
    """
    bent = 0.50572 * (math.degrees(height_rad) + 6.07995) ** -1.6364
    return float(1.0 / (math.sin(height_rad) + bent))
