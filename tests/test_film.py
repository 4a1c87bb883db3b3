"""Film as it is bought: datasheet curve, negative, print, long exposures, shutter speeds.

The definitions are the trade's: D = -lg T, Schwarzschild's E t^p (1900), speeds a stop apart.
"""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

import wavesim
from tests.sample_plates import slit_plate
from wavesim.cli import main
from wavesim.colorimetry import Rendering
from wavesim.colorimetry.film import (
    Schwarzschild,
    densities,
    filmed,
    lights,
    read_curve,
    read_reciprocity,
    usual_curve,
)
from wavesim.colorimetry.grain import photons_at_white
from wavesim.colorimetry.spaces import decode
from wavesim.constants import LIGHT_SPEED_M_S, PLANCK_J_S
from wavesim.errors import InputError, TableError
from wavesim.light import photometry, smooth
from wavesim.text import SHUTTER_SPEEDS, nearest_shutter, shutter

SHEET = "log_exposure,density\n-3,0.1\n-2,0.2\n-1,0.8\n0,1.6\n1,1.8\n"


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    (tmp_path / "film.csv").write_text("# a fine-grained film\n" + SHEET)
    return tmp_path / "film.csv"


def test_a_datasheet_is_read_between_its_points_and_level_beyond(sheet: Path) -> None:
    curve = read_curve(sheet)
    found = curve.at([0.0, 10**-2.5, 0.1, 10**-0.5, 1e6])
    assert found == pytest.approx([0.1, 0.15, 0.8, 1.2, 1.8], abs=1e-12)
    assert not curve.reversal


def test_a_negative_transmits_ten_to_the_minus_density(sheet: Path) -> None:
    """D = -lg T, base and fog included; a print of contrast 1 is as the light."""
    curve = read_curve(sheet)
    assert lights(np.array([0.1, 1.1]), curve, negative=True) == pytest.approx([10**-0.1, 10**-1.1])
    printed = lights(np.array([0.1, 1.8]), curve, negative=False)
    assert printed == pytest.approx([0.0, 1.0])
    assert lights(np.array([1.8, 0.1]), curve, negative=False)[0] > 0.9


def test_where_the_plate_is_bright_the_negative_is_dark(sheet: Path) -> None:
    plate = slit_plate()
    style = Rendering(dither=False, depth=16)
    dark = filmed(plate, read_curve(sheet), style, negative=True)
    light = filmed(plate, read_curve(sheet), style)
    assert dark.shape == light.shape == plate.xyz.shape
    assert (np.ptp(dark.astype(int), axis=-1) <= 2).all()  # grey, but for rounding
    exposure = plate.xyz[::-1, :, 1]
    density = read_curve(sheet).at(exposure)
    shown = decode(dark[..., 1] / 65535)
    assert shown == pytest.approx(10**-density, abs=1e-4)  # 16 bits and a table of sRGB
    order = np.argsort(exposure.ravel())
    assert (np.diff(light[..., 1].ravel()[order].astype(int)) >= 0).all()


def test_long_exposures_count_less() -> None:
    """p = 0.8: 32 times as long is 32^0.8 = 16 times the effect."""
    film = Schwarzschild(0.8)
    assert 32 * film.factor(32.0) == pytest.approx(16.0)
    assert film.factor(0.5) == 1.0  # reciprocal below 1 s
    with pytest.raises(InputError):
        Schwarzschild(1.5)


def test_a_datasheet_s_table_of_long_exposures(tmp_path: Path) -> None:
    """ "For 10 s metered expose 20 s": 20 s do as much as 10 s without the failure would."""
    (tmp_path / "long.csv").write_text("metered_s,corrected_s\n1,1\n10,20\n100,600\n")
    film = read_reciprocity(tmp_path / "long.csv")
    assert [film.factor(t) for t in (0.25, 1.0, 20.0, 600.0)] == pytest.approx([1, 1, 1 / 2, 1 / 6])
    assert film.factor(20 * 30**0.5) == pytest.approx(10**1.5 / (20 * 30**0.5))  # straight in lg
    with pytest.raises(InputError, match="does not reach an exposure of 700 s"):
        film.factor(700.0)
    law = Schwarzschild(0.8)
    rows = "".join(f"{t**0.8!r},{t!r}\n" for t in (1, 32, 1024))
    (tmp_path / "p.csv").write_text("metered_s,corrected_s\n" + rows)
    table = read_reciprocity(tmp_path / "p.csv")
    for time in (3.0, 100.0, 1000.0):  # Schwarzschild's law written as a table
        assert table.factor(time) == pytest.approx(law.factor(time))


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("time,corrected\n1,1\n", "is not a table of reciprocity"),
        ("metered_s,corrected_s\n1,1\n10,5\n20,30\n", "does not ascend|is not a correction"),
        ("metered_s,corrected_s\n1,0.5\n10,5\n", "is not a correction"),
    ],
)
def test_bad_tables_of_reciprocity(tmp_path: Path, text: str, says: str) -> None:
    (tmp_path / "f.csv").write_text(text)
    with pytest.raises(TableError, match=says):
        read_reciprocity(tmp_path / "f.csv")


def test_base_and_fog_veil_a_negative() -> None:
    """Unexposed film of base and fog D passes 10^-D of the table's light; its print is black."""
    for fog in (0.05, 0.3, 1.0):
        curve = usual_curve(100.0, fog)
        clear = curve.at([0.0])
        assert lights(clear, curve, negative=True) == pytest.approx([10**-fog], rel=1e-3)
        assert lights(clear, curve, negative=False) == pytest.approx([0.0], abs=1e-9)


def test_the_usual_curve_has_its_speed_point_where_iso_6_puts_it() -> None:
    """0.10 above base and fog at 0.8 / S lx s."""
    for speed in (100.0, 400.0):
        curve = usual_curve(speed)
        rise = curve.at([0.8 / speed])[0] - curve.density.min()
        assert rise == pytest.approx(0.10, abs=2e-3)  # straight lines of 0.05 decades


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("exposure,density\n1,2\n", "is not a characteristic curve"),
        ("log_exposure,density\n1,2\n0,1\n", "does not ascend"),
        ("log_exposure,density\n1,-2\n2,1\n", "out of range"),
    ],
)
def test_bad_datasheets(tmp_path: Path, text: str, message: str) -> None:
    (tmp_path / "f.csv").write_text(text)
    with pytest.raises(TableError, match=message):
        read_curve(tmp_path / "f.csv")


@pytest.mark.parametrize(
    ("seconds", "speed", "off"),
    [(1 / 4.4, "1/4 s", 0.14), (0.009, "1/125 s", -0.17), (3, "4 s", 0.42)],
)
def test_nearest_shutter(seconds: float, speed: str, off: float) -> None:
    found, stops = nearest_shutter(seconds)
    assert found == speed
    assert stops == pytest.approx(off, abs=0.006)
    assert len(SHUTTER_SPEEDS) == 19


def test_a_sensor_counts_a_seventh_of_daylight_s_photons() -> None:
    """Photons of CIE D65 at one lx s on a pixel, from its table, against those that are counted."""
    daylight = smooth.illuminant("D65")
    edges = np.linspace(360e-9, 830e-9, 941)
    power, middle = daylight.integrate(edges[:-1], edges[1:])
    per_lumen = (power * middle).sum() / (PLANCK_J_S * LIGHT_SPEED_M_S)
    per_lumen /= photometry.luminous(daylight)
    counted = photons_at_white(1.0, 5e-6) / 25e-12
    assert counted / per_lumen == pytest.approx(0.14, abs=0.005)


def test_the_corrected_time_is_the_one_that_counts_as_the_metered(tmp_path: Path) -> None:
    """t factor(t) = metered, by Schwarzschild's law and by a datasheet's table."""
    (tmp_path / "long.csv").write_text("metered_s,corrected_s\n1,1\n10,20\n100,400\n")
    for late in (Schwarzschild(0.8), read_reciprocity(tmp_path / "long.csv")):
        for metered in (0.1, 1.0, 7.0, 60.0):
            wanted = late.corrected_time(metered)
            assert wanted * late.factor(wanted) == pytest.approx(metered, rel=1e-12)
    assert Schwarzschild(0.8).corrected_time(16.0) == pytest.approx(32.0)  # 16^(1 / 0.8)
    assert read_reciprocity(tmp_path / "long.csv").corrected_time(10.0) == pytest.approx(20.0)
    assert np.isnan(read_reciprocity(tmp_path / "long.csv").corrected_time(101.0))


def test_the_densities_of_a_plate_are_those_of_its_exposures(sheet: Path) -> None:
    """One stop is 0.301 in lg of the exposure; a film that loses half records one stop less."""
    plate, curve = slit_plate(), read_curve(sheet)
    found = densities(plate, curve, stops=1.0)
    light = np.log10(np.maximum(plate.shown_xyz[::-1, :, 1] * 2, 1e-30))
    expected = np.interp(light, [-3, -2, -1, 0, 1], [0.1, 0.2, 0.8, 1.6, 1.8])
    np.testing.assert_allclose(found, expected, atol=1e-12)


def test_the_command_says_what_the_film_records(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], sheet: Path
) -> None:
    plate = tmp_path / "plate.h5"
    scene = wavesim.load("scenes/sodium_987.toml").but(plate__pixel="40 um")
    exposed = wavesim.expose(scene)
    exposed.save(plate)
    args = ["develop", str(plate), "-o", str(tmp_path / "f.png"), "--curve", str(sheet),
             "--reciprocity", "0.5"]  # fmt: skip
    with pytest.raises(SystemExit) as end:
        main(args)
    assert end.value.code == 0
    out = " ".join(capsys.readouterr().out.split())
    counts = exposed.exposure_s**0.5  # E t^p
    assert (
        f"counts as {shutter(counts)}; {shutter(exposed.exposure_s**2)} compensates for it" in out
    )
    most = np.log10(exposed.xyz[..., 1].max() * counts / exposed.exposure_s)
    density = np.interp(most, [-3, -2, -1, 0, 1], [0.1, 0.2, 0.8, 1.6, 1.8])
    assert f"to {density:.2f}; the film can record 0.10 to 1.80" in out
    with pytest.raises(SystemExit):
        main([*args, "--json"])
    record = json.loads(capsys.readouterr().out)
    assert record["pictures"][0]["densities"][1] == pytest.approx(density, abs=1e-9)
    assert record["cautions"] == list(exposed.report.cautions)
