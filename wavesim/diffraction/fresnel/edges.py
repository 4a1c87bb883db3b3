"""Near field of clear slits, edge by edge: Fresnel's integrals.

    A(u) = integral from a to b of exp(-2 pi i u x + i pi k x^2 / lambda) dx
         = sqrt(lambda / 2 k) exp(-i pi u^2 lambda / k) (F(w_b) - F(w_a)),
    w = (x - u lambda / k) sqrt(2 k / lambda),   F = C + i S

(Born & Wolf 8.7; DLMF 7.2.6). Exact within Fresnel's approximation, for any Fresnel number that
is not so small that the two integrals cancel.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from wavesim.arrays import Complexes, Floats

_FLAT = 1e-4  # Fresnel number of a slit below which the phase is a small one and F would cancel
_POINTS = 24  # of a quadrature over a slit
_SMALL_OMEGA = 8.0  # half the phase exp(2 pi i u x) across a slit, up to which it serves


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
    """Envelope of the flat slit, and what the small phase q = pi k x^2 / lambda adds.

    exp(i q) = 1 + i q - q^2 / 2, whose error q^3 / 6 is below 5e-12 up to a Fresnel number of
    1e-4; the moments of t^n exp(-i omega t) over -1 .. 1 in closed form.
    """
    half, middle = (right_m - left_m) / 2, (right_m + left_m) / 2
    q = np.polynomial.Polynomial([middle, half]) ** 2 * (math.pi * k / wavelength_m)
    added = 1j * q - q**2 / 2
    omega = 2 * math.pi * half * u_per_m
    total = np.zeros(omega.shape, dtype=np.complex128)
    for factor, moment in zip(added.coef, _moments(omega, added.coef.size), strict=True):
        total += factor * moment
    flat = 2 * np.sinc(2 * half * u_per_m)
    return np.asarray(half * (flat + total) * np.exp(-2j * math.pi * u_per_m * middle))


def _moments(omega: Floats, count: int) -> list[Complexes]:
    """Integrals of t^n exp(-i omega t) over -1 .. 1: by parts, or by quadrature where that
    cancels."""
    t, w = _points()
    small = np.abs(omega) < _SMALL_OMEGA
    safe = np.where(small, 1.0, omega)
    up, down = np.exp(-1j * safe), np.exp(1j * safe)
    turn = np.exp(-1j * np.outer(omega[small], t)) * w
    found: list[Complexes] = []
    for n in range(count):
        ends = (up - (-1) ** n * down) / (-1j * safe)
        moment = ends + (n / (1j * safe) * found[-1] if n else 0.0)
        moment[small] = turn @ t**n
        found.append(moment)
    return found


@lru_cache(maxsize=1)
def _points() -> tuple[Floats, Floats]:
    """Gauss-Legendre points and weights over -1 .. 1; finding them takes longer than a slit."""
    return np.polynomial.legendre.leggauss(_POINTS)
