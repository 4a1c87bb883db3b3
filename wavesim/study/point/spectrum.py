"""The spectrum of one pixel: computed anew where it can be, else the plate's own."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim import light, plate
from wavesim.arrays import Floats
from wavesim.lightpath.pixel import has_pixel_light, pixel_light

VISIBLE_M = (390e-9, 730e-9)  # beyond, the eye has below 1e-3 of its best


@dataclass(frozen=True, eq=False)
class PointSpectrum:
    """Light of one pixel against wavelength.

    Attributes
    ----------
    wavelength_m : (n,) [m] in standard air, rising by even steps
    irradiance : (n,) [W m-2 nm-1] in the middle of the plate's height
    passed : (n,) what would be there of a source even in wavelength, its best value 1
    full : whether it was computed at full resolution; else from the plate's steps of 1 nm
    """

    wavelength_m: Floats
    irradiance: Floats
    passed: Floats
    full: bool

    @property
    def step_m(self) -> float:
        """Distance of two wavelengths [m]."""
        return float(self.wavelength_m[1] - self.wavelength_m[0])


def point_spectrum(exposed: plate.Plate, column: int) -> PointSpectrum:
    """Spectrum of the pixel in a column of a plate, in its middle row.

    Apertures in the plane, rulings that are not straight and parallel, and benches in the near
    field give the plate's own 1 nm steps.

    Raises
    ------
    LimitError
        The far field of that pixel needs more memory than there is.
    """
    if not has_pixel_light(exposed.scene):
        return _from_profile(exposed, column)
    found = pixel_light(exposed.scene, column, VISIBLE_M)
    return PointSpectrum(found.wavelength_m, found.irradiance, found.transmission, full=True)


def _from_profile(exposed: plate.Plate, column: int) -> PointSpectrum:
    """The plate's own spectrum, and what passed of each nanometre of the source."""
    lo, hi = VISIBLE_M
    nodes = np.linspace(lo, hi, round((hi - lo) * 1e9) + 1)
    profile = exposed.profile_spectrum[:, column]
    irradiance = np.interp(nodes, exposed.profile_wavelength_m, profile, left=0, right=0)
    sent = light.of_scene(exposed.scene).integrate(nodes - 0.5e-9, nodes + 0.5e-9)[0]
    bright = sent > 1e-3 * sent.max()
    passed = np.where(bright, irradiance / np.where(bright, sent, 1.0), 0.0)
    return PointSpectrum(nodes, irradiance, passed / max(float(passed.max()), 1e-300), full=False)
