"""The demonstration room: every number that a scene's comment states, found by the program.

Right sides are closed forms (Born & Wolf, Principles of Optics, 8.5.1, 8.6.1 and 8.7; the N-slit
table in its usual fractions) or published wavelengths, never earlier output of the program.
"""

from __future__ import annotations

import math
import re
import runpy
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import wavesim
from tests.narrowing import known, of_kind
from tests.parameters import slow_beyond
from tests.shipped import NAMES, SCENES, maxima, plate, scene
from wavesim.colorimetry import (
    complementary_wavelength,
    dominant_wavelength,
    excitation_purity,
)
from wavesim.scene.aperture import Slits
from wavesim.scene.planar import Dots

MAKE = runpy.run_path(str(SCENES / "pictures" / "make.py"))
FIGURES = MAKE["FIGURES"]
SERIES = (1, 2, 3, 5, 9, 25, 250)
WIDTH_M, PITCH_M, GREEN_M = 40e-6, 90e-6, 550e-9
ORDER = GREEN_M / PITCH_M  # sine of the first order
GREEN_FILTER = '[[source.filters]]\nkind = "bandpass"\ncentre = "550 nm"\nwidth = "10 nm"\n'
ORDERS = (1 - 1 / 96, 1.0, 1 + 1 / 96)  # the line of grating_600_ghosts and its ghosts


def power(name: str, sines: np.ndarray, wavelength_m: float = GREEN_M) -> np.ndarray:
    """|A|^2 relative to the middle."""
    peak = wavesim.amplitude(scene(name), [0.0], wavelength_m)[0]
    return np.abs(wavesim.amplitude(scene(name), sines, wavelength_m) / peak) ** 2


def slit_curve(sines: np.ndarray) -> np.ndarray:
    """sinc^2(a sin b / lambda) of one slit at 550 nm."""
    return np.sinc(WIDTH_M * sines / GREEN_M) ** 2


def middle_xyz(name: str) -> np.ndarray:
    """(nx, 3) along the middle row."""
    xyz = plate(name).xyz
    return xyz[xyz.shape[0] // 2]


def column(name: str, x_m: float) -> int:
    return int(np.argmin(np.abs(plate(name).x_m - x_m)))


def white_xy(name: str) -> np.ndarray:
    white = plate(name).white_xyz
    return white[:2] / white.sum()


def xy(xyz: np.ndarray) -> np.ndarray:
    return xyz[..., :2] / xyz.sum(axis=-1, keepdims=True)


@pytest.mark.parametrize("name", NAMES)
def test_every_scene_says_what_to_look_for_and_has_its_picture(name: str) -> None:
    text = (SCENES / f"{name}.toml").read_text(encoding="utf-8")
    assert text.startswith("# ")
    assert "\n# Look for:\n" in text
    shown = scene(name)
    with Image.open(SCENES / "pictures" / f"{name}.png") as picture:
        tones = np.asarray(picture.convert("RGB"))
    if name in FIGURES:  # labelled, on white paper: the light in it has a colour
        assert tones.shape[1] == 1536  # 8 inches for the screen
        assert np.ptp(tones.astype(int), axis=2).max() > 100
    else:
        wide, high = shown.plate.pixels_x, shown.plate.pixels_y
        assert tones.shape[1] / tones.shape[0] == pytest.approx(wide / high, rel=0.02)  # rounding
    assert tones.max() > 200  # something bright
    assert tones.min() < 40  # and something dark


@pytest.mark.parametrize("name", ["slits_001", "plane_disc"])
@pytest.mark.slow
def test_the_gallery_s_script_still_makes_its_pictures(name: str, tmp_path: Path) -> None:
    """The shipped picture again, but for a step of rounding here and there."""
    MAKE["write_picture"](scene(name), tmp_path / "again.png")
    with (
        Image.open(tmp_path / "again.png") as again,
        Image.open(SCENES / "pictures" / f"{name}.png") as shipped,
    ):
        new, old = (np.asarray(picture.convert("RGB"), dtype=int) for picture in (again, shipped))
    assert new.shape == old.shape
    assert np.abs(new - old).mean() < 0.5


def test_the_room_is_complete() -> None:
    assert {f"slits_{n:03}" for n in SERIES} <= set(NAMES)
    for n in SERIES:
        aperture = of_kind(Slits, scene(f"slits_{n:03}").aperture)
        assert (aperture.count, aperture.width_m, aperture.pitch_m) == (n, WIDTH_M, PITCH_M)


def test_one_slit_puts_out_the_green_and_leaves_purple() -> None:
    x = 13.5e-3
    sine = x / math.hypot(x, 1.0)
    assert math.degrees(math.asin(sine)) == pytest.approx(0.773, abs=5e-4)  # digits stated
    assert WIDTH_M * sine == pytest.approx(540e-9, abs=0.5e-9)
    assert power("slits_001", np.array([sine]), WIDTH_M * sine) < 1e-24  # rounding
    light = xy(middle_xyz("slits_001")[column("slits_001", x)])
    white = white_xy("slits_001")
    assert np.isnan(dominant_wavelength(light, white))  # a purple
    assert complementary_wavelength(light, white) == pytest.approx(558e-9, abs=1e-9)
    assert excitation_purity(light, white) == pytest.approx(0.73, abs=0.01)


def test_one_slit_holds_4_72_percent_in_its_first_side_maximum() -> None:
    sines = np.linspace(1.01, 1.99, 20_001) * GREEN_M / WIDTH_M
    # 1 / (1 + x^2) at tan x = x (Born & Wolf table 8.1); a sample is 1e-9 below the maximum
    assert power("slits_001", sines).max() == pytest.approx(0.0471904492258, abs=1e-8)


@pytest.mark.parametrize("n", SERIES[:-1])
def test_the_middle_of_the_series_is_nearly_white(n: int) -> None:
    name = f"slits_{n:03}"
    light = xy(middle_xyz(name)[column(name, 0.0)])
    assert dominant_wavelength(light, white_xy(name)) == pytest.approx(481e-9, abs=1e-9)
    assert excitation_purity(light, white_xy(name)) == pytest.approx(0.10, abs=0.005)
    shown = plate(name).picture()
    assert np.all(shown[shown.shape[0] // 2, column(name, 0.0)] == 255)  # bleached


def test_the_middle_grows_narrower_with_every_slit() -> None:
    widths = []
    for n in SERIES:
        light = middle_xyz(f"slits_{n:03}")[:, 1]
        widths.append(int(np.count_nonzero(light > light.max() / 2)))
    assert widths == sorted(widths, reverse=True)
    assert len(set(widths)) == len(widths)
    stated_mm = {2: 3.0, 5: 1.1, 9: 0.6, 25: 0.22}  # in the comments
    for n, width in zip(SERIES, widths, strict=True):
        if n in stated_mm:
            # digits stated, and a pixel
            assert width * 0.025 == pytest.approx(stated_mm[n], abs=0.05)


@pytest.mark.parametrize("n", SERIES[1:])
def test_n_slits_leave_n_minus_2_subsidiary_maxima(n: int) -> None:
    # between the first zeros beside the orders, sampled 40 times a maximum
    sines = ORDER * np.linspace(1 / n, 1 - 1 / n, 40 * n + 1)
    bare = power(f"slits_{n:03}", sines) / slit_curve(sines)
    assert maxima(bare).size == n - 2


@pytest.mark.parametrize("n", SERIES[1:])
def test_n_slits_follow_the_closed_form(n: int) -> None:
    sines = ORDER * np.linspace(0.3 / n, 0.97, 4001)  # the form is 0 / 0 at the orders
    y = np.pi * sines / ORDER
    wanted = (np.sin(n * y) / (n * np.sin(y))) ** 2 * slit_curve(sines)
    # within 1e-12 of the peak amplitude, doubled in the power
    assert power(f"slits_{n:03}", sines) == pytest.approx(wanted, abs=2e-12)


def test_nine_slits_first_subsidiary_maximum() -> None:
    sines = ORDER * np.linspace(1.2, 1.8, 6001) / 9
    assert power("slits_009", sines).max() == pytest.approx(0.0505, abs=5e-5)  # digits stated


# the table of N slits, Born & Wolf 8.6.1
@pytest.mark.parametrize(("n", "height", "position"), [(3, 1 / 9, 1.5), (5, 1 / 16, 1.451076558)])
def test_height_and_place_of_the_first_subsidiary_maximum(
    n: int, height: float, position: float
) -> None:
    sines = ORDER * np.linspace(1.2, 1.8, 6001) / n
    bare = power(f"slits_{n:03}", sines) / slit_curve(sines)
    top = int(np.argmax(bare))
    assert bare[top] == pytest.approx(height, abs=1e-7)  # the samples' step, squared
    assert sines[top] * n / ORDER == pytest.approx(position, abs=1e-4)  # the samples' step


def test_orders_follow_the_single_slits_curve() -> None:
    # sinc^2(m a / d)
    sines = ORDER * np.arange(1, 5)
    for name in ("slits_002", "slits_005"):
        assert power(name, sines) == pytest.approx(slit_curve(sines), abs=1e-12)
    assert power("slits_002", sines)[0] == pytest.approx(0.497, abs=5e-4)


@pytest.mark.slow
def test_green_filter_leaves_fringes_to_count() -> None:
    name = "slits_005_green"
    light = plate(name).profile_irradiance
    first = column(name, 6.11e-3)
    middle = column(name, 0.0)
    tops = maxima(light[: first + 20])
    between = tops[(tops > middle + 10) & (tops < first - 10)]
    assert between.size == 3
    assert light[between[0]] / light[middle] == pytest.approx(0.059, abs=1e-3)  # digits stated
    nearest = tops[np.argmin(np.abs(tops - first))]
    assert plate(name).x_m[nearest] == pytest.approx(6.11e-3, abs=100e-6)  # drawn in by the slit


def test_past_the_second_order_spectra_overlap() -> None:
    # d sin b = 2 * 700 nm = 3 * 466.7 nm
    name = "slits_250"
    spectrum = plate(name).profile_spectrum[:, column(name, 15.556e-3)]
    wavelength = plate(name).profile_wavelength_m
    strong = wavelength[maxima(spectrum)][spectrum[maxima(spectrum)] > 0.05 * spectrum.max()]
    for expected in (700e-9, 1400e-9 / 3):
        assert np.min(np.abs(strong - expected)) < 2e-9  # the spectrum's step of 1 nm
    second = column(name, 12.0e-3)  # 540 nm alone: the third order begins at 13.3 mm
    spectrum = plate(name).profile_spectrum[:, second]
    assert wavelength[np.argmax(spectrum)] == pytest.approx(540e-9, abs=1e-9)


def test_250_slits_give_sharp_orders() -> None:
    zero = ORDER * (1 + 1 / 250)  # first zero beside the order, at lambda / (m N)
    assert power("slits_250", np.array([zero])) < 1e-20


def test_wires_as_wide_as_gaps_have_no_even_orders() -> None:
    orders = GREEN_M / 120e-6 * np.arange(1, 6)
    found = power("wires", orders)
    wanted = np.sinc(np.arange(1, 6) / 2) ** 2  # 4 / pi^2, 0, 4 / (9 pi^2), ...
    assert found == pytest.approx(wanted, abs=1e-12)
    assert plate("wires").report.elements == 40  # gaps between 41 wires


GRATING_LINES_NM = {
    # Fraunhofer's lines, from a printed encyclopaedia to 0.01 nm; mercury: NIST ASD, from memory
    "grating_600": {"F": 486.13, "D2": 589.00, "D1": 589.59, "C": 656.28},
    "grating_600_mercury": {"violet": 435.833, "green": 546.074, "y1": 576.960, "y2": 579.066},
}


@pytest.mark.parametrize(
    ("name", "line", "x_mm"),
    slow_beyond(
        4,
        [
            ("grating_600_mercury", "violet", -72.4),
            ("grating_600_mercury", "green", -3.0),
            ("grating_600_mercury", "y1", 16.6),
            ("grating_600_mercury", "y2", 18.0),
            ("grating_600", "F", -40.9),
            ("grating_600", "D2", 24.4),
            ("grating_600", "D1", 24.7),
            ("grating_600", "C", 68.0),
        ],
    ),
)
def test_the_grating_puts_lines_where_its_equation_says(name: str, line: str, x_mm: float) -> None:
    wavelength_m = GRATING_LINES_NM[name][line] * 1e-9
    x = math.tan(math.asin(600e3 * wavelength_m) - math.radians(19.3))
    assert x * 1e3 == pytest.approx(x_mm, abs=0.05)  # digits stated
    light = plate(name).profile_irradiance * (-1 if name == "grating_600" else 1)
    near = np.flatnonzero(np.abs(plate(name).x_m - x) < 0.16e-3)  # two pixels about it
    extremum = near[np.argmax(light[near])]
    assert abs(plate(name).x_m[extremum] - x) <= 80e-6  # a pixel


def plane_power(name: str, x_m: np.ndarray, y_m: np.ndarray | float = 0.0) -> np.ndarray:
    """|A|^2 at places near the middle of a plate 1 m away, relative to the middle, 550 nm."""
    peak = wavesim.amplitude(scene(name), [0.0], GREEN_M)[0]
    found = wavesim.amplitude(scene(name), np.sin(x_m), GREEN_M, rises=np.sin(y_m))
    return np.abs(found / peak) ** 2


def test_round_hole_has_airys_rings() -> None:
    # first zero and second maximum of J1: Born & Wolf 8.5.2, table 8.2
    radius = np.linspace(1.2e-3, 2.2e-3, 10_001)
    light = plane_power("plane_disc", radius)
    assert radius[np.argmin(light)] == pytest.approx(1.2196699 * GREEN_M / 0.5e-3, abs=1e-7)
    assert light[radius > 1.4e-3].max() == pytest.approx(0.0174978627858, abs=1e-8)


def test_triangle_has_white_arms() -> None:
    height = 1.5 * 0.35e-3
    # a ramp of length h: |integral of x exp(2 pi i n x / h)|^2 = (h^2 / (2 pi n))^2
    angles = np.arcsin(np.array([1, 2]) * GREEN_M / height)
    for way in (1, -1):
        found = plane_power("plane_triangle", 0 * angles, way * angles)
        assert found == pytest.approx(1 / (np.pi * np.array([1, 2])) ** 2, rel=1e-9)
    assert angles[0] == pytest.approx(1.05e-3, abs=5e-6)  # digits stated


def test_hexagon_is_dark_along_its_arms() -> None:
    across = math.sqrt(3) * 0.3e-3
    s = 1.837  # of tan s = -2 s, from w sinc(t) + (w / 2) sinc^2(t / 2) = 0
    assert math.tan(s) == pytest.approx(-2 * s, rel=2e-3)  # digits of s
    x = np.linspace(1.0e-3, 1.5e-3, 5001)
    light = plane_power("plane_hexagon", x)
    assert light.min() < 1e-9
    assert x[np.argmin(light)] == pytest.approx(2 * s * GREEN_M / (math.pi * across), abs=1e-6)
    assert x[np.argmin(light)] == pytest.approx(1.24e-3, abs=5e-6)  # digits stated


def test_gauze_has_orders_in_two_directions() -> None:
    order = math.asin(ORDER)
    found = plane_power("plane_mesh", np.array([order, order]), np.array([0.0, order]))
    once = np.sinc(WIDTH_M / PITCH_M) ** 2
    assert found == pytest.approx([once, once**2], abs=1e-12)
    assert once == pytest.approx(0.497, abs=5e-4)
    assert once**2 == pytest.approx(0.2474, abs=5e-4)
    turn = math.radians(30)
    turned = plane_power(
        "plane_mesh_turned",
        np.arcsin(ORDER * math.cos(turn) * np.ones(2)),
        np.arcsin(ORDER * math.sin(turn) * np.array([1.0, -1.0])),
    )
    assert turned[0] == pytest.approx(once, abs=1e-12)
    assert turned[1] < 1e-3  # between orders


@pytest.mark.slow
@pytest.mark.parametrize(
    ("name", "glass", "fewer", "ring_mm"),
    [
        ("plane_powder", ('"10 mm"', '"3 mm"'), ("20000", "1800"), 4.47),
        ("plane_corona", ('diameter = "12 mm"', 'diameter = "1.4 mm"'), ("100000", "1361"), 1.68),
    ],
)
def test_powder_has_its_dark_ring_where_a_hole_would(
    name: str, glass: tuple[str, str], fewer: tuple[str, str], ring_mm: float
) -> None:
    # for speed, a smaller glass with as many grains per area, for the grains set the rings, not it;
    # a low plate in green light, where only the middle row in green light is read
    smaller = scene(name).text.replace(*glass).replace(*fewer)
    smaller = re.sub(r'(\[plate\]\n.*\n)height = ".*"', r'\1height = "1 mm"', smaller)
    assert 'height = "1 mm"' in smaller
    shown = wavesim.expose(wavesim.parse(smaller.replace("[bench]", f"{GREEN_FILTER}\n[bench]")))
    green = shown.profile_spectrum[np.argmin(np.abs(shown.profile_wavelength_m - GREEN_M))]
    # 0.61 lambda / r, the first zero of J1 (Born & Wolf 8.5.2; by Babinet's principle, 8.3.2)
    ring = 1.2196699 * GREEN_M / of_kind(Dots, shown.scene.aperture).diameter_m
    ring *= known(shown.scene.bench.camera_m)
    assert ring * 1e3 == pytest.approx(ring_mm, abs=5e-3)  # digits stated
    near = (shown.x_m > 0.7 * ring) & (shown.x_m < 1.3 * ring)
    darkest = shown.x_m[near][np.argmin(green[near])]
    # the Sun's width smears the steep inner side outwards by a small part of it
    sun = math.radians(32 / 60) * known(shown.scene.bench.camera_m)
    assert ring < darkest + shown.scene.plate.pixel_m
    assert darkest < ring + 0.2 * sun


def test_ghosts_stand_and_shine_as_rowland_says() -> None:
    name, line_m, pitch_m = "grating_600_ghosts", 546.075e-9, 1 / 600e3
    tan_of = {m: math.tan(math.asin(m * line_m / pitch_m) - math.radians(19.3)) for m in ORDERS}
    assert tan_of[ORDERS[0]] * 1e3 == pytest.approx(-6.65, abs=5e-3)  # digits stated
    assert tan_of[ORDERS[2]] * 1e3 == pytest.approx(0.58, abs=5e-3)
    light = plate(name).profile_irradiance
    for m in ORDERS:
        near = np.flatnonzero(np.abs(plate(name).x_m - tan_of[m]) < 0.1e-3)
        found = plate(name).x_m[near[np.argmax(light[near])]]
        assert abs(found - tan_of[m]) <= 10e-6  # a pixel
    sines = np.array(ORDERS) * line_m / pitch_m
    powers = np.abs(wavesim.amplitude(scene(name), sines, line_m)) ** 2
    # the slits' own curve, half the pitch wide; J1^2 / J0^2 to its first two terms; 2 pi (m + f) A
    # / d, exact in the ghost's own direction (Quincke 1872; Peirce, Am. J. Math. 2, 330, 1879)
    powers /= np.sinc(np.array(ORDERS) / 2) ** 2
    z = 2 * np.pi * np.array(ORDERS) * 8e-9 / pitch_m
    wanted = (z / 2 * (1 - z**2 / 8)) ** 2 / (1 - z[1] ** 2 / 4) ** 2
    ratios = powers / powers[1]
    # the whole periods leave no tail of the line there; the two terms are right to z^4 / 96
    assert ratios[[0, 2]] == pytest.approx(wanted[[0, 2]], rel=1e-6)
    assert wanted[0] == pytest.approx(2.23e-4, rel=5e-3)
    assert wanted[2] == pytest.approx(2.32e-4, rel=5e-3)


@pytest.mark.parametrize(
    ("name", "distance_m", "first_mm"),
    [("near_double_slit_400mm", 0.4, 0.70), ("near_double_slit_2m", 2.0, 3.54)],
)
@pytest.mark.slow
def test_double_slit_far_behind_has_youngs_fringes(
    name: str, distance_m: float, first_mm: float
) -> None:
    shown = plate(name)
    green = shown.profile_spectrum[np.argmin(np.abs(shown.profile_wavelength_m - GREEN_M))]
    # Young: (cos y)^2 (sinc a)^2, the maximum beside the middle of the far field's closed form
    x = np.linspace(0.6, 1.2, 60_001) * GREEN_M * distance_m / 300e-6
    t = x / (GREEN_M * distance_m)
    wanted = x[np.argmax(np.cos(np.pi * 300e-6 * t) ** 2 * np.sinc(100e-6 * t) ** 2)]
    near = np.flatnonzero(np.abs(shown.x_m - wanted) < 0.2 * wanted)
    found = shown.x_m[near[np.argmax(green[near])]]
    assert found * 1e3 == pytest.approx(first_mm, abs=5e-3)  # digits stated
    # a pixel, and 4 N^2 / 45 of curvature at N = 0.18 (Goodman 4.2)
    assert abs(found - wanted) < shown.scene.plate.pixel_m + 0.01 * wanted


def test_spot_behind_the_disc_is_as_bright_as_two_edges_make_it() -> None:
    shown = plate("near_disc_shadow")
    wavelength_m, distance_m = 633e-9, 1.0
    inner, outer = 1e-3**2 / (wavelength_m * distance_m), 3e-3**2 / (wavelength_m * distance_m)
    open_beam = 1e-3 / (math.pi * 3e-3**2)
    # on the axis of an annulus, |exp(i pi N1) - exp(i pi N2)|^2 (Born & Wolf 8.7)
    wanted = open_beam * 4 * math.sin(math.pi * (outer - inner) / 2) ** 2
    assert wanted / open_beam == pytest.approx(2.8, abs=0.05)  # digits stated
    spot = shown.irradiance.max(where=shown.x_m**2 < 1e-10, initial=0.0)
    assert spot == pytest.approx(wanted, rel=0.03)  # mean over a pixel of 10 um


def line_546(name: str) -> np.ndarray:
    """Irradiance about the green mercury line of a bent or fanned ruling."""
    shown = plate(name)
    x = 0.6 * math.tan(math.asin(546.075e-9 * 100e3) - math.radians(3))
    return shown.irradiance[:, np.abs(shown.x_m - x) < 0.5e-3]


@pytest.mark.slow
def test_bowed_rulings_fade_the_ends_of_a_line() -> None:
    along = line_546("plane_bow").sum(axis=1)
    # the slit's image spread by the arc's two ends, m lambda f / d times its slope 4 s / h: a
    # trapezoid of the widths 1 mm and 2 reach; diffraction at the height h rounds its corners
    reach = 546.075e-9 * 100e3 * 0.6 * 4 * 20e-6 / 8e-3
    rounded = 546.075e-9 * 0.6 / 8e-3  # 41 um
    assert reach == pytest.approx(0.33e-3, abs=5e-6)  # digits stated
    for fraction, stated in ((0.95, 0.44e-3), (0.5, 1.0e-3), (0.05, 1.58e-3)):
        width = np.count_nonzero(along > fraction * along.max()) * 10e-6
        assert width == pytest.approx(1e-3 + 2 * reach * (1 - 2 * fraction), abs=rounded)
        assert width == pytest.approx(stated, abs=15e-6)  # digits stated, a pixel


@pytest.mark.slow
def test_fanned_rulings_broaden_a_line() -> None:
    across = line_546("plane_fan").sum(axis=0)
    width = np.count_nonzero(across > across.max() / 2) * 10e-6
    # the pitch changes along a ruling by angle x height over the ruled width
    spread = math.radians(0.3) * 8e-3 / (800 * 10e-6)
    assert width == pytest.approx(0.6 * 546.075e-9 * 100e3 * spread, abs=20e-6)  # two pixels
    assert width == pytest.approx(0.17e-3, abs=10e-6)  # digits stated


def test_sunflower_throws_a_ring() -> None:
    radius = np.linspace(1.9e-3, 2.9e-3, 201)
    turn = np.linspace(0, 2 * np.pi, 90, endpoint=False)[:, None]
    light = plane_power(
        "plane_picture", (radius * np.cos(turn)).ravel(), (radius * np.sin(turn)).ravel()
    )
    mean = light.reshape(turn.size, radius.size).mean(axis=0)
    assert radius[np.argmax(mean)] == pytest.approx(2.3e-3, abs=0.05e-3)  # digits stated


@pytest.mark.slow
def test_astigmatism_draws_a_star_into_a_line() -> None:
    middle = plate("near_astigmatism").profile_irradiance
    long = np.count_nonzero(middle > middle.max() / 10) * 1e-6
    assert long == pytest.approx(0.30e-3, abs=5e-6)  # digits stated
    rays = 4 * 1.5 * 550e-9 * 0.5 / 5e-3  # slope of the wavefront at either edge of the lens
    assert rays == pytest.approx(0.33e-3, abs=5e-6)
    assert 0.8 * rays < long < rays  # diffraction rounds the ends off


def test_coma_throws_the_light_to_one_side() -> None:
    light = plate("near_coma").irradiance
    fraction = light[:, plate("near_coma").x_m > 0].sum() / light.sum()
    assert fraction == pytest.approx(0.97, abs=5e-3)  # digits stated


def test_spherical_aberration_widens_the_first_dark_ring() -> None:
    shown = plate("near_spherical")
    near = (shown.x_m > 20e-6) & (shown.x_m < 80e-6)
    ring = shown.x_m[near][np.argmin(shown.profile_irradiance[near])]
    assert ring == pytest.approx(46e-6, abs=1e-6)  # digits stated
    assert ring > 1.2196699 * GREEN_M * 0.5 / 10e-3


def test_amplitude_refuses_what_has_no_far_field() -> None:
    with pytest.raises(wavesim.LimitError, match="gives no far field"):
        wavesim.amplitude(scene("near_hexagon"), [0.0], GREEN_M)


@pytest.mark.parametrize(("sines", "wavelength_m"), [([0.0], -1.0), ([math.nan], GREEN_M)])
def test_amplitude_refuses_numbers_that_are_none(sines: list[float], wavelength_m: float) -> None:
    with pytest.raises(wavesim.InputError, match="a wavelength above 0 m and finite sines"):
        wavesim.amplitude(scene("slits_002"), sines, wavelength_m)
