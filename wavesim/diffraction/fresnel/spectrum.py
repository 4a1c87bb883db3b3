"""Exact propagation of plane waves from holes in the plane to a parallel plate.

    U(x, y) = integral of A(nu + sin(alpha) / lambda, mu) exp(2 pi i (nu x + mu y + z w)) dnu dmu,
    w = sqrt(1 / lambda^2 - nu^2 - mu^2)

(Goodman 3.10): the far field A of the aperture is the spectrum of the field in it, known in
closed form, so edges of any shape are exact. Light too steep to reach the plate is left out
smoothly before the transform's period would bring it round again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.plane import PlaneAperture
from wavesim.arrays import Complexes, Floats
from wavesim.diffraction.planar.sampling import spectrum_of_groups
from wavesim.diffraction.planar.summed import AFTER, BEFORE, Grid, SummedTable, summed

_FADING = 0.25  # of the farthest ray from aperture to plate, over which light is left out
ZONES = 6.0  # sqrt(lambda z) that this takes at least, so that no ray is cut halfway
_PER_FRINGE = 6.0  # samples of the light to the finest fringe, of rays from the aperture's ends
MOST_SIDE = 6144  # samples on a side: 600 MB of field


@dataclass(frozen=True, eq=False)
class ExactPlane:
    """Holes at a distance in front of a parallel plate.

    Attributes
    ----------
    aperture : elements at their positions
    distance_m : z [m] of the plate
    reach_m : half width and half height of the plate about the axis [m]
    """

    aperture: PlaneAperture
    distance_m: float
    reach_m: tuple[float, float]

    def side(self, wavelength_m: float) -> tuple[int, int]:
        """Samples along x and y."""
        return self._samples(0, wavelength_m), self._samples(1, wavelength_m)

    def directions(self, wavelength_m: float) -> tuple[int, int]:
        """Directions along x and y in which waves are propagated."""
        return self._axis(0, wavelength_m)[0], self._axis(1, wavelength_m)[0]

    def _samples(self, k: int, wavelength_m: float) -> int:
        """Samples of the field: as many as directions, and enough for its fringes."""
        from scipy.fft import next_fast_len

        count, period = self._axis(k, wavelength_m)
        half = self.aperture.size_m[k] / 2
        finest = 2 * half / math.hypot(half, self.distance_m) / wavelength_m
        return int(next_fast_len(max(count, math.ceil(_PER_FRINGE * finest * period))))

    def _axis(self, k: int, wavelength_m: float) -> tuple[int, float]:
        """Directions and period [m] along x (0) or y (1)."""
        ray, fading = self._rays(k, wavelength_m)
        last = ray + fading
        largest_sine = last / math.hypot(last, self.distance_m)
        period = ray + last + fading
        return 2 * math.ceil(largest_sine / wavelength_m * period) + 8, period

    def _rays(self, k: int, wavelength_m: float) -> tuple[float, float]:
        """Farthest displacement [m] from aperture to plate, and over how much more light fades."""
        box = self.aperture.box_m[2 * k : 2 * k + 2]
        zone = math.sqrt(wavelength_m * self.distance_m)
        ray = self.reach_m[k] + max(abs(edge) for edge in box) + ZONES / 2 * zone
        return ray, max(_FADING * ray, ZONES * zone)

    def table(self, wavelength_m: float, sine_in: float) -> SummedTable:
        """|U|^2 summed over the plate in u = x / (lambda z), v = y / (lambda z)."""
        from scipy.fft import ifft2, ifftshift

        z = self.distance_m
        (nx, wide), (ny, high) = (self._axis(k, wavelength_m) for k in (0, 1))
        mx, my = self.side(wavelength_m)
        nu, mu = (np.arange(nx) - nx // 2) / wide, (np.arange(ny) - ny // 2) / high
        shifted = Grid(nu[0] + sine_in / wavelength_m, 1 / wide, nx, mu[0], 1 / high, ny)
        padded = np.zeros((my, mx), dtype=np.complex128)
        part = padded[my // 2 - ny // 2 :, mx // 2 - nx // 2 :][:ny, :nx]
        spectrum_of_groups(self.aperture, shifted, part)
        rays = (self._rays(0, wavelength_m), self._rays(1, wavelength_m))
        across, along = (
            np.arange(n // 2 + 1) / side * wavelength_m for n, side in ((nx, wide), (ny, high))
        )
        _multiply(part, _turned(across, along, z, wavelength_m, rays))
        field = ifft2(ifftshift(padded), overwrite_x=True, workers=2)
        scale = mx * my / (wide * high)
        power = np.fft.fftshift(field.real**2 + field.imag**2) * (scale * wavelength_m * z) ** 2
        step_x, step_y = wide / mx, high / my
        x = _within(mx, step_x, self.reach_m[0])
        y = _within(my, step_y, self.reach_m[1])
        unit = wavelength_m * z
        grid = Grid(
            (x.start - mx // 2) * step_x / unit, step_x / unit, x.stop - x.start,
            (y.start - my // 2) * step_y / unit, step_y / unit, y.stop - y.start,
        )  # fmt: skip
        return summed(np.ascontiguousarray(power[y, x]), grid, fine=True)


Rays = tuple[tuple[float, float], tuple[float, float]]


def _multiply(part: Complexes, quarter: Complexes) -> None:
    """Directions (ny, nx), both even, by what is the same for four of them."""
    y, x = (n // 2 for n in part.shape)
    part[y:, x:] *= quarter[:-1, :-1]
    part[y:, :x] *= quarter[:-1, :0:-1]
    part[:y, x:] *= quarter[:0:-1, :-1]
    part[:y, :x] *= quarter[:0:-1, :0:-1]


def _turned(sine_x: Floats, sine_y: Floats, z: float, wavelength_m: float, rays: Rays) -> Complexes:
    """What propagation does to each direction, less the phase common to all."""
    square = sine_x**2 + (sine_y**2)[:, None]
    cosine = np.sqrt(np.maximum(1 - square, 0.0))
    out = np.exp(-2j * math.pi / wavelength_m * z * square / (1 + cosine))
    out *= square < 1
    sides = (np.abs(sine_x), np.abs(sine_y)[:, None])
    for sine, (ray, fading) in zip(sides, rays, strict=True):
        away = z * sine / np.maximum(cosine, 1e-9)
        t = np.clip((ray + fading - away) / fading, 0.0, 1.0)
        out *= t * t * t * (10 - 15 * t + 6 * t * t)
    return np.asarray(out)


def _within(count: int, step: float, reach: float) -> slice:
    """Samples over the plate, with those that the table's interpolation needs."""
    half = math.ceil(reach / step) + 1
    first, last = count // 2 - half - BEFORE - 1, count // 2 + half + AFTER + 2
    return slice(max(first, 0), min(last, count))
