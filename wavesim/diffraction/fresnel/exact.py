"""Exact propagation of plane waves from rulings to a plate that stands parallel to them.

The first Rayleigh-Sommerfeld solution in two dimensions (x and z; Goodman 3.5, Born & Wolf 8.11),

    U(x) = sqrt(1 / i lambda) integral of t(x') exp(i k s x') z r^(-3/2) exp(i k r) dx',
    r = sqrt(z^2 + (x - x')^2),  s = -sin(alpha),

without Fresnel's approximation of r, |t| = 1 giving |U| = 1 behind an open aperture. The next
term of the kernel, 3 i / (8 k r) of it, is left out: 3e-5 at z = 1 mm.

Few clear slits are taken edge by edge. The field behind a half-plane that begins at a is, with
xi = x - a, c = cos(alpha) and w = 2 (c xi - s z) / sqrt(lambda (r + s xi + c z)),

    exp(i k (s x + c z)) E(w)  +  exp(i k (s a + r)) (the kernel's own edge wave less that of E),

E(w) = (1 + i)^-1 times Fresnel's integral from -infinity: the uniform asymptotic expansion of an
end point near a stationary point (Bleistein 1966, Comm. Pure Appl. Math. 19, 353), whose error
is of the order lambda / z of an edge wave.

Many slits, and grooves, go through the angular spectrum: the far field A(u) is the spectrum of
the field in the aperture, which sqrt(1 / lambda^2 - nu^2) turns; light that cannot reach the
plate's part looked at is left out before it comes round again.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.combs import Aperture
from wavesim.aperture.elements import Rays, Slit
from wavesim.arrays import Complexes, Floats
from wavesim.diffraction.far.running import RunningIntegral, guarded, integrate
from wavesim.diffraction.far.sampling import sampled
from wavesim.diffraction.fresnel.spectrum import ZONES
from wavesim.errors import LimitError

FEW = 40  # slits up to which each edge is taken by itself
_NEAREST = 1e-5  # of w: nearer to the shadow's edge the smooth remainder is taken there
_CELLS = 16  # of the running integral per period of the finest fringe
_MOST_MODES = 1 << 24  # of an angular spectrum: 256 MB
ERROR = 1e-4  # of the brightest point, at z = 1 mm and more (tests/test_near_exact.py)


@dataclass(frozen=True, eq=False)
class ExactRulings:
    """Rulings at a distance in front of a parallel plate.

    Attributes
    ----------
    aperture : elements and positions along x
    distance_m : z [m] of the plate
    """

    aperture: Aperture
    distance_m: float

    @property
    def by_edges(self) -> bool:
        """Whether each edge is taken by itself."""
        slits = all(isinstance(c.element, Slit) for c in self.aperture.combs)
        return slits and self.aperture.elements <= FEW

    def field(self, x_m: Floats, wavelength_m: float, sine_in: float = 0.0) -> Complexes:
        """U at positions x [m] on the plate, of unit amplitude in the aperture."""
        if self.by_edges:
            return self._by_edges(x_m, wavelength_m, sine_in)
        return self._by_spectrum(x_m, wavelength_m, sine_in)

    def finest_per_m(self, wavelength_m: float) -> float:
        """Highest frequency of |U|^2 along x [1/m]: of two rays from the aperture's ends."""
        width, z = self.aperture.width_m, self.distance_m
        return 2 * (width / 2 / math.hypot(width / 2, z)) / wavelength_m

    def integral(self, first_m: float, last_m: float, wavelength_m: float, sine_in: float
                 ) -> RunningIntegral:  # fmt: skip
        """Running integral of |U|^2 over x from first to last [m]."""

        def power(x: Floats) -> Floats:
            field = self.field(x, wavelength_m, sine_in)
            return np.asarray(field.real**2 + field.imag**2)

        step = 1 / (_CELLS * self.finest_per_m(wavelength_m))
        start, count = guarded(first_m, last_m, step)
        samples = power(start + step * np.arange(count, dtype=np.float64))
        return integrate(samples, start, step, _CELLS)

    def _by_edges(self, x: Floats, wavelength_m: float, sine_in: float) -> Complexes:
        total = np.zeros(x.size, dtype=np.complex128)
        for comb in self.aperture.combs:
            half = comb.element.width_m / 2
            for position, weight in zip(comb.position_m, comb.weight, strict=True):
                left = half_plane(x, position - half, self.distance_m, wavelength_m, sine_in)
                right = half_plane(x, position + half, self.distance_m, wavelength_m, sine_in)
                total += weight * (left - right)
        return total

    def _by_spectrum(self, x: Floats, wavelength_m: float, sine_in: float) -> Complexes:
        from finufft import nufft1d2

        lo, hi = self.aperture.span_m
        first, last = min(lo, float(x.min())), max(hi, float(x.max()))
        span = last - first
        zone = math.sqrt(wavelength_m * self.distance_m)
        span += ZONES / 2 * zone
        fading = max(span / 2, ZONES * zone)
        farthest = span + fading
        room = span + farthest + fading
        step = 1 / room
        largest_sine = min(farthest / math.hypot(farthest, self.distance_m) * 1.02, 1.0)
        count = 2 * math.ceil(largest_sine / wavelength_m * room)
        if count > _MOST_MODES:
            raise LimitError(
                f"would need {count:,} directions for its near field",
                key="plate.width",
                expected=f"at most {_MOST_MODES:,}: a narrower plate or aperture, or a nearer one",
            )
        nu = step * (np.arange(count) - count // 2)
        sine = nu * wavelength_m
        cosine = np.sqrt(np.maximum(1 - sine * sine, 0.0))
        away = self.distance_m * np.abs(sine) / np.maximum(cosine, 1e-9)
        keep = np.clip((farthest - away) / fading, 0.0, 1.0)
        keep = keep * keep * keep * (10 - 15 * keep + 6 * keep * keep)
        spectrum = np.zeros(count, dtype=np.complex128)
        rays = Rays(sine_in, np.clip(sine, -1, 1), wavelength_m)
        for comb in self.aperture.combs:
            part = sampled(comb, 0.0, float(nu[0]) + sine_in / wavelength_m, step, count)
            spectrum += part * comb.element.amplitude(rays)
        phase = 2 * math.pi / wavelength_m * self.distance_m
        # (cosine - 1) without the loss of digits: the phase common to all matters not
        spectrum *= keep * step * np.exp(-1j * phase * sine * sine / (1 + cosine))
        result: Complexes = nufft1d2(
            2 * math.pi * step * np.ascontiguousarray(x), spectrum, isign=1, eps=1e-9, nthreads=1
        )
        return result


def half_plane(
    x_m: Floats, edge_m: float, distance_m: float, wavelength_m: float, sine_in: float
) -> Complexes:
    """Field at x behind the open half-plane x' > edge, less the phase k z of the axis."""
    from scipy.special import fresnel

    z, s = distance_m, -sine_in
    c = math.sqrt(1 - s * s)
    xi = x_m - edge_m
    r = np.hypot(xi, z)
    across = c * xi - s * z
    w = 2 * across / np.sqrt(wavelength_m * (r + s * xi + c * z))
    k = 2 * math.pi / wavelength_m
    sine, cosine = fresnel(w)
    open_part = (cosine + 0.5 + 1j * (sine + 0.5)) / (1 + 1j)
    # phases of the ray and of the edge, the axis's k z taken off without loss of digits
    ray = np.exp(1j * k * (s * x_m - z * s * s / (1 + c)))
    edge = np.exp(1j * k * (s * edge_m + xi * xi / (r + z)))
    away = np.where(np.abs(w) < _NEAREST, np.copysign(_NEAREST, w), w)
    across = away * np.sqrt(wavelength_m * (r + s * xi + c * z)) / 2
    turning = across * (c * xi + s * z) / (xi + s * r) if s else xi + (across - xi)
    own = z / np.sqrt(r) * math.sqrt(1 / wavelength_m) * np.exp(-0.25j * math.pi) / (1j * k)
    return np.asarray(
        ray * open_part + edge * (own / turning - 1 / ((1 + 1j) * 1j * math.pi * away))
    )
