"""Where textbook formulas fail, against closed forms written out in each test."""

from __future__ import annotations

import json
import math
import re

import h5py
import numpy as np
import pytest
from click.testing import CliRunner
from scipy.special import fresnel

from tests import bench
from tests.narrowing import known
from wavesim.cli.compare import command
from wavesim.errors import InputError, SceneError
from wavesim.scene import parse
from wavesim.study.compare import APPROXIMATIONS, Comparison, compare, save, vary

WAVELENGTH_M, PITCH_M, WIDTH_M = 632.8e-9, 90e-6, 30e-6


def slits(count: int):
    return parse(slits_text(count))


def slits_text(count: int) -> str:
    pitch = 'pitch = "90 um"' if count > 1 else ""
    return bench.text(
        "Slits in red light, Harbour School bench",
        source='kind = "laser"\nwavelength = "632.8 nm"',
        aperture=f'kind = "slits"\ncount = {count}\nwidth = "30 um"\n{pitch}',
        plate='width = "60 mm"\nheight = "1 mm"\npixel = "25 um"',
    )


def comparison(name: str, count: int = 6, **options: object) -> Comparison:
    found = compare(slits(count), only=(name,), **options)  # type: ignore[arg-type]
    assert not found.left_out
    return found.comparisons[0]


def on_axis(edges_m: np.ndarray, wavelength_m: float, distance_m: float) -> float:
    """Axial intensity behind clear openings over its far-field value, in closed form.

    Parallel light falls on the aperture; with w = x sqrt(2 / (lambda z)) at the edges (n, 2),

        A = sum over openings of (C + i S)(w_2) - (C + i S)(w_1),   I = |A|^2 / (sum of w_2 - w_1)^2

    Born & Wolf 8.7; exact within Fresnel's approximation (angles below about 0.1 rad).
    """
    w = edges_m * math.sqrt(2 / (wavelength_m * distance_m))
    s, c = fresnel(w)
    whole = c + 1j * s
    amplitude = (whole[:, 1] - whole[:, 0]).sum()
    open_width = (w[:, 1] - w[:, 0]).sum()
    return float(np.abs(amplitude / open_width) ** 2)


@pytest.mark.parametrize(
    ("number", "intensity"),
    [(1, 0.394741321), (0.5, 0.800304796), (0.25, 0.946441583), (0.1, 0.991259938),
     (0.05, 0.997808815), (0.01, 0.999912273)],
)  # fmt: skip
def test_slit_in_the_near_field(number, intensity):
    """Section 5: axial intensity over Fraunhofer's, N_F = a^2/(lambda z) with a half the width."""
    distance = (WIDTH_M / 2) ** 2 / (WAVELENGTH_M * number)
    edges = np.array([[-WIDTH_M / 2, WIDTH_M / 2]])
    assert on_axis(edges, WAVELENGTH_M, distance) == pytest.approx(intensity, abs=1e-9)  # printed
    check = next(a for a in APPROXIMATIONS if a.name == "far-field").check
    assert check(slits(1), distance).engine == pytest.approx(intensity, abs=2e-9)


def test_far_field_of_a_slit():
    """1 % wrong at 4 (pi N_F)^2 / 45 = 0.01, N_F = 0.1068; the series' next term is 0.6 %."""
    found = comparison("far-field", 1)
    number = (WIDTH_M / 2) ** 2 / (WAVELENGTH_M * known(found.fails_at))
    assert found.fails == "below"
    assert number == pytest.approx(math.sqrt(45 * 0.01 / 4) / math.pi, rel=0.006)
    assert found.estimate == pytest.approx(known(found.fails_at), rel=0.006)


def test_far_field_of_six_slits_engine_against_closed_form():
    """The near-field engine and Fresnel's integrals over all edges, at distances of all kinds."""
    check = next(a for a in APPROXIMATIONS if a.name == "far-field").check
    positions = (np.arange(6) - 2.5) * PITCH_M
    edges = np.stack([positions - WIDTH_M / 2, positions + WIDTH_M / 2], axis=1)
    for distance in (0.01, 0.1, 1.0, 10.0):
        closed = on_axis(edges, WAVELENGTH_M, distance)
        assert check(slits(6), distance).engine == pytest.approx(closed, rel=1e-9)


def test_small_angles():
    """1 - cos(beta) = 0.01: sin(beta) = 0.14107."""
    found = comparison("small-angles")
    assert found.fails == "below"
    assert WAVELENGTH_M / known(found.fails_at) == pytest.approx(
        math.sin(math.acos(0.99)), rel=1e-3
    )


@pytest.mark.slow
def test_placement_errors():
    """Section 4d: a parent loses 1 % at sigma/d = 0.01596, of N slits by (1 - 1/N) less."""
    found = comparison("n-slits")
    loss = 0.01 / 1.01 * 6 / 5
    assert known(found.fails_at) == pytest.approx(
        math.sqrt(-math.log(1 - loss)) / (2 * math.pi), rel=0.05
    )
    # 200 draws of 6 slits: the rms is known to 1/sqrt(2 x 200 x 5) = 2 %


def test_an_ideal_scene_is_its_closed_form():
    """Engine against sinc^2 times the N-slit factor: 1e-12 of the peak, as the engine promises."""
    assert known(comparison("n-slits", points=2).at_scene).error < 1e-12


def test_narrow_slit_of_two_slits():
    """V = sinc(w d / (lambda f)): 1 % at w d / (lambda f) = 0.07811 (solved here)."""
    found = comparison("narrow-slit", 2)
    t = known(found.fails_at) * PITCH_M / (WAVELENGTH_M * 0.6)
    assert 1 / np.sinc(t) - 1 == pytest.approx(0.01, rel=0.002)  # bisection stops at 1e-4 in w


def test_one_wavelength_for_a_band():
    """Mean of (sin 6 pi mu / 6 sin pi mu)^2 over the band, by quadrature."""
    found = comparison("one-wavelength")
    wavelength = WAVELENGTH_M + known(found.fails_at) * (np.arange(4000) + 0.5 - 2000) / 4000
    mu = WAVELENGTH_M / wavelength
    factor = (np.sin(6 * np.pi * mu) / (6 * np.sin(np.pi * mu))) ** 2
    assert 1 / factor.mean() - 1 == pytest.approx(0.01, rel=0.002)
    assert found.estimate == pytest.approx(known(found.fails_at), rel=0.01)


def test_rayleigh_of_few_and_many_rulings():
    """Section 2: the dip of two sinc^2 peak on zero is 8/pi^2; m N then holds for many rulings."""
    found = comparison("rayleigh")
    assert found.fails == "below"
    assert known(found.fails_at) == pytest.approx(found.estimate, rel=0.02)  # read between 3 and 4
    by_count = {round(r.value): r for r in found.rows}
    assert by_count[40].error < 1e-5
    # two rulings never show the dip: their pattern is a cosine, whose midpoint is as bright
    assert math.isinf(by_count[2].error)


def test_ghosts():
    """Section 4a: small-error form 1 % off at z = 2 pi A/d = 0.2; the sides differ by 2/(m P)."""
    small = comparison("ghosts-small")
    assert 2 * math.pi * known(small.fails_at) == pytest.approx(
        0.2, rel=0.01
    )  # next term of the series
    sides = comparison("ghosts-bessel")
    assert sides.fails == "below"
    assert sides.fails_at == pytest.approx(200, rel=0.02)


def test_ghost_check_row():
    """Section 4: N = 1000, P = 100, A/d = 0.05: I(1.01) = 0.0245430370, I(1) = 0.9515568877."""
    from wavesim.study.compare.ruling_errors import ghosts

    inner, outer = ghosts(slits(6), 0.05, 100.0)
    assert outer == pytest.approx(0.0245430370 / 0.9515568877, rel=1e-8)
    assert inner == pytest.approx(0.0236040404 / 0.9515568877, rel=1e-8)


@pytest.mark.slow
def test_diffuse_light():
    """1 - exp(-q) against q: 1 % at q = 0.02 on the average over mu from 1.3 to 1.7."""
    found = comparison("diffuse-small")
    assert known(found.fails_at) == pytest.approx(found.estimate, rel=0.04)
    # 16 draws both ways: the remaining scatter of the second-order term is 3 %
    rms = math.sqrt(2 * 0.01) / (2 * math.pi * 1.5)
    assert found.estimate == pytest.approx(rms, rel=0.03)  # half-way, without the average


@pytest.mark.slow
def test_speckle_of_one_ruling():
    """std = mean in one cell (Monte Carlo: 0.994 to 1.003), falling as 1/sqrt(K)."""
    found = comparison("diffuse-mean")
    by_cells = {round(r.value): r.error for r in found.rows}
    assert by_cells[1] == pytest.approx(1.0, abs=0.01)
    for cells, error in by_cells.items():
        groups = (1 << 20) // cells
        if groups > 300:  # whose rms is known to 4 %
            assert error * math.sqrt(cells) == pytest.approx(1.05, abs=0.15), cells
    assert found.fails == "below"
    assert known(found.fails_at) == pytest.approx(
        12_000, rel=0.4
    )  # 90 groups there: rms to 8 %, K 16 %


def test_missing_orders():
    """Equal slits leave the third order out to rounding; every second one 25 % wider does not."""
    found = comparison("missing-orders")
    assert known(found.at_scene).engine < 1e-20
    assert known(found.fails_at) == pytest.approx(found.estimate, rel=1e-3)
    e = known(found.fails_at)
    assert (e * np.sinc(e) / (2 + e)) ** 2 == pytest.approx(0.01, rel=1e-3)


def test_what_does_not_apply_is_left_out_with_its_reason():
    found = compare(slits(1), points=3)
    assert [c.name for c in found.comparisons] == ["far-field"]
    assert dict(found.left_out)["rayleigh"] == "a single slit has no orders"
    assert "scalar theory itself is not tested" in found.stated[0]


def test_another_tolerance_moves_the_threshold():
    """Errors grow with the square of most parameters: a tenth of the tolerance, a third of it."""
    small = comparison("ghosts-small", tolerance=0.001)
    assert 2 * math.pi * known(small.fails_at) == pytest.approx(2 * math.sqrt(0.001), rel=0.1)


def test_any_value_of_the_scene_can_be_varied():
    """Six slits: the small-angle error against the pitch, by closed trigonometry."""
    values = np.geomspace(3e-5, 3e-4, 5)
    scene = slits(6).but(aperture__width="5 um", aperture__pitch="20 um")
    texts = [f"{value!r} m" for value in values.tolist()]
    found = vary(scene, "aperture.pitch", texts, only=("small-angles",), tolerance=1e-4)
    for row in found.rows:
        sine = WAVELENGTH_M / row.value
        assert row.error == pytest.approx(1 - math.cos(math.asin(sine)), rel=0.05, abs=1e-6)
    assert found.comparisons[0].fails == "below"
    assert WAVELENGTH_M / known(found.comparisons[0].fails_at) == pytest.approx(
        math.sqrt(2e-4), rel=0.02
    )  # read between values, straight on logarithmic scales


@pytest.mark.parametrize(
    ("key", "message"),
    [
        ("aperture.colour", "not a key"),
        ("aperture.kind", "not a number"),
        ("plate.x.y", "not a key"),
    ],
)
def test_bad_keys(key, message):
    with pytest.raises(InputError, match=message):
        vary(slits(2), key, [1.0, 2.0])


def test_bad_values():
    with pytest.raises(SceneError, match="bare number"):
        vary(slits(2), "aperture.pitch", [1e-4, 1e-3])
    with pytest.raises(SceneError):
        vary(slits(2), "aperture.pitch", ["1 um", "10 um"])  # narrower than the slits
    with pytest.raises(InputError, match="one of small-angles"):
        compare(slits(2), only=("everything",))
    with pytest.raises(InputError, match="tolerance"):
        compare(slits(2), tolerance=2.0)


def test_tables_and_files(tmp_path):
    found = compare(slits(6), only=("small-angles", "ghosts-small"), points=5)
    frame = found.to_pandas()
    assert list(frame.columns[:3]) == ["approximation", "parameter", "value"]
    assert len(frame) == 10
    path = tmp_path / "six.h5"
    save(found, path)
    with h5py.File(path) as file:
        group = file["entry/small-angles"]
        np.testing.assert_array_equal(group["error"][:], found.comparisons[0].arrays()[1])
        assert group.attrs["fails_at"] == known(found.comparisons[0].fails_at)
        assert json.loads(file["entry/scene_resolved"][()])["aperture"]["count"] == 6


def test_help_names_every_formula():
    """The command lists the names without importing the engine; they must not drift apart."""
    from wavesim.cli import compare as cli

    assert tuple(a.name for a in APPROXIMATIONS) == cli._NAMES


def test_command(tmp_path):
    scene = tmp_path / "six.toml"
    scene.write_text(slits_text(6))
    output, figure = tmp_path / "six.h5", tmp_path / "six.png"
    options = ["--only", "small-angles", "--steps", "5"]
    result = CliRunner().invoke(
        command, [str(scene), *options, "-o", str(output), "--figure", str(figure)]
    )
    assert result.exit_code == 0, result.output
    assert re.search(r"small-angles +pitch +below 4\.49 um", result.output)
    assert output.exists()
    assert figure.exists()
    data = json.loads(CliRunner().invoke(command, [str(scene), *options, "--json"]).output)
    assert data["comparisons"][0]["name"] == "small-angles"
    varied = ["--vary", "bench.camera", "--from", "50 cm", "--to", "2 m", "--only", "small-angles"]
    data = json.loads(CliRunner().invoke(command, [str(scene), *varied, "--json"]).output)
    assert data["comparisons"][0]["rows"][0]["value"] == 0.5
    assert data["comparisons"][0]["fails"] == "never"
