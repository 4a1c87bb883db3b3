"""Predictions from formulas: published numbers, and the engine's lines where both must agree."""

from __future__ import annotations

import json
import math
import subprocess
import sys

import numpy as np
import pytest
from click.testing import CliRunner

import wavesim
from tests import bench
from tests.rulings import PITCH_M, WAVELENGTH_M, grating, periodic
from wavesim import aperture, scene
from wavesim.diffraction.far import amplitude
from wavesim.errors import LimitError
from wavesim.study.predict import Order, Prediction, predict

D600, D1200 = 1e-3 / 600, 1e-3 / 1200


def _only(found: Prediction, order: int) -> Order:
    return next(line for line in found.orders if line.order == order)


# Born & Wolf 8.6.1: 600/mm, alpha = 0, 500 nm
@pytest.mark.parametrize(
    ("order", "degrees"), [(1, 17.4576031237), (2, 36.8698976458), (3, 64.1580672368)]
)
def test_angles_of_a_600_per_mm_grating(order: int, degrees: float) -> None:
    found = predict(grating(1000, pitch_m=D600), wavelengths_m=(500e-9,))
    assert math.degrees(_only(found, order).beta_rad) == pytest.approx(degrees, abs=1e-9)


def test_worked_case_of_1200_per_mm() -> None:
    """alpha = 20 deg, m = 1, 500 nm; closed forms computed independently."""
    bench = 'incidence = "20 deg"\nviewing = "14.9502276835 deg"'
    line = _only(predict(grating(1000, pitch_m=D1200, bench=bench)), 1)
    assert math.degrees(line.beta_rad) == pytest.approx(14.9502276835, abs=1e-9)
    assert line.anamorphic == pytest.approx(0.972615363401, abs=1e-11)
    # db/dlambda = 0.00124204278108 rad/nm; on the axis of a 1 m camera so many mm per nm x 1000
    assert line.dispersion_nm_mm == pytest.approx(1e-3 / 0.00124204278108, rel=1e-9)
    assert line.x_m == pytest.approx(0.0, abs=1e-12)


def test_free_spectral_range_and_overlaps() -> None:
    """400 nm: orders 1, 2, 3 are free up to 800, 600, 533.333 nm (Born & Wolf 7.6.2)."""
    found = predict(grating(1000, pitch_m=D600), wavelengths_m=(400e-9,))
    for order, end in ((1, 800e-9), (2, 600e-9), (3, 533.3333333e-9)):
        line = _only(found, order)
        assert 400e-9 + line.free_spectral_range_m == pytest.approx(end, rel=1e-9)
    overlaps = dict(_only(found, 3).overlaps)
    assert overlaps == pytest.approx({2: 600e-9})


@pytest.mark.parametrize(("order", "needed"), [(1, 987), (2, 494), (3, 329)])
def test_rulings_that_part_the_sodium_pair(order: int, needed: int) -> None:
    """lambda / dlambda = 986.549."""
    for count, parted in ((needed, True), (needed - 1, False)):
        line = _only(predict(grating(count, pitch_m=D600)), order)
        assert (line.resolving_power >= 986.549) is parted


def test_counts_and_heights_of_subsidiary_maxima() -> None:
    """Born & Wolf 8.6.1; heights are exact fractions or from tan N y = N tan y."""
    for count, between, height in (
        (3, 1, 1 / 9), (4, 2, 2 / 27), (5, 3, 1 / 16), (10, 8, 0.0505106736),
        (20, 18, 0.0479932161), (100, 98, 0.0472222234),
    ):  # fmt: skip
        widths = predict(grating(count)).widths
        assert widths.subsidiary_maxima == between
        assert widths.first_subsidiary == pytest.approx(height, abs=1e-9)


def test_widths_in_orders() -> None:
    for count, width in ((3, 0.9316422446), (4, 0.9107848519), (10, 0.8897405482)):
        assert predict(grating(count)).widths.fwhm_orders * count == pytest.approx(width, abs=1e-9)


def test_missing_orders_of_slits() -> None:
    """d / a = 4: orders 4, 8, .. are missing; heights sinc^2(m / 4)."""
    source, lens = 'kind = "laser"\nwavelength = "500 nm"', 'camera = "1 m"'
    slits = 'kind = "slits"\ncount = 6\nwidth = "20 um"\npitch = "80 um"'
    plate = 'width = "120 mm"\nheight = "1 mm"\npixel = "20 um"'
    found = predict(bench.scene(source=source, bench=lens, aperture=slits, plate=plate))
    by_order = {line.order: line for line in found.orders}
    assert [m for m, line in sorted(by_order.items()) if line.missing] == [-8, -4, 4, 8]
    heights = [1, 0.810569469, 0.405284735, 0.0900632743, 0, 0.0324227788]
    assert [by_order[m].relative for m in range(6)] == pytest.approx(heights, abs=1e-8)


def test_ghosts_are_where_the_engine_has_them() -> None:
    """Two periods, N a whole number of both: predicted `observed` against |A|^2 itself."""
    ruled = grating(9600, periodic(0.02, 96), periodic(0.03, 320))
    found = predict(ruled, orders=(1, 2), ghosts_above=1e-9)
    assert len(found.ghosts) > 40
    built = aperture.build(ruled)
    for order in (1, 2):
        ghosts = [g for g in found.ghosts if g.order == order]
        mu = np.array([float(order)] + [g.mu for g in ghosts])
        intensity = np.abs(amplitude(built, 0.0, mu * WAVELENGTH_M / PITCH_M, WAVELENGTH_M)) ** 2
        observed = np.array([g.observed for g in ghosts])
        # rounding of sums of 9,600 terms: 1e-14 of the line's amplitude
        np.testing.assert_allclose(intensity[1:] / intensity[0], observed, rtol=1e-6, atol=1e-16)


def test_what_a_ghost_is_taken_for() -> None:
    found = predict(grating(1000, periodic(0.01, 100)), orders=(2,))
    outer = next(g for g in found.ghosts if g.harmonics == (1,))
    assert outer.apparent_wavelength_m == pytest.approx(500e-9 * 2.01 / 2, rel=1e-12)
    zero = predict(grating(1000, periodic(0.05, 10)), orders=(0,), ghosts_above=1e-8)
    assert zero.ghosts  # the zero order has ghosts of its own
    assert all(math.isnan(g.apparent_wavelength_m) for g in zero.ghosts)


def test_ghosts_hidden_by_the_tails_of_a_sharp_edge() -> None:
    sharp = predict(grating(2000, periodic(2e-4, 100)), orders=(1,), ghosts_above=1e-8)
    assert all(g.hidden for g in sharp.ghosts)  # 4e-7 against 1 / (2 (2000 pi / 100)^2) = 1.3e-4
    bench = 'beam = { diameter = "1 mm", profile = "gaussian" }'
    soft = predict(grating(2000, periodic(2e-4, 100), bench=bench), orders=(1,), ghosts_above=1e-8)
    assert soft.ghosts
    assert not any(g.hidden for g in soft.ghosts)


def test_effects_of_defects_against_the_engine() -> None:
    """What is left of the line at mu = m, for the errors that leave it sharp."""
    cases = {
        'kind = "step"\nsize = "0.2 um"\nfraction = 0.3': 1e-9,
        'kind = "missing"\nrulings = [5, 17, 400]': 1e-9,
        f'kind = "drift"\nlinear = {2 / 4000!r}\ncubic = {1 / 4000!r}': 2e-3,
        f'kind = "width"\ngrowth = "{PITCH_M / 10!r} m"': 1e-5,  # 2/N of the loss
    }
    ideal = _peak(grating(4000), 1.0)
    for text, tolerance in cases.items():
        ruled = grating(4000, text)
        effect = next(e for e in predict(ruled, orders=(1,)).effects)
        mu = np.array([1.0])
        if "drift" in text:  # a drift also moves the line, by its tilt
            mu = 1 + np.linspace(-1, 1, 401) / 4000
        left = max(_peak(ruled, float(m)) for m in mu) / ideal
        assert effect.fraction_left == pytest.approx(left, abs=tolerance), text


def _peak(ruled: scene.Scene, mu: float) -> float:
    sine = np.array([mu * WAVELENGTH_M / PITCH_M])
    field = amplitude(aperture.build(ruled), 0.0, sine, WAVELENGTH_M)
    return float(np.abs(field[0]) ** 2)


def test_focal_shift_of_a_drift() -> None:
    """1/r = m lambda kappa / (d cos^2 beta): 3033.333333 m at kappa = 1e-3/m, so -f^2/(r + f)."""
    width = 6000 * D600
    ruled = grating(6000, f'kind = "drift"\nlinear = {1e-3 * width!r}', pitch_m=D600)
    effect = predict(ruled, orders=(1,)).effects[0]
    assert effect.focal_shift_m == pytest.approx(-1 / (3033.333333 + 1), rel=1e-6)
    other = predict(ruled, orders=(-1,)).effects[0]
    assert other.focal_shift_m > 0  # the other side of the zero order


@pytest.mark.slow
@pytest.mark.parametrize(("kappa", "order"), [(0.2, 1), (0.2, -1), (-0.5, 1)])
def test_a_plate_in_the_predicted_focus_is_sharp(kappa: float, order: int) -> None:
    """The engine's own plate, moved along the axis: its line is narrowest there.

    Judged by the peak over the light in the row, because along the rulings, where they are no
    lens, the light is in focus at the camera's own focal length.
    """
    from wavesim.lightpath import expose

    drift = f'kind = "drift"\nlinear = {kappa * 6000 * D600!r}'
    viewing = math.degrees(math.asin(order * WAVELENGTH_M / D600))
    shift = predict(grating(6000, drift, pitch_m=D600), orders=(order,)).effects[0].focal_shift_m
    tried = shift + np.linspace(-8e-3, 8e-3, 9)

    def peak(defocus_m: float) -> float:
        bench = f'viewing = "{viewing!r} deg"\ndefocus = "{defocus_m!r} m"'
        scene = grating(6000, drift, pitch_m=D600, bench=bench)
        plate = scene.plate.model_copy(update={"width_m": 4e-3, "pixel_m": 2e-6})
        row = expose(scene.model_copy(update={"plate": plate})).irradiance.mean(axis=0)
        return float(row.max() / row.sum())

    height = np.array([peak(float(z)) for z in tried])
    top = np.polyfit(tried, height, 2)
    assert height.argmax() in (3, 4, 5)
    assert -top[1] / (2 * top[0]) == pytest.approx(shift, abs=1e-3)  # 1/20 of the depth of focus


@pytest.mark.parametrize(("alpha", "order"), [(-30.0, 1), (60.0, 2), (0.0, 1)])
def test_exposure_at_a_slant(alpha: float, order: int) -> None:
    """E = L S cos(beta) eta / f^2 against the exposed plate, the slit's image well resolved."""
    from wavesim.lightpath import expose

    beta = math.degrees(math.asin(order * 0.3 - math.sin(math.radians(alpha))))
    text = bench.text(
        source='kind = "band"\ncentre = "500 nm"\nwidth = "0.02 nm"\n'
        'slit = { width = "400 um", height = "4 mm" }',
        bench=f'collimator = "500 mm"\ncamera = "500 mm"\nincidence = "{alpha} deg"\n'
        f'viewing = "{beta!r} deg"',
        aperture='kind = "grating"\ndensity = "600 / mm"\nruled_width = "10 mm"\n'
        'height = "5 mm"\ngroove = { profile = "slit", width = "0.4 um" }',
        plate='width = "4 mm"\nheight = "1 mm"\npixel = "20 um"',
    )
    ruled = scene.parse(text)
    estimate = predict(ruled, orders=(order,), wavelengths_m=(500e-9,)).exposure
    assert estimate is not None
    brightest = expose(ruled).illuminance_lx.max()
    assert estimate.orders[0].illuminance_lx == pytest.approx(brightest, rel=0.05)


def test_exposure_agrees_with_the_exposed_plate() -> None:
    """E = L S / f^2 in the middle of a wide slit's image, within the fifth that is promised."""
    from wavesim.lightpath import expose

    ruled = bench.scene(
        source='kind = "illuminant"\nname = "E"\nluminance = "10000 cd/m^2"\n'
        'slit = { width = "400 um", height = "4 mm" }',
        bench='collimator = "600 mm"\ncamera = "600 mm"',
        aperture='kind = "slits"\ncount = 200\nwidth = "40 um"\npitch = "80 um"',
        plate='width = "4 mm"\nheight = "2 mm"\npixel = "20 um"',
    )
    estimate = predict(ruled, orders=(0,)).exposure
    assert estimate is not None
    plate = expose(ruled)
    assert estimate.orders[0].illuminance_lx == pytest.approx(plate.illuminance_lx.max(), rel=0.2)
    assert estimate.time_s == pytest.approx(plate.exposure_s, rel=0.2)


def test_refusals() -> None:
    with pytest.raises(LimitError, match="none of the orders 9 propagates at 500 nm"):
        predict(grating(100), orders=(9,))
    uneven = scene.Slits(
        slits=tuple(scene.ListedSlit(centre_m=x, width_m=1e-5) for x in (0.0, 1e-4, 3e-4))
    )
    with pytest.raises(LimitError, match=r"aperture\.slits: the slits differ"):
        predict(grating(100).model_copy(update={"aperture": uneven}))


def test_rings_of_openings_without_rulings() -> None:
    """Born & Wolf tables 8.1 and 8.2; annulus 0.5: 1.000906051 (not quite 1), 8.6.2."""
    expected = {
        scene.Disc(diameter_m=1e-3): ("dark ring 1", 1.21966989127e3),
        scene.Annulus(outer_m=1e-3, inner_m=0.5e-3): ("dark ring 1", 1.000906051e3),
        scene.Annulus(outer_m=1e-3, inner_m=0.2e-3): ("dark ring 1", 1.166506783e3),
        scene.Annulus(outer_m=1e-3, inner_m=0.8e-3): ("dark ring 1", 0.848774306e3),
        scene.Rectangle(width_m=1e-3, height_m=2e-3): ("minimum 1", 1e3),
    }
    for opening, (what, per_m) in expected.items():
        found = predict(grating(100).model_copy(update={"aperture": opening}))
        first = next(feature for feature in found.features if feature.what == what)
        # on the plate f tan(asin(sine))
        assert first.distance_m == pytest.approx(math.tan(math.asin(per_m * 500e-9)), rel=1e-8)
        assert found.orders == ()


def test_the_command_prints_tables_and_json() -> None:
    from wavesim.cli.predict import command

    file = "scenes/grating_screw.toml"
    options = [file, "--wavelength", "546.07 nm", "--order", "1"]
    text = CliRunner().invoke(command, options, catch_exceptions=False).output
    assert "orders at 546.07 nm" in text
    assert "+1 (+1,0)" in text
    assert "551.7582" in text  # 546.07 x (1 + 1/96)
    found = json.loads(CliRunner().invoke(command, [*options, "--json"]).output)
    assert found["ghosts"][0]["order"] == 1
    assert found["illuminated"] == 30_000


def test_a_bare_number_is_no_wavelength() -> None:
    done = subprocess.run(
        [sys.executable, "-c", "from wavesim.cli import main; main()", "predict",
         "scenes/grating_screw.toml", "--wavelength", "546"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert '"546" has no unit; expected a length such as "546.1 nm"' in done.stderr


def test_an_even_beam_is_not_called_a_cut_gaussian() -> None:
    few = bench.scene(aperture='kind = "slits"\ncount = 9\nwidth = "40 um"\npitch = "90 um"')
    assert not any("Gaussian" in text for text in predict(few).limits)


@pytest.mark.parametrize("air", ["", 'air = { temperature = "35 degC", pressure = "80 kPa" }'])
def test_orders_stand_where_the_engine_puts_them_in_any_air(air: str) -> None:
    """Thin air moves the line by 28 um; its centre of light is right to a hundredth of that."""
    setup = bench.scene(
        source='kind = "laser"\nwavelength = "546.0735 nm"',
        bench=f'collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.131 deg"\n{air}',
        aperture='kind = "grating"\ncount = 60000\ndensity = "600 / mm"',
        plate='width = "1 mm"\nheight = "20 um"\npixel = "1 um"',
    )
    plate = wavesim.expose(setup)
    light = plate.profile_irradiance
    centre = float((plate.x_m * light).sum() / light.sum())
    assert _only(predict(setup), 1).x_m == pytest.approx(centre, abs=0.3e-6)
