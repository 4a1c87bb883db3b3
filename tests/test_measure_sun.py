"""A solar plate measured with nothing known but pitch, focal length and normal incidence."""

from __future__ import annotations

import json
import re

import numpy as np
import pytest
from click.testing import CliRunner

from tests import bench
from tests.narrowing import known
from wavesim.cli.measure import command
from wavesim.lightpath import expose
from wavesim.measuring import (
    Instrument,
    Known,
    Task,
    Uncertainties,
    find_references,
    from_plate,
    letter_m,
    measure,
    solve,
)
from wavesim.scene import parse

SUN = bench.text(
    "The Sun through 300 lines per millimetre, Harbour School bench",
    source='kind = "sun"\nslit = { width = "10 um", height = "2 mm" }',
    bench='collimator = "500 mm"\ncamera = "500 mm"',
    aperture='kind = "grating"\ndensity = "300 / mm"\nruled_width = "25 mm"\nheight = "20 mm"',
    plate='width = "45 mm"\nheight = "0.05 mm"\npixel = "7.5 um"\ncentre = "80.5 mm"',
)
PITCH_M = 1e-3 / 300
FOCAL_M = 0.5

# Air wavelengths [nm] from published tables: C, D1, D2, F, H, K from an encyclopaedia's entry on
# Fraunhofer's lines; E, G', h, b1, b2, b4, c from memory. None comes from the package.
PUBLISHED_NM = {
    "C": 656.28,
    "D1": 589.59,
    "D2": 589.00,
    "E": 526.96,
    "b1": 518.362,
    "b2": 517.270,
    "b4": 516.733,
    "c": 495.76,
    "F": 486.13,
    "G'": 434.05,
}


@pytest.fixture(scope="module")
def plate():
    return expose(parse(SUN))


@pytest.fixture(scope="module")
def named(plate):
    table = measure(plate, instrument=Instrument(PITCH_M, FOCAL_M))
    letters = {}
    for row in table.lines:
        found = re.match(r"([A-Za-z]['0-9]?) \(", row.name)
        if found:
            letters[found.group(1)] = row
    return letters


def test_ten_fraunhofer_lines_to_four_figures(named):
    """Four significant figures: within half of 0.1 nm."""
    assert set(PUBLISHED_NM) <= set(named)
    for letter, nm in PUBLISHED_NM.items():
        assert named[letter].wavelength_m * 1e9 == pytest.approx(nm, abs=0.05), letter


def test_single_lines_to_five_figures(named):
    """The sodium pair and C stand alone: within half of 0.01 nm of 589.592, 588.995 (NIST) and
    656.280 nm (H alpha's blend, Reader 2004)."""
    for letter, nm in {"D1": 589.5924, "D2": 588.9951, "C": 656.2795}.items():
        assert named[letter].wavelength_m * 1e9 == pytest.approx(nm, abs=0.005), letter


@pytest.mark.parametrize(("letter", "nm"), [("K", 393.366), ("H", 396.847)])
def test_the_broad_lines_of_calcium_lie_within_twice_their_uncertainty(named, letter, nm):
    """Ca II in air (NIST); other lines stand on their flanks, and the uncertainty says so."""
    row = named[letter]
    assert abs(row.wavelength_m * 1e9 - nm) < 2e9 * row.uncertainty_m
    assert row.uncertainty_m * 1e9 < 0.1  # a tenth of their width


def test_the_pair_of_sodium_is_right_to_a_picometre_or_three(named):
    """D1 - D2 = 0.5973 nm (NIST wavelengths); 0.003 nm is a tenth of a pixel's 0.05 nm each."""
    apart = named["D1"].wavelength_m - named["D2"].wavelength_m
    assert apart * 1e9 == pytest.approx(0.5973, abs=0.003)


@pytest.mark.parametrize("given", [("D1", "D2"), ("D1", "C"), ("F", "D1")])
@pytest.mark.slow
def test_pitch_from_two_lines(plate, given):
    """Within 1e-5, starting from a pitch that is 0.07 % wrong."""
    start = Instrument(1e-3 / 299.8, FOCAL_M)
    known = tuple(Known(letter_m(name), name=name) for name in given)
    references = find_references(from_plate(plate), start, known, kind="dark")
    found = solve(references, start, ("pitch",)).instrument.pitch_m
    assert found == pytest.approx(PITCH_M, rel=1e-5)


@pytest.mark.slow
def test_spectra_beside_the_plate_are_not_read(plate):
    """The measurement uses what a plate shows; the spectra kept beside it may be anything."""
    from dataclasses import replace

    other = replace(plate, profile_spectrum=np.zeros_like(plate.profile_spectrum))
    instrument = Instrument(PITCH_M, FOCAL_M)
    assert measure(other, instrument=instrument) == measure(plate, instrument=instrument)


def test_uncertainty_budget_adds_up(plate):
    uncertainties = Uncertainties(pitch=1e-5, focal=1e-5, incidence_rad=1e-5, temperature_K=2.0)
    table = measure(
        plate,
        Task(kind="dark"),
        instrument=Instrument(PITCH_M, FOCAL_M, uncertainties=uncertainties),
    )
    row = table.lines[len(table.lines) // 2]
    parts = (row.u_noise_m, row.u_pixel_m, row.u_slit_m, row.u_pitch_m, row.u_angles_m, row.u_air_m)
    total = np.sqrt(np.sum(np.square([known(part) for part in parts])))
    assert row.uncertainty_m == pytest.approx(total, rel=1e-12)
    assert row.u_pitch_m == pytest.approx(1e-5 * known(row.wavelength_m), rel=1e-9)
    # air: (n - 1) / T = 9.6e-7 a kelvin (ideal gas), two kelvin
    assert row.u_air_m == pytest.approx(2 * 9.6e-7 * known(row.wavelength_m), rel=0.02)
    # d lambda = d cos(alpha) d alpha = d d alpha, and f tan(beta): d cos(beta) sin(beta) df / f
    focal = (
        PITCH_M
        * 1e-5
        * np.sin(np.arctan(row.x_m / FOCAL_M))
        * np.cos(np.arctan(row.x_m / FOCAL_M)) ** 2
    )
    assert row.u_angles_m == pytest.approx(np.hypot(PITCH_M * 1e-5, focal), rel=1e-3)


@pytest.mark.slow
def test_command(plate, tmp_path):
    path = tmp_path / "sun.h5"
    plate.save(path)
    runner = CliRunner()
    result = runner.invoke(command, [str(path), "--density", "299.8 / mm", "--reference", "D1",
                                    "--reference", "C", "--solve", "pitch"])  # fmt: skip
    assert result.exit_code == 0, result.output
    assert "300.00" in result.output
    assert "D1 (Na I 589.592)" in result.output
    data = json.loads(runner.invoke(command, [str(path), "--json"]).output)
    assert len(data["lines"]) > 100
    assert data["instrument"]["pitch_m"] == pytest.approx(PITCH_M)
