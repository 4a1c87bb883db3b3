"""Errors of the engine against extended precision, quadrature and closed forms."""

from __future__ import annotations

import numpy as np

from benchmarks.bench import from_positions, scene
from benchmarks.references import (
    MERCURY_E_M,
    brute_force,
    closed_power,
    columns,
    direct_sum,
    displaced_rulings,
)
from benchmarks.row import Row
from wavesim.diffraction.far import amplitude


def rows() -> list[Row]:
    """The accuracy lines."""
    return [_amplitude(), _white_pixel(), _power()]


def _amplitude() -> Row:
    count, pitch, sine_in, wave = 60_000, 1e-3 / 600, 0.1, MERCURY_E_M
    x, width = displaced_rulings(count, pitch), pitch / 2
    sines = np.concatenate(
        [wave / pitch * m - sine_in + np.linspace(-2e-4, 2e-4, 700) for m in (0, 1, 2)]
    )
    found = amplitude(from_positions(x, width, pitch), sine_in, sines, wave)
    error = max(
        abs(found[k] - direct_sum(x, width, sine_in, float(sines[k]), wave))
        for k in range(0, sines.size, 70)
    )
    relative = error / (count * width)
    return Row(
        "amplitude, 60,000 displaced rulings",
        f"{relative:.1e} of the peak",
        "direct sum, 64-bit mantissa",
        "1e-12",
        relative <= 1e-12,
    )


def _white_pixel() -> Row:
    setup = scene(aperture='kind = "slits"\ncount = 250\nwidth = "40 um"\npitch = "90 um"')
    ruled, geometry, bins, found = columns(setup)
    worst = 0.0
    for pixel in (0, 100, 399, 640):
        exact = brute_force(ruled, geometry, bins, pixel, 16)
        worst = max(worst, abs(found.light[pixel].sum() / exact - 1))
    return Row(
        "white-light pixel, 250 slits",
        f"{worst:.1e} relative",
        "16-point Gauss-Legendre, same wavelengths",
        "1e-6",
        worst <= 1e-6,
    )


def _power() -> Row:
    worst = 0.0
    for count in (1, 5, 250):
        setup = scene(
            source='kind = "laser"\nwavelength = "546.0735 nm"',
            aperture=f'kind = "slits"\ncount = {count}\nwidth = "40 um"\npitch = "90 um"',
            plate='width = "60 mm"\nheight = "1 mm"\npixel = "25 um"',
        )
        _, geometry, bins, found = columns(setup)
        exact = 0.0
        for wave, power in zip(bins.wavelength_m, bins.power, strict=True):
            lo, hi = (float(geometry.sine_edges[i]) / wave for i in (0, -1))
            exact += power * (
                closed_power(count, 40e-6, 90e-6, hi) - closed_power(count, 40e-6, 90e-6, lo)
            )
        worst = max(worst, abs(found.light.sum() / exact - 1))
    return Row(
        "power on a plate, 1, 5, 250 slits",
        f"{worst:.1e} relative",
        "sine integrals over the same angles",
        "1e-9",
        worst <= 1e-9,
    )
