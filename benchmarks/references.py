"""What the engine is measured against: direct sums, quadrature and closed forms, all slow."""

from __future__ import annotations

import numpy as np
from scipy.special import sici

from wavesim import aperture as apertures
from wavesim import light, plate
from wavesim.diffraction import far
from wavesim.diffraction.far import amplitude
from wavesim.plate.bins import Bins
from wavesim.scene import Scene

MERCURY_E_M = 546.0735e-9
_PI = np.longdouble("3.14159265358979323846264338327950288")


def displaced_rulings(count: int, pitch: float) -> np.ndarray:
    """Rulings with a periodic error of 4 nm and a random one of 3 nm."""
    n = np.arange(count)
    rng = np.random.default_rng(7)
    x = (n - (count - 1) / 2) * pitch
    return x + 4e-9 * np.sin(2 * np.pi * n / 96) + rng.normal(0, 3e-9, count)


def direct_sum(
    x: np.ndarray, width: float, sine_in: float, sine: float, wavelength_m: float
) -> complex:
    """Amplitude in 64-bit-mantissa arithmetic, phases reduced before the exponential."""
    u = (np.longdouble(sine_in) + np.longdouble(sine)) / np.longdouble(wavelength_m)
    cycles = u * x.astype(np.longdouble)
    cycles -= np.rint(cycles)
    total = np.exp(-1j * (2 * _PI * cycles)).sum()
    return complex(total) * width * float(np.sinc(width * float(u)))


def closed_power(count: int, width: float, pitch: float, u: float) -> float:
    """Integral of |A|^2 of N slits from 0 to u, by sine integrals.

    |A|^2 = sum_k (N - |k|) w^2 sinc^2(w u) cos(2 pi u k d), and with
    w^2 sinc^2(w u) = (1 - cos 2 pi w u) / (2 pi^2 u^2) each term integrates by parts.
    """

    def si(x: float) -> float:
        return float(sici(x)[0])

    total = 0.0
    for k in range(count):
        s = k * pitch
        top = (
            np.cos(2 * np.pi * u * s)
            - np.cos(2 * np.pi * u * (s + width)) / 2
            - np.cos(2 * np.pi * u * (s - width)) / 2
        )
        integral = (
            -top / (2 * np.pi**2 * u)
            - (
                s * si(2 * np.pi * u * s)
                - (s + width) / 2 * si(2 * np.pi * u * (s + width))
                - (s - width) / 2 * si(2 * np.pi * u * (s - width))
            )
            / np.pi
        )
        total += integral * (1 if k == 0 else 2) * (count - k)
    return total


def columns(scene: Scene) -> tuple[apertures.Aperture, plate.Geometry, Bins, plate.Columns]:
    """The stages up to the light of each column."""
    spectrum = light.spectrum(scene.source, folder=scene.folder)
    ruled = apertures.build(scene)
    geometry = plate.geometry_of(scene)
    bins = plate.choose(spectrum, geometry, ruled)
    field = far.far_field(ruled, *plate.reach_per_m(geometry, bins, ruled))
    return ruled, geometry, bins, plate.sweep(field, geometry, bins, ruled)


def brute_force(
    ruled: apertures.Aperture, geometry: plate.Geometry, bins: Bins, pixel: int, points: int
) -> float:
    """Light of one column at the same wavelengths, by Gauss-Legendre over pixel and slit."""
    node, weight = np.polynomial.legendre.leggauss(points)
    lo, hi = geometry.sine_edges[pixel], geometry.sine_edges[pixel + 1]
    sine = (lo + hi) / 2 + (hi - lo) / 2 * node
    offsets, shares = np.zeros(1), np.ones(1)
    if geometry.slit_sines is not None:
        a, b = geometry.slit_sines
        offsets, shares = (a + b) / 2 + (b - a) / 2 * node, weight * (b - a) / 2
    total = 0.0
    for offset, fraction in zip(offsets, shares, strict=True):
        for wave, power in zip(bins.wavelength_m, bins.power, strict=True):
            i = np.abs(amplitude(ruled, geometry.sine_in + offset, sine, wave)) ** 2
            total += fraction * power * float(i @ weight) * (hi - lo) / 2 / wave
    return total
