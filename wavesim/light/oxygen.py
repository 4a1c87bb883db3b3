"""The A and B bands of oxygen in the Earth's air, line by line.

Positions are computed from the constants of the molecule (see the generator of the table), not
observed. Against the telluric spectrum that the package arve 0.8.3 carries, the lines of B agree to
1 pm; the origin of A was moved to meet its band there, and checked by its head only.
Each line is a Voigt profile at one mean pressure and temperature of the path, and the strength of
each band is set so that it takes away as much light as the same band of ASTM G173 (air mass 1.5).
So positions and the look of the bands are right; single depths are good to some per cent, and the
far wings (line mixing, pressure varying with height) are not modelled.
"""

from __future__ import annotations

from functools import cache, partial

import numpy as np

from wavesim.arrays import Floats, frozen
from wavesim.light import pieces
from wavesim.light.pieces import Spectrum
from wavesim.light.shipped import rows

# where the bands stand in G173, at its own resolution
RANGES_M = ((686.0e-9, 693.0e-9), (758.0e-9, 772.0e-9))
# integral of the optical depth over each band [m]: matches the power that G173 lacks there
BAND_STRENGTH_M = {"B": 3.341e-9, "A": 1.1918e-7}
_PRESSURE_FWHM_PER_M = 5.0  # 0.05 / cm: half the width at the ground, common practice
_DOPPLER = 7.16e-7 * float(np.sqrt(250.0 / 32.0))  # FWHM over wavelength at 250 K

# all that the result depends on besides the spectrum and the table of lines
SETTINGS = (*BAND_STRENGTH_M.values(), _PRESSURE_FWHM_PER_M, _DOPPLER)


@cache
def lines(band: str) -> tuple[Floats, Floats]:
    """Air wavelengths [m] of a band's lines, and their shares of its strength; (n,) each."""
    table = [row for row in rows("oxygen_lines.csv") if row["band"] == band]
    return (
        frozen(np.array([float(row["wavelength_air_nm"]) * 1e-9 for row in table])),
        frozen(np.array([float(row["share"]) for row in table])),
    )


def transmittance(wavelength_m: Floats, band: str, strength_m: float) -> Floats:
    """exp(-optical depth) of one band. (...) [m] -> (...)."""
    from wavesim.light import kernels
    from wavesim.light.voigt import weideman

    centre, strength = lines(band)
    middle = float(centre.mean())
    depth = kernels.optical_depth(
        np.ascontiguousarray(wavelength_m).ravel(),
        centre,
        strength * strength_m,
        _DOPPLER * middle,
        _PRESSURE_FWHM_PER_M * middle**2,
        *weideman(),
    )
    return np.asarray(np.exp(-depth).reshape(wavelength_m.shape))


def absorbed(spectrum: Spectrum, air_masses: float = 1.0) -> Spectrum:
    """The spectrum behind the air's oxygen; only the two bands' ranges are touched.

    `air_masses` is the path over that of ASTM G173.
    """
    parts = []
    done = 0.0
    for band, (start, end) in zip(BAND_STRENGTH_M, RANGES_M, strict=True):
        parts.append(spectrum.clipped(done, start))
        behind = partial(transmittance, band=band, strength_m=BAND_STRENGTH_M[band] * air_masses)
        # black line centres need no relative accuracy: the floor is the brightest point
        inside = spectrum.clipped(start, end)
        parts.append(inside.times(behind, tolerance=1e-5, floor=1.0).nonnegative())
        done = end
    parts.append(spectrum.clipped(done, np.inf))
    return pieces.joined(*[part for part in parts if part.lo_m.size])
