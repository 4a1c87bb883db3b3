"""What the material adds: photon noise, grain, and halation. Each returns new XYZ.

Noise is seeded and therefore repeatable. One number is drawn per pixel and multiplies X, Y and Z
alike, as on a panchromatic plate: hue and mean are kept, and no value can turn negative. The
coloured noise of separate layers is not modelled.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.colorimetry.spaces import ADAPTATIONS
from wavesim.constants import LIGHT_SPEED_M_S, LUMINOUS_EFFICACY_LM_W, PLANCK_J_S
from wavesim.errors import InputError, positive, within
from wavesim.random_streams import stream

_PEAK_M = 555e-9  # where V is 1
_GRANULARITY_APERTURE_M2 = math.pi * 24e-6**2  # 48 um disc: common practice for RMS granularity


@dataclass(frozen=True)
class Material:
    """What a plate or sensor adds to the light: halation, then photon noise, then grain.

    Attributes
    ----------
    halation : part of the light that is scattered into a halo
    halo_radius_m : [m] of that halo
    noise : photon noise of a sensor that counts half as many photons as light of 555 nm has at
        that luminous exposure: 14 % of daylight's (D65, 360 to 830 nm), as sensors behind colour
        filters do
    rms_granularity : standard deviation of density through a 48 um disc; 0.01 is a fine film
    seed : of noise and grain
    """

    halation: float = 0.0
    halo_radius_m: float = 60e-6
    noise: bool = False
    rms_granularity: float = 0.0
    seed: int = 0

    def exposed(
        self, xyz: ArrayLike, *, white_xyz: ArrayLike, white_level: float, pixel_m: float
    ) -> Floats:
        """XYZ (ny, nx, 3) [lx s] of what such a material records of the exposures `xyz`.

        Raises
        ------
        InputError
            A value out of range.
        """
        recorded = _finite(xyz)
        if self.halation:
            part, radius = self.halation, self.halo_radius_m
            recorded = halation(recorded, fraction=part, radius_m=radius, pixel_m=pixel_m)
        if self.noise:
            photons = photons_at_white(white_level, pixel_m)
            recorded = photon_noise(
                recorded,
                white_xyz=white_xyz,
                white_level=white_level,
                photons=photons,
                seed=self.seed,
            )
        if self.rms_granularity:
            rms, seed = self.rms_granularity, self.seed + 1
            recorded = grain(recorded, rms_granularity=rms, pixel_m=pixel_m, seed=seed)
        return recorded


def photons_at_white(white_level: float, pixel_m: float, *, efficiency: float = 0.5) -> float:
    """Photons that a pixel counts at white: eta H A lambda / (683 lm/W h c), at 555 nm.

    white_level H [lx s], pixel side [m], efficiency eta 0..1 of light of 555 nm. Daylight has
    3.5 times as many photons to the lumen, so that 0.5 is 14 % of those of D65 (common practice
    for a sensor behind colour filters; a few per cent for film).
    """
    for name, value in (("white_level", white_level), ("pixel_m", pixel_m)):
        positive(name, value)
    within("efficiency", efficiency, 0.0, 1.0, above_low=True)
    energy_J = white_level * pixel_m**2 / LUMINOUS_EFFICACY_LM_W
    return efficiency * energy_J * _PEAK_M / (PLANCK_J_S * LIGHT_SPEED_M_S)


def photon_noise(
    xyz: ArrayLike, *, white_xyz: ArrayLike, white_level: float, photons: float, seed: int
) -> Floats:
    """XYZ (..., 3) [lx s] times n / m, n a Poisson count of mean m; m is `photons` at white.

    m goes by the mean of the three cone signals (CAT16) over white's, so that blue light,
    which has little Y, still counts. Standard deviation 1 / sqrt(photons) of white at white.

    Raises
    ------
    InputError
        Values that are not finite, or `photons` or `white_level` out of range.
    """
    within("photons", photons, 0.0, 1e15, above_low=True)
    positive("white_level", white_level)
    values = _finite(xyz)
    signal = ADAPTATIONS["cat16"].sum(axis=0)
    white = np.asarray(white_xyz, dtype=np.float64)
    mean = np.maximum(values @ signal, 0) * (photons * white[1] / (white_level * (white @ signal)))
    counts = stream(seed).poisson(np.minimum(mean, 1e18))
    factor = counts / np.where(mean > 0, mean, 1.0)
    return np.asarray(values * factor[..., None])


def grain(xyz: ArrayLike, *, rms_granularity: float, pixel_m: float, seed: int) -> Floats:
    """XYZ (..., 3) multiplied by 10^d, d Gaussian with the film's density noise.

    `rms_granularity` is the standard deviation of density through a 48 um disc (0.01 is a
    fine-grained film; makers quote it times 1,000). By Selwyn's law (Photogr. J. 75, 571
    (1935)) it grows as 1 / sqrt(area) down to the pixel [m]. Holds for pixels larger than the
    grains (about 1 um); grain is taken as white noise and the same at every density.
    """
    within("rms_granularity", rms_granularity, 0.0, 1.0, above_low=True)
    positive("pixel_m", pixel_m)
    values = _finite(xyz)
    spread = rms_granularity * math.sqrt(_GRANULARITY_APERTURE_M2) / pixel_m
    density = stream(seed).normal(0.0, spread, values.shape[:-1])
    # a log-normal factor has mean exp(s^2 / 2): taken out, so that the light is kept
    factor = np.exp(math.log(10) * density - (math.log(10) * spread) ** 2 / 2)
    return np.asarray(values * factor[..., None])


def halation(xyz: ArrayLike, *, fraction: float, radius_m: float, pixel_m: float) -> Floats:
    """XYZ (ny, nx, 3) with `fraction` of the light scattered to an exponential halo.

    Point spread (1 - f) delta + f exp(-r / r0) / (2 pi r0^2), r0 = `radius_m`; its transform is
    1 - f + f (1 + (2 pi r0 k)^2)^(-3/2), multiplied in by FFT. The total is kept; the plate is
    padded with darkness by 16 r0, and what would scatter beyond its edge is lost. The shape is a
    common choice, not a measured film.
    """
    from scipy.fft import next_fast_len

    within("fraction", fraction, 0.0, 1.0)
    positive("radius_m", radius_m)
    values = _finite(xyz)
    if values.ndim != 3:
        raise InputError("halation needs a plate", key="xyz", value=values.shape)
    pad = math.ceil(16 * radius_m / positive("pixel_m", pixel_m))
    rows, columns = values.shape[:2]
    size = [next_fast_len(n + pad, real=True) for n in (rows, columns)]
    k_y, k_x = np.fft.fftfreq(size[0], pixel_m), np.fft.rfftfreq(size[1], pixel_m)
    k_squared = k_y[:, None] ** 2 + k_x**2
    spread = 1 - fraction + fraction * (1 + (2 * math.pi * radius_m) ** 2 * k_squared) ** -1.5
    out = np.empty_like(values)
    for channel in range(3):
        transform = np.fft.rfft2(values[..., channel], s=size)
        out[..., channel] = np.fft.irfft2(transform * spread, s=size)[:rows, :columns]
    return out


def _finite(xyz: ArrayLike) -> Floats:
    values = np.asarray(xyz, dtype=np.float64)
    if values.shape[-1:] != (3,) or not np.all(np.isfinite(values)):
        raise InputError("finite X, Y, Z on the last axis are needed", key="xyz")
    return values
