"""Spectral lines: lamps of one element, and lasers.

A lamp line is a Voigt profile: Gaussian from the Doppler effect,

    G = lambda sqrt(8 ln 2 k T / (m c^2)),

Lorentzian from natural damping and collisions,

    L = lambda^2 / c x (A / 2 pi + C p),   A = 1e8 / s,   C = 0.15 MHz / Pa (full width).

A and C are orders of magnitude common to all lines (common practice, no source): Doppler width
dominates in a low-pressure lamp. Stark broadening, hyperfine structure and isotopes are not
modelled; the fine structure of hydrogen and helium is.

Self-reversal: the light passes cooler vapour (half the temperature, no collisions) that absorbs
exp(-tau profile / profile(0)); tau is `reversal` for sodium D2 and half of it for D1.

Wings are cut where less than 1e-3 of the line remains outside (at most 5 nm away) and what is
cut is given back to the line, so the power of each line is as tabulated.

Wavelengths, strengths and their origins stand row by row in data/lamps.csv.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats, Indices
from wavesim.constants import ATOMIC_MASS_KG, BOLTZMANN_J_K, LIGHT_SPEED_M_S
from wavesim.errors import SceneError
from wavesim.light import pieces
from wavesim.light.pieces import Spectrum
from wavesim.light.shipped import rows
from wavesim.light.voigt import voigt, voigt_fwhm

MASS_U = {"H": 1.008, "He": 4.0026, "Ne": 20.180, "Na": 22.990, "Cd": 112.414, "Hg": 200.592}
# gas temperature of a usual lamp [K]: common practice, no source
TEMPERATURE_K = {"H": 600.0, "He": 400.0, "Ne": 400.0, "Na": 530.0, "Cd": 600.0, "Hg": 350.0}
_DAMPING_PER_S = 1e8
_COLLISIONS_HZ_PA = 0.15e6
_FARTHEST_M = 5e-9
_ROUNDING_M = 1e-22  # to which doubles hold a visible wavelength
_NARROWEST_M = 1e-16  # a laser line narrower than this is drawn so wide


@dataclass(frozen=True)
class Lines:
    """Lines with their profiles: all arrays (n,), widths FWHM [m], ascending wavelength (air)."""

    wavelength_m: Floats
    strength: Floats
    gaussian_m: Floats
    lorentz_m: Floats
    optical_depth: Floats
    absorber_m: Floats


def lines(
    element: str,
    *,
    temperature_K: float | None = None,
    pressure_Pa: float | None = None,
    reversal: float = 0.0,
) -> Lines:
    """The lines of an element's lamp.

    Raises
    ------
    SceneError
        Reversal asked of an element without resonance lines in the visible.
    """
    table = [row for row in rows("lamps.csv") if row["element"] == element]
    order = np.argsort([float(row["wavelength_air_nm"]) for row in table])
    wavelength, strength, depth = (
        np.array([float(table[k][key]) for k in order])
        for key in ("wavelength_air_nm", "strength", "optical_depth")
    )
    if reversal > 0.0 and not depth.any():
        raise SceneError(
            "this lamp has no self-reversed line in the visible",
            key="source.reversal",
            value=reversal,
            expected='element = "Na", or no reversal',
        )
    wavelength = wavelength * 1e-9
    temperature = TEMPERATURE_K[element] if temperature_K is None else temperature_K
    width = doppler_m(wavelength, temperature, MASS_U[element])
    rate = _DAMPING_PER_S / (2.0 * np.pi) + _COLLISIONS_HZ_PA * (pressure_Pa or 0.0)
    lorentz = wavelength**2 / LIGHT_SPEED_M_S * rate
    return Lines(wavelength, strength, width, lorentz, depth * reversal, width / np.sqrt(2.0))


def doppler_m(wavelength_m: Floats, temperature_K: float, mass_u: float) -> Floats:
    """Doppler full width at half maximum [m]."""
    speed = np.sqrt(8.0 * np.log(2.0) * BOLTZMANN_J_K * temperature_K / (mass_u * ATOMIC_MASS_KG))
    return np.asarray(wavelength_m * speed / LIGHT_SPEED_M_S)


def laser(wavelength_m: float, linewidth_m: float) -> Spectrum:
    """A Gaussian line of unit power and the given full width at half maximum.

    Gaussian because the linewidth of a bench laser is that of its jitter and modes, not the
    Lorentzian of its phase noise; a Lorentzian's wings would light the whole plate faintly.

    Raises
    ------
    SceneError
        The linewidth is more than a tenth of the wavelength.
    """
    if linewidth_m > wavelength_m / 10.0:
        raise SceneError(
            "is too wide for a laser",
            key="source.linewidth",
            value=f"{linewidth_m:g} m",
            expected='at most a tenth of the wavelength, or kind = "led" or "band"',
        )
    unity = np.array([1.0])
    width = max(linewidth_m, _NARROWEST_M)
    return spectrum(
        Lines(unity * wavelength_m, unity, unity * width, 0.0 * unity, 0.0 * unity, unity * width)
    )


def spectrum(table: Lines) -> Spectrum:
    """Irradiance of lines, each as strong as its strength says (before reversal)."""
    narrowest = float(
        min(voigt_fwhm(g, v) for g, v in zip(table.gaussian_m, table.lorentz_m, strict=True))
    )
    reach = _reach(table)
    lo_m, hi_m = _breaks(table, reach)
    middle = (lo_m + hi_m) / 2.0
    first = np.searchsorted(np.maximum.accumulate(table.wavelength_m + reach), middle)
    last = np.searchsorted(np.minimum.accumulate((table.wavelength_m - reach)[::-1])[::-1], middle)
    most = int((last - first).max())

    def density(wavelength: Floats, part: Indices) -> Floats:
        total, depth = np.zeros(wavelength.shape), np.zeros(wavelength.shape)
        centre = middle[part]
        for step in range(most):
            line = np.minimum(first[part] + step, table.wavelength_m.size - 1)
            inside = (first[part] + step < last[part]) & (
                np.abs(centre - table.wavelength_m[line]) < reach[line]
            )
            total += np.where(inside, _emission(table, reach, wavelength, line), 0.0)
            depth += np.where(inside, _absorption(table, wavelength, line), 0.0)
        return np.asarray(total * np.exp(-depth))

    tolerance = 1e-8 + 10.0 * _ROUNDING_M / narrowest
    lo_m, hi_m, coefficient = pieces.fit(density, lo_m, hi_m, tolerance=tolerance)
    return Spectrum(lo_m, hi_m, coefficient, "irradiance", narrowest, tolerance)


def _emission(table: Lines, reach: Floats, wavelength: Floats, line: Indices) -> Floats:
    offset = wavelength - table.wavelength_m[line]
    lorentz = table.lorentz_m[line]
    inside = 2.0 / np.pi * np.arctan2(2.0 * reach[line], lorentz)
    return table.strength[line] / inside * voigt(offset, table.gaussian_m[line], lorentz)


def _absorption(table: Lines, wavelength: Floats, line: Indices) -> Floats:
    """Optical depth of the vapour in front."""
    offset = (wavelength - table.wavelength_m[line]) / table.absorber_m[line]
    return np.asarray(table.optical_depth[line] * np.exp(-4.0 * np.log(2.0) * offset**2))


def _reach(table: Lines) -> Floats:
    """Distance from its centre at which a line is cut [m]."""
    wings = np.minimum(640.0 * table.lorentz_m, _FARTHEST_M)
    return np.asarray(np.maximum(4.0 * table.gaussian_m, wings))


def _breaks(table: Lines, reach: Floats) -> tuple[Floats, Floats]:
    """First pieces: ends at every line's centre, flanks and cuts; none where there is no light."""
    steps = np.array([-2.0, -1.0, -0.5, 0.0, 0.5, 1.0, 2.0])
    flanks = table.wavelength_m[:, None] + table.gaussian_m[:, None] * steps
    lo, hi = table.wavelength_m - reach, table.wavelength_m + reach
    ends = np.unique(np.concatenate((flanks.ravel(), lo, hi)))
    middle = (ends[1:] + ends[:-1]) / 2.0
    illuminated = np.searchsorted(np.sort(lo), middle) > np.searchsorted(np.sort(hi), middle)
    return ends[:-1][illuminated], ends[1:][illuminated]
