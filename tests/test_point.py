"""Why a place has its colour: against Young's fringes, the engine's amplitude and the plate."""

from __future__ import annotations

import json
import math
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

import wavesim
from tests.bench import scene
from wavesim.cli.point import command
from wavesim.colorimetry import xyz_to_xy
from wavesim.errors import InputError
from wavesim.light import cie1931
from wavesim.lightpath import ExposedPlate, expose, open_plate
from wavesim.study.point import PlatePoint, explain, position_of_angle

TWO = 'kind = "slits"\ncount = 2\nwidth = "{0}"\npitch = "90 um"'
FIVE = 'kind = "slits"\ncount = 5\nwidth = "40 um"\npitch = "90 um"'
PLATE = 'width = "40 mm"\nheight = "0.5 mm"\npixel = "25 um"'


@cache
def plate(
    aperture: str, source: str = 'kind = "blackbody"\ntemperature = "5800 K"'
) -> ExposedPlate:
    return expose(scene(source=source, aperture=aperture, plate=PLATE))


def pointed(aperture: str, x_mm: float, **source: str) -> PlatePoint:
    return explain(plate(aperture, **source), x_mm * 1e-3)


def texts(found: PlatePoint) -> str:
    return " ".join(sentence.text for sentence in found.sentences)


# --- extinguished -------------------------------------------------------------------------------


@pytest.mark.parametrize("x_mm", [3.0, 8.0, 9.5, 16.0])
def test_two_slits_extinguish_half_whole_differences(x_mm: float) -> None:
    # Young: dark where d sin(beta) = (m + 1/2) lambda; Born & Wolf 7.3.1
    found = pointed(TWO.format("10 um"), x_mm)
    path = 90e-6 * math.sin(math.atan(found.x_m))
    young = [path / (m + 0.5) for m in range(10) if 400e-9 < path / (m + 0.5) < 700e-9]
    extinguished_m = sorted(zero.wavelength_m for dark in found.extinguished for zero in dark.zeros)
    assert young
    # 0.5 nm: the step of the spectrum; the pixel blurs by 1 %, evenly
    assert extinguished_m == pytest.approx(sorted(young), abs=0.5e-9)


def test_one_slit_extinguishes_whole_differences_of_its_edges() -> None:
    # Born & Wolf 8.5.1: zeros where w sin(beta) is a whole number of waves
    found = pointed('kind = "slits"\ncount = 1\nwidth = "40 um"\npitch = "90 um"', 12.5)
    zeros = [zero.wavelength_m for dark in found.extinguished for zero in dark.zeros]
    assert zeros == pytest.approx([40e-6 * math.sin(math.atan(found.x_m))], abs=0.5e-9)
    assert "subsidiary maximum 1" in texts(found)
    assert "1.00 wavelengths" in texts(found)


def test_where_the_single_slit_is_dark_it_is_said_to_be_at_fault() -> None:
    # w = d/2: order 2 is missing, and d sin(beta) = 2 lambda is dark for that reason alone
    found = pointed(TWO.format("45 um"), 2 * 500e-9 / 90e-6 * 1e3)
    zeros = [zero for dark in found.extinguished for zero in dark.zeros if zero.by_element]
    assert len(zeros) == 1
    assert zeros[0].wavelength_m == pytest.approx(500e-9, abs=1.5e-9)  # half a pixel is 0.6 nm
    assert "missing order 2" in found.sentences[0].text
    assert "single slit" in found.sentences[0].text


def test_nothing_is_extinguished_in_the_zero_order() -> None:
    found = pointed(TWO.format("10 um"), 0.0)
    assert found.extinguished == ()
    assert [band.orders for band in found.remaining] == [(0,)]
    assert found.remaining[0].light_fraction == pytest.approx(1.0, abs=1e-9)
    assert "order 0" in found.sentences[0].text
    assert "nothing between 400 and 700 nm is extinguished" in found.sentences[0].text


# --- what remains -------------------------------------------------------------------------------


def test_orders_obey_the_grating_equation() -> None:
    found = pointed('kind = "slits"\ncount = 25\nwidth = "5 um"\npitch = "90 um"', 14.2)
    path = 90e-6 * math.sin(math.atan(found.x_m))
    orders = {order: band.strongest_m for band in found.remaining for order in band.orders}
    assert set(orders) == {2, 3}
    for order, best in orders.items():
        # half a nanometre: the step; the slope of envelope and 1/lambda^2 is worth less
        assert best == pytest.approx(path / order, abs=0.5e-9)


def test_the_spectrum_is_that_of_the_amplitude() -> None:
    # a point source: power on a small pixel goes as |A|^2 / lambda along x and as h^2 / lambda
    # along y (its middle), so as |A|^2 / lambda^2
    small = scene(aperture=FIVE, plate='width = "12 mm"\nheight = "1 um"\npixel = "1 um"')
    found = explain(expose(small), 5.5e-3)
    sine = math.sin(math.atan(found.x_m))
    some = found.spectrum.wavelength_m[::40]
    power = [abs(wavesim.amplitude(small, [sine], w)[0]) ** 2 / w**2 for w in some]
    # 1e-4: hat functions half a nanometre wide lie that far above a maximum's curve
    assert found.spectrum.passed[::40][1:-1] == pytest.approx(
        np.array(power)[1:-1] / max(power) * found.spectrum.passed[::40].max(), abs=1e-4
    )


@pytest.mark.parametrize("x_mm", [0.0, 3.1, 6.0, 9.3, 14.2])
def test_the_fine_spectrum_has_the_plate_s_colour(x_mm: float) -> None:
    found = pointed(FIVE, x_mm)
    table_m, cmf = cie1931()
    wavelength = found.spectrum.wavelength_m
    curves = np.stack([np.interp(wavelength, table_m, c) for c in cmf.T], axis=1)
    xy = xyz_to_xy(np.trapezoid(found.spectrum.irradiance[:, None] * curves, wavelength, axis=0))
    # 1e-3: light beyond 390 and 730 nm is in the plate and not in the spectrum
    assert found.colour.xy == pytest.approx(tuple(xy), abs=1e-3)


def test_the_fine_spectrum_has_the_plate_s_light() -> None:
    for x_mm in (0.0, 6.0, 14.2):
        found = pointed(FIVE, x_mm)
        whole = plate(FIVE)
        column = int(np.argmin(np.abs(whole.x_m - found.x_m)))
        inside = (whole.profile_wavelength_m > 391e-9) & (whole.profile_wavelength_m < 729e-9)
        coarse = np.trapezoid(
            whole.profile_spectrum[inside, column], whole.profile_wavelength_m[inside]
        )
        wavelength = found.spectrum.wavelength_m
        ends = whole.profile_wavelength_m[inside][[0, -1]]
        within = (wavelength > ends[0] - 1e-13) & (wavelength < ends[1] + 1e-13)
        fine = np.trapezoid(found.spectrum.irradiance[within], wavelength[within])
        assert fine == pytest.approx(coarse, rel=1e-3)  # ends of hats 1 nm and 0.5 nm wide


def test_a_high_order_is_finer_than_a_nanometre() -> None:
    many = 'kind = "grating"\nmounting = "transmission"\ndensity = "300 / mm"\ncount = 6000'
    many += '\ngroove = { profile = "slit", width = "1 um" }'
    bench = 'collimator = "600 mm"\ncamera = "1 m"\nviewing = "18.9 deg"'
    small = 'width = "4 mm"\nheight = "4 um"\npixel = "4 um"'
    found = explain(expose(scene(bench=bench, aperture=many, plate=small)), 1e-3)
    order = next(band for band in found.remaining if band.orders == (2,))
    path = 1e-3 / 300 * math.sin(math.radians(18.9) + math.atan(found.x_m))
    assert order.strongest_m == pytest.approx(path / 2, abs=0.01e-9)
    # sinc^2 falls to 5 % of its top at 0.808 of lambda / (m N) = 0.045 nm to either side; the
    # pixel's 6 pm widen it and the ends are told in steps of 3 pm
    assert order.hi_m - order.lo_m == pytest.approx(2 * 0.808 * path / 2 / 12000, abs=6e-12)


def test_shares_add_up() -> None:
    for x_mm in (3.1, 9.3, 12.0, 14.2):
        bands = pointed(FIVE, x_mm).remaining
        for fraction in ("light_fraction", "brightness_fraction", "colour_fraction"):
            total = sum(getattr(band, fraction) for band in bands)
            assert 0.9 < total <= 1 + 1e-9  # bands with less than 1 % of everything are left out


def test_between_two_orders_no_order_is_named() -> None:
    found = pointed(FIVE, 3.0)
    assert all(band.orders == () for band in found.remaining)
    assert "(between orders 0 and 1)" in texts(found)


def test_beside_the_lines_of_a_lamp_there_is_only_stray_light() -> None:
    grating = 'kind = "grating"\nmounting = "transmission"\ndensity = "100 / mm"\ncount = 1000'
    bench = 'collimator = "600 mm"\ncamera = "1 m"\nviewing = "3.2 deg"'
    lamp = 'kind = "lamp"\nelement = "Cd"'
    beside = explain(expose(scene(source=lamp, bench=bench, aperture=grating)), 0.0)
    # the first order of 558 nm: cadmium has nothing between 515 and 643 nm
    first = next(band for band in beside.remaining if band.lo_m < 558.2e-9 < band.hi_m)
    assert first.stray
    assert first.orders == ()
    assert "wings" in beside.sentences[0].text
    assert "light of 5" in texts(beside)
    on_line = math.tan(math.asin(643.847e-9 * 100e3) - math.radians(3.2))
    found = explain(expose(scene(source=lamp, bench=bench, aperture=grating)), on_line)
    red = next(band for band in found.remaining if band.orders == (1,))
    assert red.light_fraction > 0.99
    assert not red.stray


# --- the colour ---------------------------------------------------------------------------------


def test_a_purple_fringe_is_explained() -> None:
    found = pointed(FIVE, 14.2)
    colour = found.colour
    assert "purple" in colour.name
    assert math.isnan(colour.dominant_m)
    # purples are complementary to greens, 493 to 567 nm for daylight (CIE 15)
    assert 493e-9 < colour.complementary_m < 567e-9
    assert "complementary to" in found.sentences[1].text
    # both ends remain: deep blue of order 3 with red of order 2, green is extinguished
    why = found.sentences[0].text
    assert all(fact in why for fact in ("extinguished", "slit", "order 3", "order 2", "purple"))
    assert any(dark.lo_m < 500e-9 and dark.hi_m > 580e-9 for dark in found.extinguished)


def test_a_spectral_colour_has_its_wavelength() -> None:
    grating = 'kind = "grating"\nmounting = "transmission"\ndensity = "100 / mm"\ncount = 1000'
    bench = 'collimator = "600 mm"\ncamera = "200 mm"'
    small = 'width = "24 mm"\nheight = "20 um"\npixel = "20 um"'
    whole = expose(scene(bench=bench, aperture=grating, plate=small))
    x = 0.2 * math.tan(math.asin(580e-9 * 100e3))
    found = explain(whole, x)
    # a millimetre holds 50 nm, a pixel 1 nm
    assert found.colour.dominant_m == pytest.approx(580e-9, abs=1e-9)
    assert found.colour.purity > 0.99
    assert found.colour.name in ("yellow", "orange")


def test_exposure_is_told() -> None:
    bright = scene(aperture=FIVE, plate=PLATE, exposure="over = 2.0")
    burnt = explain(expose(bright), 0.0).sentences[0].text
    assert "burnt out" in burnt
    assert "2.0 stops above white" in burnt
    dim = scene(aperture=FIVE, plate=PLATE, exposure="over = -3.0")
    assert "3.0 stops below white" in explain(expose(dim), 0.0).sentences[1].text


# --- places and files ---------------------------------------------------------------------------


def test_an_angle_is_a_place() -> None:
    whole = plate(FIVE)
    x = position_of_angle(whole, 0.008)
    assert x == pytest.approx(math.tan(0.008))
    assert explain(whole, x).beta_rad == pytest.approx(0.008, abs=12.5e-6)  # half a pixel
    with pytest.raises(InputError, match="does not reach the plate"):
        position_of_angle(whole, 2.0)


def test_off_the_plate_is_refused() -> None:
    with pytest.raises(InputError, match=r"x: is not on the plate.*30 mm.*-20 mm to 20 mm"):
        explain(plate(FIVE), 30e-3)


def test_a_plate_file_says_the_same(tmp_path: Path) -> None:
    plate(FIVE).save(tmp_path / "five.h5")
    assert texts(explain(open_plate(tmp_path / "five.h5"), 14.2e-3)) == texts(pointed(FIVE, 14.2))


def test_an_aperture_in_the_plane_is_read_from_the_plate() -> None:
    disc = scene(
        aperture='kind = "disc"\ndiameter = "0.2 mm"',
        plate='width = "6 mm"\nheight = "2 mm"\npixel = "50 um"',
    )
    found = explain(expose(disc), 0.0)
    assert not found.spectrum.full
    assert found.spectrum.step_m == pytest.approx(1e-9)
    assert "steps of 1 nm" in found.sentences[-1].text
    assert found.remaining[0].orders == ()


# --- the command --------------------------------------------------------------------------------

SCENE = str(Path(__file__).resolve().parents[1] / "scenes" / "slits_005.toml")


def test_the_command_answers_in_words() -> None:
    result = CliRunner().invoke(command, [SCENE, "--x", "14.2 mm"])
    assert result.exit_code == 0, result.output
    printed = " ".join(result.output.split())
    assert "purple, complementary to 562 nm" in printed
    assert "extinguished by the single slit" in printed
    assert "caution" in result.output


def test_the_command_answers_in_json_and_draws(tmp_path: Path) -> None:
    figure = tmp_path / "why.png"
    result = CliRunner().invoke(
        command, [SCENE, "--angle", "0.8128 deg", "--figure", str(figure), "--json"]
    )
    assert result.exit_code == 0, result.output
    record = json.loads(result.output)
    assert record["x_m"] == pytest.approx(14.1875e-3)
    assert [band["orders"] for band in record["remaining"]] == [[3], [2]]
    assert len(record["spectrum"]["passed"]) == len(record["spectrum"]["wavelength_m"])
    assert figure.read_bytes().startswith(b"\x89PNG")


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        ([], "give a position, --x"),
        (["--x", "1 mm", "--angle", "1 deg"], "give a position, --x"),
        (["--x", "12"], '"12" has no unit; expected a length such as "9.3 mm"'),
        (["--x", "1 deg"], '"1 deg" is an angle, not a length'),
        (["--angle", "1 mm"], '"1 mm" is a length, not an angle'),
    ],
)
def test_a_wrong_place_is_named(arguments: list[str], says: str) -> None:
    result = CliRunner().invoke(command, [SCENE, *arguments])
    assert result.exit_code == 2
    assert says in result.output
