"""Errors of the engine against extended precision, quadrature and closed forms."""

from __future__ import annotations

import numpy as np

from benchmarks.row import Row
from tests import test_farfield, test_plate
from tests.bench import from_positions, scene
from wavesim.diffraction.far import amplitude


def rows() -> list[Row]:
    """The accuracy lines."""
    return [_amplitude(), _white_pixel(), _power()]


def _amplitude() -> Row:
    case = test_farfield.TestAgainstExtendedPrecision()
    x = test_farfield.displaced_rulings(case.count, case.pitch)
    width = case.pitch / 2
    order = test_farfield.WAVE / case.pitch
    sines = np.concatenate(
        [order * m - case.sine_in + np.linspace(-2e-4, 2e-4, 700) for m in (0, 1, 2)]
    )
    found = amplitude(from_positions(x, width, case.pitch), case.sine_in, sines, test_farfield.WAVE)
    picked = range(0, sines.size, 70)
    error = max(abs(found[k] - case.reference(x, float(sines[k]), width)) for k in picked)
    relative = error / (case.count * width)
    return Row(
        "amplitude, 60,000 displaced rulings",
        f"{relative:.1e} of the peak",
        "direct sum, 64-bit mantissa",
        "1e-12",
        relative <= 1e-12,
    )


def _white_pixel() -> Row:
    of = scene(aperture='kind = "slits"\ncount = 250\nwidth = "40 um"\npitch = "90 um"')
    ruled, place, bins, found = test_plate.columns(of)
    worst = 0.0
    for pixel in (0, 100, 399, 640):
        exact = test_plate.brute_force(ruled, place, bins, pixel, 16)
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
        of = scene(
            source=test_plate.LASER,
            aperture=f'kind = "slits"\ncount = {count}\nwidth = "40 um"\npitch = "90 um"',
            plate='width = "60 mm"\nheight = "1 mm"\npixel = "25 um"',
        )
        _, place, bins, found = test_plate.columns(of)
        exact = 0.0
        for wave, power in zip(bins.wavelength_m, bins.power, strict=True):
            lo, hi = (float(place.sine_edges[i]) / wave for i in (0, -1))
            exact += power * (
                test_farfield.closed_power(count, 40e-6, 90e-6, hi)
                - test_farfield.closed_power(count, 40e-6, 90e-6, lo)
            )
        worst = max(worst, abs(found.light.sum() / exact - 1))
    return Row(
        "power on a plate, 1, 5, 250 slits",
        f"{worst:.1e} relative",
        "sine integrals over the same angles",
        "1e-9",
        worst <= 1e-9,
    )
