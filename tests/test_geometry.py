"""One grating equation for everybody: exposed light, order marks, predictions, measuring, point.

The truth is d (sin alpha + sin beta) = m lambda_vacuum / n with n from Ciddor's equations
(Appl. Opt. 35, 1566, 1996; held to its tables in test_light_air.py), solved here by hand.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import wavesim
from tests.bench import scene
from wavesim.figures.marks import order_marks
from wavesim.figures.scales import wavelength_scale
from wavesim.geometry import GratingGeometry, grating_geometry
from wavesim.light.air import AirState, index, to_vacuum
from wavesim.measuring.instrument import of_scene
from wavesim.scene import Scene
from wavesim.study.point import explain
from wavesim.study.predict import predict

LASER_NM = 632.8
VACUUM = 'air = { pressure = "0 Pa" }'
HOT_AND_THIN = 'air = { temperature = "80 degC", pressure = "70 kPa", humidity = "30 %" }'


def bench_of(air: str, viewing_deg: float = 22.3, incidence_deg: float = 0.0) -> Scene:
    """600/mm and a laser: its first order a few millimetres from the camera's axis."""
    return scene(
        source=f'kind = "laser"\nwavelength = "{LASER_NM} nm"\nlinewidth = "0.01 pm"',
        bench='collimator = "600 mm"\ncamera = "1 m"\nbeam = "12 mm"\n'
        f'viewing = "{viewing_deg} deg"\nincidence = "{incidence_deg} deg"\n{air}',
        aperture='kind = "grating"\ncount = 6000\ndensity = "600 / mm"\nheight = "2 mm"',
        plate='width = "6 mm"\nheight = "0.1 mm"\npixel = "5 um"',
        exposure='time = "1 s"',
    )


def by_hand_m(bench: Scene, order: int = 1) -> float:
    """x of the laser's order: vacuum wavelength over the index of the air on the bench."""
    air = bench.bench.air
    state = AirState(air.temperature_K, air.pressure_Pa, air.humidity, air.co2)
    vacuum = float(to_vacuum(LASER_NM * 1e-9))
    sine = order * vacuum / float(index(vacuum, state)) * 600e3 - math.sin(bench.bench.alpha_rad)
    return math.tan(math.asin(sine) - bench.bench.camera_axis_rad)


@pytest.mark.parametrize("air", ["", VACUUM, HOT_AND_THIN])
@pytest.mark.parametrize(("viewing", "incidence"), [(22.3, 0.0), (7.0, 15.0)])
def test_marks_predictions_and_light_agree_in_any_air(
    air: str, viewing: float, incidence: float
) -> None:
    """Order marks and predicted orders stand on the light; 0 Pa shifts it by 96 um here."""
    bench = bench_of(air, viewing, incidence)
    plate = wavesim.expose(bench)
    row = plate.irradiance[plate.y_m.size // 2]
    near = np.abs(plate.x_m - plate.x_m[np.argmax(row)]) < 0.5e-3  # the line and its nearer wings
    light_m = float(np.average(plate.x_m[near], weights=row[near]))
    expected_m = by_hand_m(bench)
    # the 5 um pixels and the wings that the window cuts unevenly
    assert light_m == pytest.approx(expected_m, abs=1.5e-6)
    marks = {mark.label: mark.position_m for mark in order_marks(plate, LASER_NM * 1e-9)}
    assert marks["1"] == pytest.approx(expected_m, abs=1e-9)
    orders = predict(bench).orders
    assert next(o.x_m for o in orders if o.order == 1) == pytest.approx(expected_m, abs=1e-9)
    found_nm = wavelength_scale(plate, 1).forward(expected_m * 1e3)
    assert float(found_nm) == pytest.approx(LASER_NM, abs=1e-6)
    assert of_scene(bench).wavelength(expected_m, 1) == pytest.approx(LASER_NM * 1e-9, rel=1e-9)


def test_air_moves_a_line_by_its_index() -> None:
    """d beta = tan(beta) (n - 1): 96 um of 0 Pa at 600/mm and 550 nm, 1 m (differentiated)."""
    shift = [float(grating_geometry(bench_of(air)).x_m(1, 550e-9)) for air in ("", VACUUM)]
    slope = math.tan(math.asin(0.33)) / math.cos(math.asin(0.33) - math.radians(22.3)) ** 2
    refractivity = float(index(to_vacuum(550e-9))) - 1
    # second order of the refractivity and of the shift left out
    assert shift[1] - shift[0] == pytest.approx(slope * refractivity, rel=2e-3)


@pytest.mark.parametrize("air", ["", VACUUM, HOT_AND_THIN])
def test_a_point_names_the_order_of_the_light_there(air: str) -> None:
    """At x of the first order the path difference is one wavelength, in any air."""
    bench = bench_of(air)
    found = explain(wavesim.expose(bench), by_hand_m(bench))
    best = max(found.remaining, key=lambda band: band.light_fraction)
    # half a pixel of 5 um is 1e-5 of an order there
    assert best.path_difference * best.strongest_m == pytest.approx(LASER_NM * 1e-9, rel=2e-5)


def test_there_and_back() -> None:
    """Position, angle, order and wavelength invert one another, over random benches."""
    print("seed 20")
    dice = np.random.default_rng(20)
    for _ in range(200):
        geometry = GratingGeometry(
            alpha_rad=dice.uniform(-1.2, 1.2),
            axis_rad=dice.uniform(-1.2, 1.2),
            focal_m=10 ** dice.uniform(-2, 1),
            pitch_m=10 ** dice.uniform(-6, -4),
            air=AirState(dice.uniform(250, 370), dice.uniform(0, 110e3), dice.uniform(0, 1)),
            origin_m=dice.uniform(-0.01, 0.01),
        )
        x = geometry.focal_m * np.tan(dice.uniform(-0.3, 0.3, 9)) + geometry.origin_m
        assert geometry.x_of_sine(geometry.sine_of_x(x)) == pytest.approx(x, rel=1e-9, abs=1e-12)
        wavelength = dice.uniform(380e-9, 780e-9, 9)
        mu = geometry.order(x, wavelength)
        assert geometry.x_m(mu, wavelength) == pytest.approx(x, rel=1e-8, abs=1e-11)
        assert geometry.wavelength_m(x, mu) == pytest.approx(wavelength, rel=1e-12)
        low, high = geometry.propagating(500e-9)
        edge = geometry.sine_of_order(np.array([low, high]), 500e-9)
        assert edge == pytest.approx([-1, 1], abs=1e-9)


def test_one_wavelength_goes_where_another_does() -> None:
    """Overlapping orders share m lambda in the bench's air, not in standard air."""
    geometry = grating_geometry(bench_of(VACUUM))
    other = geometry.same_direction_m(632.8e-9, 2, 3)
    assert geometry.x_m(3, other) == pytest.approx(geometry.x_m(2, 632.8e-9), abs=1e-15)
    assert other != pytest.approx(632.8e-9 * 2 / 3, rel=1e-7)


def test_beyond_grazing_there_is_no_position() -> None:
    geometry = GratingGeometry(0.0, 0.0, 1.0, 1e-6)
    assert np.isnan(geometry.x_m(np.array([2.0, -2.0]), 600e-9)).all()  # sin beta = 1.2
    turned = GratingGeometry(0.0, 1.0, 1.0, 1e-6)
    assert np.isnan(turned.x_of_sine(-0.9))  # 122 degrees from the camera's axis
