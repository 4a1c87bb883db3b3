"""Published numbers of gratings and their errors, asked of amplitudes and plates.

Closed forms and their digits were computed apart with mpmath; sources beside each. What a formula
of `predict` alone can give stays with the formula: the small-error form (pi m A / d)^2 is an
approximation that the engine's exact ghosts differ from (test_predict_engine), and what independent
errors leave of a line, E, is a mean over rulings: the engine's rulings scatter about it, and are
held to it within four standard errors there.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

import wavesim
from tests import bench
from wavesim.scene import Scene

WAVE_M = 500e-9


def slits(count: int) -> Scene:
    """Slits so narrow beside their pitch that N-slit interference is all there is."""
    return bench.scene(
        source='kind = "laser"\nwavelength = "500 nm"', bench='camera = "1 m"',
        aperture=f'kind = "slits"\ncount = {count}\nwidth = "10 um"\npitch = "100 um"\n'
        'height = "2 mm"',
        plate='width = "1 mm"\nheight = "1 mm"\npixel = "10 um"',
    )  # fmt: skip


def factor(scene: Scene, orders: np.ndarray | float) -> np.ndarray:
    """|A / E|^2 at continuous orders, over its peak; E = sinc(mu / 10) of each slit."""
    mu = np.atleast_1d(orders)
    sines = np.append(mu, 0.0) * WAVE_M / 100e-6
    power = np.abs(wavesim.amplitude(scene, sines, WAVE_M)) ** 2
    return np.asarray(power[:-1] / power[-1] / np.sinc(mu / 10) ** 2)


# B&W 8.6.1: first subsidiary maximum, its place, full width, each over N; N - 2 maxima
@pytest.mark.parametrize(
    ("count", "height", "position", "fwhm"),
    [
        (3, 1 / 9, 1.5, 0.9316422446), (4, 2 / 27, 1.464559054, 0.9107848519),
        (10, 0.0505106736, 1.435162746, 0.8897405482),
        (20, 0.0479932161, 1.431494602, 0.8868502214),
    ],
)  # fmt: skip
def test_maxima_between_the_orders(count: int, height: float, position: float, fwhm: float) -> None:
    scene = slits(count)
    mu = np.linspace(0, 1, 200 * count + 1)
    intensity = factor(scene, mu)
    tops = (
        np.flatnonzero((intensity[1:-1] > intensity[:-2]) & (intensity[1:-1] >= intensity[2:])) + 1
    )
    assert np.sum(intensity[tops] > 1e-6) == count - 2
    top = minimize_scalar(
        lambda t: -float(factor(scene, t / count)[0]),
        bounds=(1.05, min(1.95, count / 2 + 0.1)), method="bounded", options={"xatol": 1e-9},
    )  # fmt: skip
    assert -top.fun == pytest.approx(height, abs=1e-9)
    assert top.x == pytest.approx(position, abs=1e-6)
    half = brentq(lambda t: float(factor(scene, t / count)[0]) - 0.5, 0.2, 0.9, xtol=1e-12)
    assert 2 * half == pytest.approx(fwhm, abs=1e-9)


def grating(
    nm: float, order: int, *, density: int = 600, incidence: float = 0.0, slit: str = ""
) -> Scene:
    """A laser's order on the axis of a plate 2 mm wide."""
    sine = order * nm * 1e-6 * density - math.sin(math.radians(incidence))
    return bench.scene(
        source=f'kind = "laser"\nwavelength = "{nm} nm"\n{slit}',
        bench='collimator = "1 m"\ncamera = "1 m"\n'
        f'incidence = "{incidence} deg"\nviewing = "{math.degrees(math.asin(sine))!r} deg"',
        aperture=f'kind = "grating"\ndensity = "{density} / mm"\ncount = 12000\nheight = "10 mm"\n'
        'groove = { profile = "slit", width = "0.2 um" }',
        plate='width = "2 mm"\nheight = "5 um"\npixel = "5 um"',
    )


def centre(scene: Scene) -> float:
    """Centre of the light above a fifth of the brightest pixel [m]."""
    plate = wavesim.expose(scene)
    row = np.maximum(plate.profile_irradiance - 0.2 * plate.profile_irradiance.max(), 0)
    return float(row @ plate.x_m / row.sum())


@pytest.mark.parametrize(
    ("order", "degrees"), [(1, 17.4576031237), (2, 36.8698976458), (3, 64.1580672368)]
)
def test_the_grating_equation_on_the_plate(order: int, degrees: float) -> None:
    """600/mm, 500 nm: d sin(beta) = m lambda (B&W 8.6.1). The line stands on the camera's axis,
    which the test turned to that angle, within 0.02 / N of an order."""
    scene = grating(500, order)
    assert math.degrees(scene.bench.camera_axis_rad) == pytest.approx(degrees, abs=1e-9)
    one_order = WAVE_M * 600e3 / math.cos(math.radians(degrees))  # m on the plate, f = 1 m
    assert abs(centre(scene)) < 0.02 / 12000 * one_order


def test_400_nm_of_order_2_falls_on_800_nm_of_order_1() -> None:
    """Free spectral range lambda / m from the short end (B&W 7.6.2)."""
    assert centre(grating(400, 2)) == pytest.approx(centre(grating(800, 1)), abs=2e-8)


@pytest.mark.slow
def test_anamorphic_magnification_of_the_source_slit() -> None:
    """1200/mm, 20 degrees, order 1 of 500 nm: a slit's image is cos a / cos b = 0.972615363 times
    as wide (B&W 8.6.1); its edges at half the light between."""
    scene = grating(
        500, 1, density=1200, incidence=20.0, slit='slit = { width = "1 mm", height = "20 um" }'
    )
    plate = wavesim.expose(scene)
    row = plate.profile_irradiance
    level = float(np.median(row[np.abs(plate.x_m) < 0.3e-3])) / 2
    a, b = np.flatnonzero(row > level)[[0, -1]]
    left = a - (row[a] - level) / (row[a] - row[a - 1])
    right = b + (row[b] - level) / (row[b] - row[b + 1])
    assert (right - left) * 5e-6 == pytest.approx(0.972615363e-3, rel=1e-3)


@pytest.mark.slow
def test_a_long_random_walk_makes_the_lorentzian_of_an_endless_one() -> None:
    """sigma / d = 0.01: full width 0.000628318735 orders (Hosemann & Bagchi 1962).

    Of 120 rulings of 20,000: the part of the light within half a width of the order of that within
    ten, against the mean of a walk so long, N + 2 Re sum (N - k) z^k with
    z = exp(-(2 pi mu sigma / d)^2 / 2 + 2 pi i mu), and against arctan(1) / arctan(20).
    """
    width, count, rulings = 0.000628318735, 20_000, 120
    mu = 1 + width * np.linspace(-10, 10, 4001)
    inside = np.abs(mu - 1) <= width / 2
    found = []
    for seed in range(rulings):
        scene = bench.scene(
            source='kind = "laser"\nwavelength = "500 nm"', bench='camera = "1 m"',
            aperture=f'kind = "grating"\npitch = "10 um"\ncount = {count}\nheight = "2 mm"\n'
            'groove = { profile = "slit", width = "1 um" }\n[[aperture.defects]]\n'
            f'kind = "random"\nrms = "100 nm"\ncorrelation = "accumulated"\nseed = {seed}',
            plate='width = "1 mm"\nheight = "1 mm"\npixel = "10 um"',
        )  # fmt: skip
        power = np.abs(wavesim.amplitude(scene, mu * WAVE_M / 10e-6, WAVE_M)) ** 2
        found.append((power[inside].sum(), power.sum()))
    within, whole = np.array(found).T
    fraction = within.sum() / whole.sum()
    error = float(np.std(within - fraction * whole)) * math.sqrt(rulings) / whole.sum()
    z = np.exp(-((2 * np.pi * mu * 0.01) ** 2) / 2 + 2j * np.pi * mu)
    mean = count + 2 * np.real(z * (count * (1 - z) - (1 - z**count)) / (1 - z) ** 2)
    expected = mean[inside].sum() / mean.sum()
    print(f"{fraction:.4f} +- {error:.4f}, of such a walk {expected:.4f}")
    assert abs(fraction - expected) < 4 * error
    assert error < 0.02 * expected
    assert expected == pytest.approx(math.atan(1) / math.atan(20), rel=0.05)  # the ruling's ends
