"""Dark lines of the Sun, the sodium pair, and the time of an exposure, as theory says them."""

from __future__ import annotations

import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from benchmarks import lines
from tests.bench import scene as bench_scene
from tests.narrowing import known
from wavesim import light
from wavesim.lightpath import expose
from wavesim.plate import Plate
from wavesim.scene import Scene, load
from wavesim.study.formulas import interference_factor

SCENES = Path(__file__).resolve().parents[1] / "scenes"
Array = NDArray[np.float64]


def one_row(name: str) -> Scene:
    """A shipped scene with a plate of one pixel row: the same profile, sooner."""
    scene = load(SCENES / f"{name}.toml")
    low = scene.plate.model_copy(update={"height_m": scene.plate.pixel_m})
    return scene.model_copy(update={"plate": low})


@cache
def fine_plate() -> Plate:
    """The Sun behind 15,000 rulings."""
    return expose(one_row("sun_15000"))


# --- lines in the Sun ---------------------------------------------------------------------------


@pytest.mark.parametrize(("count", "order"), lines.QUICK)
def test_lines_found_are_those_that_resolving_power_leaves(count: int, order: int) -> None:
    # Rayleigh: R = m N. The count on the Sun's spectrum smoothed with sinc^2(R ln lambda) knows
    # nothing of plates. Tolerance: dips about the least depth that counts come and go.
    found = lines.dark_lines(count, order)
    assert found.dips == pytest.approx(found.expected, rel=0.1, abs=2)
    # `measure` asks more of a line than a dip, and invents none
    assert 0 < found.measured <= found.dips


def test_the_lines_that_can_be_measured_grow_with_rulings_and_order() -> None:
    first, third, finer = (lines.dark_lines(*g).measured for g in ((250, 1), (250, 3), (1000, 2)))
    assert 2 * first < third  # resolving powers 250, 750, 2000
    assert 1.5 * third < finer


def test_equal_resolving_power_shows_equal_lines() -> None:
    counts = [
        lines.dips(lines.sun_plate(n, m).profile_irradiance) for n, m in ((1000, 1), (500, 2))
    ]
    assert counts[0] == pytest.approx(counts[1], abs=3)  # pixels fall differently on the lines


def test_many_more_lines_with_15000_rulings() -> None:
    # the same 16 nm of the first order: sixty times the resolving power
    fine = fine_plate()
    coarse = lines.sun_plate(250, 1, (514.0, 530.0))
    assert lines.dips(fine.profile_irradiance) > 100
    assert lines.dips(coarse.profile_irradiance) <= 2


@pytest.mark.parametrize(
    "nanometres",
    # magnesium and iron (b4, b2, b1), iron and calcium (E): Moore, A Multiplet Table of
    # Astrophysical Interest (1945), from memory
    [516.733, 517.268, 518.360, 526.954, 527.036],
)
def test_named_lines_stand_where_the_grating_puts_them(nanometres: float) -> None:
    plate = fine_plate()
    x = math.tan(math.asin(nanometres * 1e-9 * 600e3) - math.radians(18.248))
    near = np.abs(plate.x_m - x) < 25e-6  # a resolution element, 0.035 nm, is 22 um wide
    dark = float(plate.x_m[near][np.argmin(plate.profile_irradiance[near])])
    # two pixels of 4 um: lines are blends, and the table's own wavelengths are rounded
    assert dark == pytest.approx(x, abs=8e-6)


@pytest.mark.parametrize("nanometres", [486.13, 517.3, 527.0])
def test_lines_are_barely_seen_in_the_first_order_and_plainer_in_higher_ones(
    nanometres: float,
) -> None:
    plate = expose(one_row("sun_250"))
    found = [_depth(*_order(plate, m), nanometres, 1.8 / m) for m in (1, 2, 3)]
    smooth = [_depth(*_smoothed(250 * m), nanometres, 1.8 / m) for m in (1, 2, 3)]
    assert found == pytest.approx(smooth, abs=0.02)  # source slit and pixel blur a little more
    assert found[0] < 0.15
    assert found[2] > 1.5 * found[0]


def _order(plate: Plate, order: int) -> tuple[Array, Array]:
    """Wavelength [nm] and light of one order of the 90 um grating."""
    wavelength = plate.x_m / np.hypot(plate.x_m, 1.0) * 90e-6 / order * 1e9
    inside = (wavelength > 481) & (wavelength < 599)
    return wavelength[inside], plate.profile_irradiance[inside]


def _smoothed(resolving_power: int) -> tuple[Array, Array]:
    """Wavelength [nm] and the Sun's spectrum behind the textbook's line profile."""
    spectrum = light.spectrum(one_row("sun_250").source, folder=Path())
    edges = np.exp(np.arange(math.log(480e-9), math.log(600e-9), 2e-5))
    power = spectrum.integrate(edges[:-1], edges[1:])[0] / np.diff(edges)
    turn = np.arange(-5000, 5001) * 2e-5
    kernel = np.sinc(resolving_power * turn) ** 2
    smooth = np.convolve(power, kernel / kernel.sum(), mode="same")
    nm = (edges[1:] + edges[:-1]) / 2 * 1e9
    inside = (nm > 481) & (nm < 599)
    return nm[inside], smooth[inside]


def _depth(nm: Array, level: Array, nanometres: float, reach_nm: float) -> float:
    """Part of the light missing in a line, against the upper edge of what surrounds it."""
    near = np.abs(nm - nanometres) < reach_nm
    about = np.abs(nm - nanometres) < 6.0
    return float(1 - level[near].min() / np.percentile(level[about], 90))


# --- the sodium pair ----------------------------------------------------------------------------


def test_sodium_is_just_resolved_at_987_rulings() -> None:
    d2, d1 = lines.pair(987, 1)
    # Rayleigh (Born & Wolf 8.6.2): two equal lines, peak on first zero, leave 8/pi^2 between.
    # 0.002: the separation is 986.56 of 987, and a pixel 1/40 of it
    assert lines.bridge(d2, d1) == pytest.approx(8 / math.pi**2, abs=0.002)
    peak = int(np.argmax(d1))
    # D1's peak stands on the first zero of D2: below sinc^2 at a fortieth from its zero
    assert d2[peak] < math.sin(math.pi / 40) ** 2 / math.pi**2


def test_sodium_is_one_line_at_500_rulings_and_well_parted_at_2000() -> None:
    assert lines.bridge(*lines.pair(500, 1)) > 0.999  # no dip at all
    # N = 2000: in the middle both stand 1.013 widths from their peaks
    assert lines.bridge(*lines.pair(2000, 1)) < 0.01


def test_the_second_order_of_494_does_what_the_first_of_987_does() -> None:
    # 988 against 986.56: a little more parted, by 0.0015 of an element: d(bridge) = -0.0025
    assert lines.bridge(*lines.pair(494, 2)) == pytest.approx(8 / math.pi**2, abs=0.004)


@pytest.mark.parametrize(
    ("name", "low", "high"),
    [
        ("sodium_500", 0.999, 1.0), ("sodium_987", 0.8, 0.95), ("sodium_494_order_2", 0.8, 0.95),
        ("sodium_2000", 0.0, 0.03),
    ],
)  # fmt: skip
def test_the_shipped_sodium_scenes_show_it(name: str, low: float, high: float) -> None:
    # the hot lamp's D2 is 1.17 times D1; between 8/pi^2 of equal lines and no dip at 1.3
    plate = expose(one_row(name))
    light_ = plate.profile_irradiance
    order = 2 if name.endswith("order_2") else 1
    apart = order * 0.5973e-9 / 10e-6
    half = [int(np.argmin(np.abs(plate.x_m - side * apart / 2))) for side in (-1, 1)]
    reach = max(2, (half[1] - half[0]) // 3)
    peaks = [k - reach + int(np.argmax(light_[k - reach : k + reach + 1])) for k in half]
    between = float(light_[peaks[0] : peaks[1] + 1].min() / min(light_[peaks]))
    assert low <= between <= high


# --- the worked exposure ------------------------------------------------------------------------


def test_time_for_a_white_central_fringe_of_six_slits() -> None:
    scene = bench_scene(
        source='kind = "sun"\nair = "above"\nslit = { width = "20 um", height = "4 mm" }',
        aperture='kind = "slits"\ncount = 6\nwidth = "40 um"\npitch = "90 um"\nheight = "10 mm"',
        plate='width = "4 mm"\nheight = "0.1 mm"\npixel = "10 um"',
    )
    plate = expose(scene)
    luminance = 133_100 / 6.794311e-5  # ASTM G173 above the air [lx] over the Sun's disc [sr]
    bright = luminance * (6 * 40e-6 * 10e-3) / 1.0**2  # L S / f^2, were there no diffraction [lx]
    hand = 0.78 / (bright * _diffraction_left())  # ISO 12232 at 100: 0.78 lx s is white
    # 1 %: the weighting by a black body instead of the Sun, and the published lux to 4 digits
    assert plate.exposure_s == pytest.approx(hand, rel=0.01)
    assert 1 / plate.exposure_s == pytest.approx(87, abs=2)  # what to set on the shutter


def _diffraction_left() -> float:
    """Part of L S / f^2 that the middle of the central fringe gets.

    Radiance L from the slit's sines q in (-r, r) gives the axis L h (1/lambda) |A(q/lambda)|^2 dq,
    h the slits' height; L S / f^2 is L h N w: what is left is the integral of |A|^2 / (N w) over
    u = q / lambda. A narrow slit leaves N w s / lambda. Weighted with the light of a black body
    of 5772 K that the eye sees.
    """
    wavelength = np.linspace(400e-9, 700e-9, 301)
    planck = wavelength**-5 / np.expm1(1.438776877e-2 / (wavelength * 5772))
    table_m, cmf = light.cie1931()  # the published table of the eye
    eye = np.interp(wavelength, table_m, cmf[:, 1])
    u = np.linspace(-1, 1, 2001) * (10e-6 / 0.6) / wavelength[:, None]
    power = (6 * 40e-6 * np.sinc(40e-6 * u)) ** 2 * interference_factor(90e-6 * u, 6)
    left = np.trapezoid(power, u, axis=1) / (6 * 40e-6)
    narrow = 6 * 40e-6 * (20e-6 / 0.6) / wavelength
    assert left == pytest.approx(narrow, rel=0.01)  # the slit is 1/16 of the fringe: N w s / lambda
    return float(np.sum(planck * eye * left) / np.sum(planck * eye))


def test_the_hand_reckoning_scales() -> None:
    # twice the slit, twice the light, as long as its image is narrow against the fringe
    narrow = bench_scene(
        source='kind = "sun"\nslit = { width = "5 um", height = "4 mm" }',
        plate='width = "2 mm"\nheight = "0.05 mm"\npixel = "10 um"',
    )
    wide = known(narrow.source.slit).model_copy(update={"width_m": 10e-6})
    broad = narrow.model_copy(update={"source": narrow.source.model_copy(update={"slit": wide})})
    times = [expose(s).exposure_s for s in (narrow, broad)]
    assert times[0] / times[1] == pytest.approx(2.0, rel=2e-3)  # (pi w s)^2 terms: 1e-3 at 10 um
