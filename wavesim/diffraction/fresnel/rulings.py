"""Near field of rulings, one wavelength at a time: by edges, or by chirped positions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.combs import Aperture, Comb
from wavesim.aperture.elements import Rays, Slit
from wavesim.arrays import Complexes, Floats
from wavesim.diffraction.far.running import RunningIntegral, integral_of
from wavesim.diffraction.far.sampling import sampled
from wavesim.diffraction.fresnel.edges import slit_near
from wavesim.diffraction.fresnel.wavefront import Wavefront

_FEW = 40  # slits up to which each has its own Fresnel integrals
PHASE_RAD = 0.05  # half the phase across an element that one phase may stand for: 4e-4 of its light
_MOST_PARTS = 4096


@dataclass(frozen=True, eq=False)
class NearRulings:
    """Rulings with the path of the waves over them.

    Attributes
    ----------
    aperture : elements and positions along x
    front : path over the aperture
    parts : pieces that each element is cut into so that one phase is enough for each; 0 where
        Fresnel's integrals serve
    """

    aperture: Aperture
    front: Wavefront
    parts: int

    def amplitude(self, u_per_m: Floats, wavelength_m: float, sine_in: float = 0.0) -> Complexes:
        """A [m] on an even grid of u."""
        if self.parts == 0:
            return self._by_edges(u_per_m, wavelength_m)
        front = self.front.at(wavelength_m)
        total = np.zeros(u_per_m.size, dtype=np.complex128)
        rays = Rays(sine_in, u_per_m * wavelength_m - sine_in, wavelength_m)
        step = float(u_per_m[1] - u_per_m[0])
        for comb in self.aperture.combs:
            cut = _cut(comb, self.parts)
            path = front.path_m(cut.position_m, np.zeros(1))
            weight = cut.weight * np.exp(2j * math.pi / wavelength_m * path)
            turned = Comb(cut.element, cut.position_m, weight)
            part = sampled(turned, 0.0, float(u_per_m[0]), step, u_per_m.size)
            total += part * cut.element.amplitude(rays)
        return total

    def _by_edges(self, u: Floats, wavelength_m: float) -> Complexes:
        total = np.zeros(u.size, dtype=np.complex128)
        k = self.front.at(wavelength_m).curvature_x_per_m
        for comb in self.aperture.combs:
            half = comb.element.width_m / 2
            for x, w in zip(comb.position_m, comb.weight, strict=True):
                total += w * slit_near(x - half, x + half, u, k, wavelength_m)
        return total

    def integral(
        self,
        first_per_m: float,
        last_per_m: float,
        wavelength_m: float,
        *,
        sine_in: float,
        again: bool,
    ) -> RunningIntegral:
        """Running integral of |A|^2 over u at one wavelength."""

        def power(u: Floats) -> Floats:
            field = self.amplitude(u, wavelength_m, sine_in)
            return np.asarray(field.real**2 + field.imag**2)

        width, costly = self.aperture.width_m, self.aperture.of_u_alone
        return integral_of(power, width, first_per_m, last_per_m, again=again, costly=costly)


def near_rulings(aperture: Aperture, front: Wavefront) -> NearRulings:
    """Choose between edges and pieces.

    An element is cut so that half the phase across a piece, pi w k x / lambda at 400 nm, stays
    below `PHASE_RAD`; elements that change the phase themselves (grooves) are never cut.
    """
    slits = all(isinstance(c.element, Slit) for c in aperture.combs)
    if slits and aperture.elements <= _FEW and front.aberrations is None:
        return NearRulings(aperture, front, 0)
    lo, hi = aperture.span_m
    slope = front.slope(max(abs(lo), abs(hi)), 1e-9) if slits else 0.0
    widest = max(c.element.width_m for c in aperture.combs)
    parts = math.ceil(math.pi * slope * widest / 400e-9 / PHASE_RAD)
    return NearRulings(aperture, front, min(max(parts, 1), _MOST_PARTS))


def _cut(comb: Comb, parts: int) -> Comb:
    """The same slits as pieces that touch."""
    if parts == 1 or not isinstance(comb.element, Slit):
        return comb
    width = comb.element.width_m / parts
    offset = (np.arange(parts) - (parts - 1) / 2) * width
    position = (comb.position_m[:, None] + offset).ravel()
    return Comb(Slit(width), position, np.repeat(comb.weight, parts))
