"""Plates that show no lines: fringes, the bands of one slit, a continuum; and plates out of focus.

Truth is the scene's own pitch, width or wavelength, by the engine's exposure.
"""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests import bench
from tests.narrowing import known
from tests.parameters import slow_beyond
from tests.rulings import WAVELENGTH_M, grating
from wavesim.cli.measure import command
from wavesim.errors import InputError
from wavesim.lightpath import expose
from wavesim.measuring import Measurement, measure
from wavesim.scene import Scene, parse
from wavesim.study.profile import line_profile

LASER = 'kind = "laser"\nwavelength = "632.8 nm"'
SUN = 'kind = "sun"\nslit = { width = "20 um", height = "4 mm" }'
LAMP = "kind = 'blackbody'\ntemperature = '3000 K'\nslit = { width = '20 um', height = '4 mm' }"
PLATE = 'width = "30 mm"\nheight = "0.2 mm"\npixel = "10 um"'
GRATING = 'kind = "grating"\ndensity = "600 / mm"\nruled_width = "10 mm"\nheight = "10 mm"'


def slits(source: str, count: int, width_um: float, pitch_um: float) -> Scene:
    text = f'kind = "slits"\ncount = {count}\nwidth = "{width_um} um"'
    text += f'\npitch = "{pitch_um} um"' if count > 1 else ""
    return parse(bench.text(source=source, aperture=text, plate=PLATE))


def nothing_named(found: Measurement) -> bool:
    return not any(row.name or row.wavelength_m for row in found.rows)


@pytest.mark.parametrize(
    ("count", "width", "pitch"), [(2, 40, 157), (2, 30, 251.3), (3, 40, 157), (5, 40, 90)]
)
def test_pitch_and_width_of_slits_from_a_lasers_fringes(count, width, pitch):
    """The envelope pulls every maximum inwards (251.3 um from maxima: 256.1); the fit does not."""
    found = measure(expose(slits(LASER, count, width, pitch)))
    assert nothing_named(found)
    assert found.pattern is not None
    assert found.pattern.slits == count
    d, error = found.pattern.pitch(632.8e-9)
    assert d == pytest.approx(pitch * 1e-6, abs=max(3 * error, 2e-5 * pitch * 1e-6))
    assert found.pattern.width(632.8e-9)[0] == pytest.approx(width * 1e-6, rel=2e-4)


@pytest.mark.parametrize("source", [SUN, LAMP], ids=["sun", "lamp"])
@pytest.mark.parametrize(
    ("count", "width", "pitch"), slow_beyond(2, [(1, 40, 0), (2, 40, 157), (5, 40, 90)])
)
def test_white_fringes_are_not_named(source, count, width, pitch):
    found = measure(expose(slits(source, count, width, pitch)))
    assert nothing_named(found)
    assert found.pattern is not None
    assert found.pattern.slits == count
    light = found.pattern.wavelength_m
    true = [(found.pattern.width(light), width)]
    true += [(found.pattern.pitch(light), pitch)] if count > 1 else []
    for (value, error), size in true:
        assert abs(value - size * 1e-6) < 2 * error
        assert error < 0.1 * value


@pytest.mark.slow
def test_the_fit_that_is_proposed_names_the_files_that_are_known():
    from click.testing import CliRunner

    from wavesim.cli.measure import command

    scene = Path(__file__).parents[1] / "scenes" / "slits_002.toml"
    picture = scene.parent / "photographs" / "pair.png"
    bench_options = ("--pixel", "40 um", "--pitch", "90 um", "--camera", "1 m")
    for args, parts in (
        ((str(scene),), (f"wavesim fit {scene} photograph.jpg --free", "photograph.jpg stands")),
        ((str(picture), *bench_options), (f"fit bench.toml {picture} --free", '--pixel "40 um"',
                                          "to bench.toml first")),
    ):  # fmt: skip
        notes = json.loads(CliRunner().invoke(command, [*args, "--json"]).stdout)["notes"]
        assert all(any(part in note for note in notes) for part in parts)


def test_a_continuum_has_no_lines():
    scene = parse(bench.text(
        source=LAMP, bench='collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.3 deg"',
        aperture=GRATING, plate='width = "200 mm"\nheight = "0.2 mm"\npixel = "50 um"',
    ))  # fmt: skip
    with pytest.raises(InputError, match=r"no bright lines.*smoothly"):
        measure(expose(scene))


def test_the_command_says_what_the_plate_shows(tmp_path):
    path = tmp_path / "two.toml"
    aperture = 'kind = "slits"\ncount = 2\nwidth = "40 um"\npitch = "157 um"'
    path.write_text(bench.text(source=LASER, aperture=aperture, plate=PLATE))
    options = ["--reference", "632.8 nm", "--solve", "pitch"]
    done = CliRunner().invoke(command, [str(path), *options])
    assert done.exit_code == 0, done.output
    assert "fringes of 2 slits" in done.output
    assert re.search(r"pitch 157(\.0+)? \+-", done.output)
    record = json.loads(CliRunner().invoke(command, [str(path), *options, "--json"]).output)
    assert record["pattern"]["slits"] == 2


MERCURY = 'kind = "lamp"\nelement = "Hg"\nslit = { width = "10 um", height = "2 mm" }'


def mercury(defocus: str) -> Scene:
    return parse(bench.text(
        source=MERCURY, aperture=GRATING,
        bench=f'collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.3 deg"\n{defocus}',
        plate='width = "250 mm"\nheight = "0.2 mm"\npixel = "20 um"',
    ))  # fmt: skip


@pytest.mark.slow
def test_a_plate_out_of_focus_is_measured_as_one():
    """Positions count from the lens to the plate; lines are wider, and so is what is stated."""
    sharp, blurred = (measure(expose(mercury(d))) for d in ("", 'defocus = "5 mm"'))
    assert any("5.000 mm behind the focus" in n or "5 mm behind" in n for n in blurred.notes)
    for table in (sharp, blurred):
        for line in (404.6565e-9, 435.8335e-9, 546.0750e-9):  # without close neighbours
            row = min(table.lines, key=lambda r: abs(known(r.wavelength_m) - line))
            assert abs(known(row.wavelength_m) - known(row.listed_m)) < 3 * known(row.uncertainty_m)
    green = [
        min(t.lines, key=lambda r: abs(known(r.wavelength_m) - 546.074e-9))
        for t in (sharp, blurred)
    ]
    assert known(green[1].u_slit_m) > 2 * known(green[0].u_slit_m)


@pytest.mark.slow
def test_an_order_that_names_nothing_says_so():
    from wavesim.measuring import Task

    found = measure(expose(mercury("")), Task(element="Hg", order=7))
    assert not any(row.name for row in found.rows)
    assert any("order 7" in note and "365" in note for note in found.notes)
    assert found.periods == ()


def test_the_line_profile_out_of_focus_is_what_the_plate_shows():
    """A drift's lens undone by moving the plate to its focus, -61.9 mm: the perfect width again."""
    d600, kappa = 1e-3 / 600, 0.2
    drift = f'kind = "drift"\nlinear = {kappa * 6000 * d600!r}'

    def width(*defects: str, defocus: str = "") -> float:
        bench = f'viewing = "17.457603 deg"\n{defocus}'
        scene = grating(6000, *defects, pitch_m=d600, bench=bench)
        return line_profile(scene, wavelength_m=WAVELENGTH_M, order=1).fwhm_orders

    perfect, curvature = width(), 1 / 15.166667
    shift = -curvature / (1 + curvature)
    assert width(drift) > 1.5 * perfect
    assert width(drift, defocus=f'defocus = "{shift!r} m"') == pytest.approx(perfect, rel=1e-3)
    assert width(defocus=f'defocus = "{shift!r} m"') > 1.5 * perfect
