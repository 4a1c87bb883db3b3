"""The index of air against published tables, and vacuum against air."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from wavesim import scene
from wavesim.errors import LimitError
from wavesim.light import air
from wavesim.light.air import AirState


@pytest.mark.parametrize(
    ("micrometres", "value"),
    [(0.633, 27653.0210), (0.589, 27715.2050), (0.5, 27897.3811), (0.4, 28276.1823)],
)
def test_standard_air(micrometres: float, value: float) -> None:
    # Ciddor, Appl. Opt. 35, 1566 (1996), evaluated to 1e-4: 1e8 (n - 1)
    assert (air.index(micrometres * 1e-6) - 1.0) * 1e8 == pytest.approx(value, abs=2e-4)


@pytest.mark.parametrize(
    ("celsius", "kilopascal", "humidity", "value"),
    [
        (20, 80, 0, 21458.0), (20, 100, 0, 26824.4), (20, 120, 0, 32191.6), (10, 100, 0, 27774.7),
        (30, 100, 0, 25937.2), (20, 80, 75, 21394.0), (20, 120, 75, 32127.8),
        (40, 120, 75, 29941.8), (50, 80, 100, 19058.4), (50, 120, 100, 28792.4),
        (40, 80, 75, 19896.5),  # the paper prints 19996.5, against its own difference column
    ],
)  # fmt: skip
def test_ciddor_tables_1_and_3(
    celsius: float, kilopascal: float, humidity: float, value: float
) -> None:
    state = AirState(celsius + 273.15, kilopascal * 1e3, humidity / 100.0, 450e-6)
    # 633 nm; the tables are printed to 0.1
    assert (air.index(633e-9, state) - 1.0) * 1e8 == pytest.approx(value, abs=0.07)


@pytest.mark.parametrize(
    ("celsius", "pascal", "vapour", "ppm", "value"),
    [
        (19.526, 102094.8, 1065, 510, 27392.9), (19.173, 102993.0, 641, 450, 27682.4),
        (19.188, 102918.8, 706, 450, 27658.7), (19.532, 103603.2, 986, 600, 27802.0),
    ],
)  # fmt: skip
def test_ciddor_table_2_moist_air(
    celsius: float, pascal: float, vapour: float, ppm: float, value: float
) -> None:
    kelvin = celsius + 273.15
    state = AirState(kelvin, pascal, vapour / air.saturation_pressure_Pa(kelvin), ppm * 1e-6)
    assert (air.index(633e-9, state) - 1.0) * 1e8 == pytest.approx(value, abs=0.1)


@pytest.mark.parametrize(
    ("celsius", "kilopascal", "humidity", "nanometres", "value"),
    [
        (20, 101.325, 0, 633, 271800), (20, 60, 0, 633, 160924), (-40, 100, 0, 633, 337580),
        (50, 120, 100, 633, 287924), (20, 100, 100, 633, 267394), (40, 110, 100, 1700, 270247),
        (-40, 120, 0, 300, 427233),
    ],
)  # fmt: skip
def test_nist_calculator(
    celsius: float, kilopascal: float, humidity: float, nanometres: float, value: float
) -> None:
    state = AirState(celsius + 273.15, kilopascal * 1e3, humidity / 100.0, 450e-6)
    # Stone & Zimmerman, NIST Engineering Metrology Toolbox, 1e9 (n - 1); they use another
    # saturation pressure
    assert (air.index(nanometres * 1e-9, state) - 1.0) * 1e9 == pytest.approx(value, abs=2.0)


@pytest.mark.parametrize(
    ("vacuum_nm", "air_nm", "tolerance_nm"),
    [
        (589.1583264, 588.9950867, 1e-7),  # Na D2 by Ciddor
        (589.7558147, 589.5924150, 1e-7),  # Na D1
        (644.024916, 643.84696, 1e-6),  # Cd red, defined in air 1907
        (605.78021055, 605.6125175, 1e-7),  # 86Kr metre line
        (632.99121258, 632.8162197, 1e-7),  # He-Ne on iodine, CIPM
    ],
)
def test_vacuum_and_air_wavelengths(vacuum_nm: float, air_nm: float, tolerance_nm: float) -> None:
    assert air.from_vacuum(vacuum_nm * 1e-9) * 1e9 == pytest.approx(air_nm, abs=tolerance_nm)
    assert air.to_vacuum(air_nm * 1e-9) * 1e9 == pytest.approx(vacuum_nm, abs=tolerance_nm)


@given(st.floats(300e-9, 1700e-9), st.floats(240.0, 330.0), st.floats(5e4, 1.2e5), st.floats(0, 1))
def test_conversion_there_and_back(
    wavelength: float, kelvin: float, pascal: float, humidity: float
) -> None:
    state = AirState(kelvin, pascal, humidity)
    back = air.to_vacuum(air.from_vacuum(wavelength, state), state)
    assert back == pytest.approx(wavelength, rel=1e-14)  # rounding


def test_the_air_of_a_scene_will_do() -> None:
    default = scene.Air()
    assert air.index(500e-9, default) == air.index(500e-9)


def test_bench_air() -> None:
    wavelength = np.array([400e-9, 700e-9])
    assert air.relative_to_standard(wavelength, AirState()) == pytest.approx(1.0, abs=1e-15)
    vacuum = AirState(pressure_Pa=0.0)
    longer = air.relative_to_standard(wavelength, vacuum) * wavelength
    assert longer == pytest.approx(air.to_vacuum(wavelength), rel=1e-14)


@pytest.mark.parametrize(
    "state", [{"temperature_K": -5.0}, {"pressure_Pa": -1.0}, {"humidity": 50.0}, {"co2": 450.0},
              {"temperature_K": float("nan")}],
)  # fmt: skip
def test_impossible_air_is_refused(state: dict[str, float]) -> None:
    with pytest.raises(LimitError, match=r"outside the range of the air formulas.*expected"):
        air.index(500e-9, AirState(**state))
