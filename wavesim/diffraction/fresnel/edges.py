"""Near field of clear slits, edge by edge: Fresnel's integrals.

    A(u) = integral from a to b of exp(-2 pi i u x + i pi k x^2 / lambda) dx
         = sqrt(lambda / 2 k) exp(-i pi u^2 lambda / k) (F(w_b) - F(w_a)),
    w = (x - u lambda / k) sqrt(2 k / lambda),   F = C + i S

(Born & Wolf 8.7; DLMF 7.2.6). Exact within Fresnel's approximation, for any Fresnel number that
is not so small that the two integrals cancel.
"""

from __future__ import annotations

import math

import numpy as np

from wavesim.aperture.elements import Complexes, Floats

_FLAT = 1e-4  # Fresnel number of a slit below which the quadrature is exact and F would cancel
_POINTS = 24  # and four more for every cycle of exp(2 pi i u x) across half the slit


def slit_near(
    left_m: float, right_m: float, u_per_m: Floats, curvature_per_m: float, wavelength_m: float
) -> Complexes:
    """A [m] of one slit between two edges, shape of `u_per_m`."""
    k = curvature_per_m
    reach = max(abs(left_m), abs(right_m))
    if abs(k) * reach * reach < _FLAT * wavelength_m:
        return _nearly_flat(left_m, right_m, u_per_m, k, wavelength_m)
    if k < 0:
        return np.conj(slit_near(left_m, right_m, -u_per_m, -k, wavelength_m))
    from scipy.special import fresnel

    shadow = u_per_m * (wavelength_m / k)
    scale = math.sqrt(2 * k / wavelength_m)
    s1, c1 = fresnel((left_m - shadow) * scale)
    s2, c2 = fresnel((right_m - shadow) * scale)
    turn = np.exp(-1j * math.pi * u_per_m * shadow)
    return np.asarray((c2 - c1 + 1j * (s2 - s1)) * turn / scale)


def _nearly_flat(
    left_m: float, right_m: float, u_per_m: Floats, k: float, wavelength_m: float
) -> Complexes:
    """Envelope of the flat slit, and what the small phase adds by Gauss-Legendre quadrature."""
    half, middle = (right_m - left_m) / 2, (right_m + left_m) / 2
    cycles = float(np.abs(u_per_m).max(initial=0.0)) * half
    t, w = np.polynomial.legendre.leggauss(_POINTS + math.ceil(4 * cycles))
    x = middle + half * t
    added = half * w * np.expm1(1j * math.pi * k / wavelength_m * x * x)
    out = 2 * half * np.sinc(2 * half * u_per_m) * np.exp(-2j * math.pi * u_per_m * middle)
    for part in np.array_split(np.arange(u_per_m.size), 1 + u_per_m.size * t.size // 1_000_000):
        out[part] += np.exp(-2j * math.pi * np.outer(u_per_m[part], x)) @ added
    return np.asarray(out)
