"""The gratings of the demonstration room: what their comments state, found on their plates.

Right sides are the grating equation d (sin alpha + sin beta) = m lambda, closed forms named beside
them, and published wavelengths in air: sodium and mercury from NIST ASD, from memory; the Sun's
from Moore, Minnaert & Houtgast, The Solar Spectrum (1966), from memory.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import wavesim
from tests.narrowing import known, of_kind
from tests.shipped import maxima, nearest_maximum, plate, scene
from wavesim.scene.aperture import Ruled

D2_NM, D1_NM = 588.995, 589.592
GREEN_NM = 546.075  # of mercury


def position_m(name: str, wavelength_nm: float, order: float) -> float:
    """x = f tan(beta - axis) of an order, from the bench's numbers."""
    bench, aperture = scene(name).bench, scene(name).aperture
    pitch = known(aperture.mean_pitch_m)
    sine = order * wavelength_nm * 1e-9 / pitch - math.sin(bench.alpha_rad)
    return bench.camera_focal_m * math.tan(math.asin(sine) - bench.camera_axis_rad)


def strong_lines(name: str, fraction: float) -> np.ndarray:
    """x of the maxima that have at least that share of the strongest."""
    light = plate(name).profile_irradiance
    tops = maxima(light)
    return plate(name).x_m[tops[light[tops] > fraction * light.max()]]


@pytest.mark.parametrize(
    ("name", "order", "apart_um"),
    [
        ("sodium_987", 1, 60),
        ("sodium_2000", 1, 60),
        ("sodium_494_order_2", 2, 120),
        ("grating_sodium_resolved", 1, 380),
    ],
)
def test_the_sodium_pair_is_parted(name: str, order: int, apart_um: float) -> None:
    left, right = strong_lines(name, 0.5)
    apart = position_m(name, D1_NM, order) - position_m(name, D2_NM, order)
    assert apart * 1e6 == pytest.approx(apart_um, rel=0.02)  # digits stated
    # two pixels; and at Rayleigh's distance the sum of two lines draws the maxima together by a
    # tenth: d/dx of sinc^2 of one is not zero at the other's maximum, but of third order in x
    pull = 0.1 * apart if name in ("sodium_987", "sodium_494_order_2") else 0.0
    assert right - left == pytest.approx(apart, abs=2 * scene(name).plate.pixel_m + pull)


@pytest.mark.parametrize("name", ["sodium_987", "sodium_494_order_2"])
def test_the_bridge_at_rayleighs_distance(name: str) -> None:
    """Both lines have sinc^2(1/2) = 4 / pi^2 half-way (Rayleigh 1879; Born & Wolf 7.6.3)."""
    shown = plate(name)
    light, (left, right) = shown.profile_irradiance, strong_lines(name, 0.5)
    columns = [int(np.argmin(np.abs(shown.x_m - x))) for x in (left, right)]
    bridge = light[columns[0] : columns[1]].min()
    bright, faint = light[columns].max(), light[columns].min()
    # the source slit, a twelfth of a line wide, smooths by 1/12^2 of the curvature
    assert bridge / faint == pytest.approx(4 / math.pi**2 * (1 + bright / faint), rel=0.02)
    if name == "sodium_987":
        assert bright / faint == pytest.approx(1.17, abs=0.01)  # digits stated
        assert bridge / faint == pytest.approx(0.87, abs=0.01)


def test_2000_rulings_leave_black_between_the_pair() -> None:
    light, (left, right) = plate("sodium_2000").profile_irradiance, strong_lines("sodium_2000", 0.5)
    between = (plate("sodium_2000").x_m > left) & (plate("sodium_2000").x_m < right)
    assert light[between].min() < 0.05 * light.max()  # an eye's black: common practice, no source


@pytest.mark.parametrize(
    ("name", "width_mm"), [("sodium_500", 0.13), ("grating_sodium_unresolved", None)]
)
def test_too_few_rulings_leave_one_line(name: str, width_mm: float | None) -> None:
    assert strong_lines(name, 0.5).size == 1
    light = plate(name).profile_irradiance
    if width_mm is not None:
        width = np.count_nonzero(light > light.max() / 2) * scene(name).plate.pixel_m
        assert width * 1e3 == pytest.approx(width_mm, abs=0.005)  # digits stated
        # two lines of 0.886 lambda f / (N d) each (sinc^2 = 1/2 at 0.443), 60 um apart
        width_of_one = 0.886 * 589.29e-9 / (500 * 10e-6)
        assert width_of_one < width < width_of_one + 60e-6


@pytest.mark.parametrize(
    ("name", "order", "wavelength_nm", "x_mm"),
    [
        ("sun_250", 1, 486.134, 5.40),
        ("sun_250", 2, 486.134, 10.80),
        ("sun_250", 3, 486.134, 16.21),
        ("sun_15000", 1, 518.362, -2.22),
        ("sun_15000", 1, 517.270, -2.91),
        ("sun_15000", 1, 516.90, -3.15),
        ("sun_15000", 1, 516.733, -3.25),
        ("sun_15000", 1, 526.955, 3.21),
        ("sun_15000", 1, 527.039, 3.26),
        ("grating_1200_blue", 1, 438.356, None),
        ("grating_1200_green", 1, 526.955, None),
        ("grating_1200_red", 1, 656.281, None),
    ],
)
@pytest.mark.slow
def test_the_suns_lines_stand_where_the_grating_equation_puts_them(
    name: str, order: int, wavelength_nm: float, x_mm: float | None
) -> None:
    wanted = position_m(name, wavelength_nm, order)
    if x_mm is not None:
        assert wanted * 1e3 == pytest.approx(x_mm, abs=5e-3)  # digits stated
    rulings = of_kind(Ruled, scene(name).aperture).rulings
    resolved = abs(position_m(name, wavelength_nm * (1 + 1 / (order * rulings)), order) - wanted)
    found = nearest_maximum(name, wanted, dark=True)
    # neighbours draw a dip by a fifth of what is resolved at the most; and a pixel
    assert abs(found - wanted) < scene(name).plate.pixel_m + 0.2 * resolved


@pytest.mark.parametrize(
    ("name", "wavelength_nm"),
    [("grating_1200_green", 546.1), ("grating_1200_blue", 435.8), ("grating_1200_red", 656.3)],
)
@pytest.mark.slow
def test_the_turntable_brings_its_wavelength_to_the_middle(name: str, wavelength_nm: float) -> None:
    # m lambda = 2 d sin(turn) cos(K), for collimator and camera 2 K apart (Born & Wolf 8.6.1)
    turn = known(scene(name).bench.turn_rad)
    assert 2 / 1200e3 * math.sin(turn) * math.cos(math.radians(15)) * 1e9 == pytest.approx(
        wavelength_nm, abs=0.1  # 0.1 mm, as stated
    )  # fmt: skip
    middle = plate(name).profile_spectrum[:, plate(name).x_m.size // 2]
    found = plate(name).profile_wavelength_m[np.argmax(middle)]
    assert found * 1e9 == pytest.approx(wavelength_nm, abs=1.0)  # the spectrum's step


def test_each_error_of_the_screw_throws_its_pair_of_ghosts() -> None:
    light, x_m = plate("grating_screw").profile_irradiance, plate("grating_screw").x_m
    middle = position_m("grating_screw", GREEN_NM, 2)
    line = light[np.abs(x_m - middle) < 50e-6].max()
    for rulings, amplitude_m, apart_mm in ((96, 5e-9, 4.5), (780, 8e-9, 0.56)):
        for side in (-1, 1):
            order = 2 + side / rulings
            x = position_m("grating_screw", GREEN_NM, order)
            found = nearest_maximum("grating_screw", x)
            assert abs(found - x) <= 10e-6  # a pixel
            assert abs(found - middle) * 1e3 == pytest.approx(apart_mm, rel=0.03)  # digits stated
            # (pi m A / d)^2 of the line (Rowland, Phil. Mag. 35, 397, 1893), in the ghost's own
            # direction and under the slits' sinc^2, to its first term: right to (2 pi m A / d)^2
            wanted = (math.pi * order * amplitude_m * 600e3) ** 2
            wanted *= (np.sinc(order * 0.36) / np.sinc(2 * 0.36)) ** 2
            assert light[np.argmin(np.abs(x_m - found))] / line == pytest.approx(wanted, rel=0.03)


def test_random_errors_turn_light_of_the_line_into_grass() -> None:
    """E = exp(-(2 pi m sigma / d)^2) stays, the characteristic function of a Gaussian; the rest
    is shared by N = sqrt(2 pi) w / d rulings, (integral of a)^2 / integral of a^2 of the beam."""
    shown, wavelength_m = scene("grating_random"), 632.8e-9
    true = shown.model_copy(update={"aperture": shown.aperture.model_copy(update={"defects": ()})})
    line = wavelength_m * 600e3
    stays = math.exp(-((2 * math.pi * 25e-9 * 600e3) ** 2))
    broken, whole = (np.abs(wavesim.amplitude(s, [line], wavelength_m)) ** 2 for s in (shown, true))
    assert stays == pytest.approx(0.9912, abs=5e-5)  # digits stated
    assert broken / whole == pytest.approx(stays, abs=4e-4)  # four times phi^2 sqrt(2 / N)
    sines = line * (1 + np.linspace(0.005, 0.025, 4000))  # an independent direction every 2nd
    grass = np.abs(wavesim.amplitude(shown, sines, wavelength_m)) ** 2 / broken
    expected = (1 - stays) / stays / (math.sqrt(2 * math.pi) * 12.5e-3 * 600e3)
    assert expected == pytest.approx(4.7e-7, rel=0.02)  # digits stated
    assert grass.mean() == pytest.approx(expected, rel=0.1)  # four times 1 / sqrt(2000), and sinc^2


def test_the_step_makes_twins_in_odd_orders_only() -> None:
    """Halves that oppose each other: (sin^2 t / t)^2, t = pi N dmu / 2, highest at tan t = 2 t."""
    shown, count, t = scene("grating_step"), 6000, 1.16556
    assert math.tan(t) == pytest.approx(2 * t, rel=1e-4)  # digits of t
    true = shown.model_copy(update={"aperture": shown.aperture.model_copy(update={"defects": ()})})
    line = 532e-9 * 600e3
    for order, position, height in ((1, 2 * t / math.pi / count, (math.sin(t) ** 2 / t) ** 2),
                                 (2, 0.0, 1.0)):  # fmt: skip
        mu = order + np.linspace(0, 1.5 / count, 3001)
        power = np.abs(wavesim.amplitude(shown, mu * line, 532e-9)) ** 2
        whole = np.abs(wavesim.amplitude(true, [order * line], 532e-9)) ** 2
        top = int(np.argmax(power))
        assert mu[top] - order == pytest.approx(position, abs=1e-3 / count)  # the samples' step
        assert power[top] / whole == pytest.approx(height, rel=1e-3)  # the slits' sinc^2 falls
    twins = strong_lines("grating_step", 0.9)
    middle = position_m("grating_step", 532.0, 1)
    assert twins - middle == pytest.approx([-83e-6, 83e-6], abs=2e-6)  # digits stated, a pixel


@pytest.mark.slow
@pytest.mark.parametrize(("order", "x_mm"), [(1, -81.1), (2, 2.0), (3, 85.0)])
def test_the_worn_grating_shows_green_in_three_orders(order: int, x_mm: float) -> None:
    wanted = position_m("grating_worn", GREEN_NM, order)
    assert wanted * 1e3 == pytest.approx(x_mm, abs=0.05)  # digits stated
    assert abs(nearest_maximum("grating_worn", wanted) - wanted) <= 50e-6  # a pixel
    # 2 d sin(facet) cos(K) = m lambda at the blaze: order 2 has it, within its own width
    blaze = 2 / 300e3 * math.sin(math.radians(9.46)) * math.cos(math.radians(10)) / GREEN_NM * 1e9
    assert blaze == pytest.approx(2, abs=0.03)  # 9.46 degrees to its last digit, and 11 nm


def test_worn_facets_share_the_light_out_anew() -> None:
    """Amplitude of an order: mean over the grooves of sinc(m - q), q of the facet's own slope.

    q = d / lambda tan(facet) (cos alpha + cos beta) times the depth left, 1 - 0.3 t + 0.03 r (the
    blaze in scalar theory, Born & Wolf 8.6.1); r Gaussian, by Gauss-Hermite quadrature.
    """
    worn, pitch = scene("grating_worn"), 1 / 300e3
    true = worn.model_copy(update={"aperture": worn.aperture.model_copy(update={"defects": ()})})
    alpha, wavelength_m = worn.bench.alpha_rad, GREEN_NM * 1e-9
    sines = np.arange(1, 4) * wavelength_m / pitch - math.sin(alpha)
    found, whole = (np.abs(wavesim.amplitude(s, sines, wavelength_m)) ** 2 for s in (worn, true))
    nodes, weights = np.polynomial.hermite_e.hermegauss(9)
    left = 1 - 0.3 * np.linspace(0, 1, 2001)[:, None] + 0.03 * nodes
    cosines = math.cos(alpha) + np.cos(np.arcsin(sines))
    q = pitch / wavelength_m * math.tan(math.radians(9.46)) * cosines
    mean = [(np.sinc(m - k * left) @ weights).mean() / weights.sum() for m, k in enumerate(q, 1)]
    unworn = np.sinc(np.arange(1, 4) - q)
    # rounding; and four times the chance of 9,000 grooves, 0.06 / sqrt(9000) of the amplitude
    assert whole / whole[1] == pytest.approx((unworn / unworn[1]) ** 2, rel=1e-9)
    assert found / whole[1] == pytest.approx((mean / unworn[1]) ** 2, rel=0.02)
    assert 100 * found / whole[1] == pytest.approx([17, 64, 2.9], rel=0.02)  # digits stated
    assert 100 * whole / whole[1] == pytest.approx([0.16, 100, 0.13], rel=0.04)
