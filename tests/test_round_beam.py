"""Rulings cut by a round beam: formulas, profile and amplitude against what is exposed.

The reference adds up the chords of the beam ruling by ruling: l_j = 2 sqrt(R^2 - x_j^2). Closed
form: a disc's line is 1.02899 lambda / D wide (Airy; Born & Wolf 8.5.2).
"""

from __future__ import annotations

import json
import math
from pathlib import Path

import click
import numpy as np
import pytest
from click.testing import CliRunner

import wavesim
from tests import bench
from tests.parameters import slow_beyond
from wavesim.aperture.illumination import Along
from wavesim.cli.predict import command as predict
from wavesim.cli.profile import command as profile
from wavesim.cli.tolerance import command as tolerance
from wavesim.lightpath import ExposedPlate
from wavesim.scene import Scene

WAVE_M, PITCH_M, RADIUS_M = 546.1e-9, 1e-3 / 300, 3e-3
AIRY_FWHM = 1.02899397
TALL = 'slit = { width = "0.5 um", height = "3 mm" }'


def scene_text(slit: str = "", height: str = "8 mm") -> str:
    """Order 1 of 300/mm, 10 mm wide, in a round beam of 6 mm."""
    return bench.text(
        source=f'kind = "laser"\nwavelength = "546.1 nm"\n{slit}',
        bench='collimator = "600 mm"\ncamera = "1 m"\nviewing = "9.4266 deg"\nbeam = "6 mm"',
        aperture='kind = "grating"\ndensity = "300 / mm"\nruled_width = "10 mm"\n'
        f'height = "{height}"\ngroove = {{ profile = "slit" }}',
        plate='width = "1.2 mm"\nheight = "0.3 mm"\npixel = "4 um"',
    )


def scene(slit: str = "", height: str = "8 mm") -> Scene:
    return wavesim.parse(scene_text(slit, height))


def width(plate: ExposedPlate) -> float:
    """Full width at half maximum along the plate's middle [m]."""
    row = plate.profile_irradiance / plate.profile_irradiance.max()
    a, b = np.flatnonzero(row > 0.5)[[0, -1]]
    left, right = (row[a] - 0.5) / (row[a] - row[a - 1]), (row[b] - 0.5) / (row[b] - row[b + 1])
    return float(b - a + left + right) * plate.scene.plate.pixel_m


def printed(command: click.Command, path: Path, *options: str) -> dict[str, object]:
    result = CliRunner().invoke(command, [str(path), *options, "--json"])
    assert result.exit_code == 0, result.output
    found: dict[str, object] = json.loads(result.stdout, parse_constant=pytest.fail)
    return found


@pytest.mark.parametrize("slit", slow_beyond(1, ["", TALL]), ids=["point", "tall slit"])
def test_commands_have_the_line_of_the_plate(slit: str, tmp_path: Path) -> None:
    """Both ways that heights add up; a line of the beam's middle alone is 12 to 14 % narrower."""
    path = tmp_path / "cut.toml"
    path.write_text(scene_text(slit))
    on_plate = width(wavesim.expose(wavesim.load(path)))
    predicted = printed(predict, path)
    line = next(o for o in predicted["orders"] if o["order"] == 1)  # type: ignore[attr-defined]
    assert line["line_m"] == pytest.approx(on_plate, rel=2e-3)
    measured = printed(profile, path, "--order", "1")
    assert measured["fwhm_on_plate_m"] == pytest.approx(on_plate, rel=2e-3)
    allowed = printed(tolerance, path, "--order", "1", "--ghost", "1e-3")
    for found in (predicted["limits"], measured["notes"], allowed["notes"]):
        assert any("round edge" in text for text in found)  # type: ignore[attr-defined]


def test_a_round_beam_makes_an_airy_line() -> None:
    found = wavesim.predict(scene(height="12 mm"))
    orders = found.widths.fwhm_orders
    assert orders * 2 * RADIUS_M / PITCH_M == pytest.approx(AIRY_FWHM, rel=1e-3)  # 1,800 rulings


def test_amplitude_adds_up_the_heights_that_are_left() -> None:
    """Point by point in both directions, also where rulings end within the beam (4 mm high)."""
    draw = np.random.default_rng(3)
    x = (np.arange(3000) - 1499.5) * PITCH_M
    for high in (8e-3, 4e-3):
        made = scene(height=f"{high * 1e3} mm")
        sines = math.sin(math.radians(9.4266)) + draw.uniform(-3e-4, 3e-4, 40)
        rises = draw.choice([0.0, 5e-5, -2e-4], 40)
        found = wavesim.amplitude(made, sines, WAVE_M, rises=rises)
        chord = np.minimum(2 * np.sqrt(np.maximum(RADIUS_M**2 - x**2, 0.0)), high)
        wanted = np.array([
            np.sum(chord * np.sinc(chord * q / WAVE_M) * np.exp(-2j * np.pi * s / WAVE_M * x))
            * PITCH_M / 2 * np.sinc(PITCH_M / 2 * s / WAVE_M)
            for s, q in zip(sines, rises, strict=True)
        ])  # fmt: skip
        illuminated_m = min(high, 2 * RADIUS_M)  # amplitude is per unit of the illuminated height
        assert found == pytest.approx(
            wanted / illuminated_m, abs=1e-10 * np.abs(wanted).max() / illuminated_m
        )


def test_amplitude_is_what_is_exposed() -> None:
    """Squared along the plate's middle, over its peak; pixels of a tenth of a line are averaged."""
    plate = wavesim.expose(scene())
    sines = np.sin(np.arctan(plate.x_m) + math.radians(9.4266))
    power = np.abs(wavesim.amplitude(plate.scene, sines, WAVE_M)) ** 2
    row = plate.profile_irradiance
    assert power / power.max() == pytest.approx(row / row.max(), abs=3e-3)


def test_along_a_whole_chord_it_is_the_bessel_function_of_a_round_hole() -> None:
    """sqrt(1 - (y / R)^2) over its whole height: pi R J1(2 pi v R) / (2 pi v R) (Born and Wolf
    8.5.2, along one diameter), here scaled to the power of an even height."""
    from scipy.special import j1

    radius_m = 3e-3
    along = Along(2 * radius_m, round_m=radius_m)
    v = np.array([5e3, 1e5, 4e5])  # the second and third are added up in panels
    found = np.array([float(along.amplitude(np.array([one]))[0]) for one in v])
    closed = j1(2 * np.pi * v * radius_m) / (2 * v)
    assert found / found[0] == pytest.approx(closed / closed[0], abs=1e-9)
