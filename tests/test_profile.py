"""The line profile: its floor, its measures against closed forms, the ghosts that it finds."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from tests.rulings import PITCH_M, WAVELENGTH_M, by_hand, grating, periodic
from wavesim import aperture
from wavesim.errors import LimitError
from wavesim.study import formulas
from wavesim.study.profile import Illumination, line_profile
from wavesim.study.profile.field import prepared
from wavesim.study.profile.scan import scan, softened
from wavesim.study.profile.search import find

FLOOR = 1e-24  # of the peak, between orders: the figure promised
COUNT = 60_000
RULED_M = COUNT * PITCH_M


def _light(ruled: aperture.Aperture) -> Illumination:
    return Illumination(ruled, 0.0, WAVELENGTH_M)


def _gaussian(edge: float) -> aperture.Aperture:
    """A perfect ruling in a Gaussian beam of amplitude exp(-edge) at its ends."""
    n = np.arange(COUNT) - (COUNT - 1) / 2
    return by_hand(n, np.exp(-edge * (2 * n / COUNT) ** 2))


def test_a_gaussian_beam_leaves_nothing_between_the_orders() -> None:
    """Beam cut at exp(-30) of its amplitude: the cut itself leaves 1e-33 of the peak.

    What is seen is rounding: of the transform's angles (5e-26 at isolated places, 1e-30 in the
    middle of all).
    """
    light = _light(_gaussian(30.0))
    scanned = scan(light, 0.5, 1.5, fineness=4)
    peak = light.intensity(np.array([1.0]))[0]
    far = np.abs(scanned.mu - 1) > 0.01
    assert scanned.level[far].max() / peak < FLOOR
    assert np.median(scanned.level[far]) / peak < 1e-3 * FLOOR


def test_exact_amplitude_has_the_same_floor() -> None:
    light = _light(_gaussian(30.0))
    mu = 1 + np.linspace(0.01, 0.5, 8)  # few directions: the compensated sum
    assert light.intensity(mu).max() / light.intensity(np.array([1.0]))[0] < FLOOR


def test_a_uniform_beam_has_the_tails_of_the_closed_form() -> None:
    """(sin N y / (N sin y))^2 with the amplitude right to 1e-12: 1e-24 of the peak.

    Places, pitch over wavelength and directions are powers of two here, so that both sides speak
    of the same mu; one rounding of mu turns the ends of the ruling by 1e-11 already.
    """
    n = np.arange(COUNT) - (COUNT - 1) / 2
    light = Illumination(by_hand(n), 0.0, PITCH_M / 4)
    mu = np.asarray(1 + np.arange(1, 2**19, 37) * 2.0**-20, dtype=np.float64)
    width = light.aperture.combs[0].element.width_m
    factor = light.intensity(mu) / (width * np.sinc(width * mu / PITCH_M) * COUNT) ** 2
    closed = formulas.interference_factor(mu, COUNT)  # type: ignore[arg-type]
    wrong = (np.sqrt(factor) - np.sqrt(closed)) ** 2
    assert wrong.max() < FLOOR
    far = np.abs(mu - 1.25) < 0.2
    assert closed[far].max() < 2e-8  # and there the tails themselves are small


def test_width_and_resolution_of_a_perfect_ruling() -> None:
    """Born & Wolf 8.6.1; Rayleigh 1/N, Sparrow 0.829567582187/N (limit of many rulings)."""
    found = line_profile(grating(2000), wavelength_m=WAVELENGTH_M, order=1)
    # N = 2000 differs from the limit by 1 / N^2, and the envelope's slope by 1 / N^2
    assert found.fwhm_orders * 2000 == pytest.approx(0.885892941379, abs=1e-6)
    assert found.rayleigh_orders * 2000 == pytest.approx(1.0, abs=1e-5)
    assert found.sparrow_orders * 2000 == pytest.approx(0.829567582187, abs=1e-5)
    assert found.resolving_power == pytest.approx(2000, rel=1e-5)
    # the envelope's slope moves the peak by 5e-6 / N and raises it by 1.4e-9
    assert found.strehl == pytest.approx(1.0, abs=3e-9)
    assert found.peak_mu == pytest.approx(1.0, abs=1e-6)
    assert found.ghosts == ()


def test_power_within_widths_follows_the_sine_integral() -> None:
    """Within n FWHM of a sinc^2: (2/pi) [Si(2a) - sin(a)^2 / a], a = n pi 0.885893 / 2."""
    from scipy.special import sici

    # an envelope without slope, so that the order holds the power of one line: slits of 1/50 pitch
    found = line_profile(grating(5000, width_m=PITCH_M / 50), wavelength_m=WAVELENGTH_M, order=1)
    for widths, power in found.power_within:
        a = widths * math.pi * 0.885892941379 / 2
        exact = 2 / math.pi * (sici(2 * a)[0] - math.sin(a) ** 2 / a)
        # at 100 widths the neighbouring orders' tails count: (width / 5000)^2
        assert power == pytest.approx(exact, abs=2e-5)
    assert found.equivalent_orders * 5000 == pytest.approx(1.0, abs=2e-3)  # sinc^2(1/50) varies


def test_gaussian_beam_profile() -> None:
    """FWHM sqrt(2 ln 2) d / (pi r), no side lobes; Sparrow 2 sigma of a Gaussian."""
    diameter = 20e-3
    bench = f'beam = {{ diameter = "{diameter!r} m", profile = "gaussian" }}'
    found = line_profile(grating(COUNT, bench=bench), wavelength_m=WAVELENGTH_M, order=2)
    fwhm = formulas.gaussian_width_orders(diameter / 2, PITCH_M)
    assert found.fwhm_orders == pytest.approx(fwhm, rel=1e-6)
    sigma = fwhm / math.sqrt(8 * math.log(2))
    assert found.sparrow_orders == pytest.approx(2 * sigma, rel=1e-5)


# one nanometre on a pitch of 1.67 um, seen in the orders 1 to 4 at the level (pi m A/d)^2
PITCH_600 = 1e-3 / 600
NANOMETRE = {1: 3.553e-6, 2: 1.421e-5, 3: 3.198e-5, 4: 5.685e-5}


@pytest.mark.parametrize("order", NANOMETRE)
def test_one_nanometre_is_seen(order: int) -> None:
    defect = 'kind = "periodic"\namplitude = "1 nm"\nperiod = 200'
    bench = 'beam = { diameter = "9 mm", profile = "gaussian" }'
    scene = grating(20_000, defect, bench=bench, pitch_m=PITCH_600, wavelength="400 nm")
    found = line_profile(scene, wavelength_m=400e-9, order=order)
    first = {round(200 * (g.found.mu - order)): g for g in found.ghosts}
    both = (first[1].found.strength + first[-1].found.strength) / 2
    # the sides' mean is free of slopes; the envelope's bend over 1/200 order and z^2/4 stay
    assert both == pytest.approx(NANOMETRE[order], rel=1e-3)
    for side in (-1, 1):
        predicted = first[side].predicted
        assert predicted is not None
        assert predicted.harmonics == (side,)
        assert first[side].found.strength == pytest.approx(predicted.observed, rel=1e-5)


def test_ghosts_are_found_and_named_down_to_rounding() -> None:
    scene = grating(30_000, periodic(0.004, 96), periodic(0.0025, 780))
    found = line_profile(scene, wavelength_m=WAVELENGTH_M, order=1)
    named = {g.predicted.harmonics: g for g in found.ghosts if g.predicted}
    assert {(1, 0), (-1, 0), (0, 1), (0, -1), (1, 1), (2, 0), (0, 2)} <= set(named)
    for harmonics in ((1, 0), (0, -1), (1, 1), (2, 0)):
        ghost = named[harmonics]
        assert ghost.predicted is not None
        assert ghost.found.strength == pytest.approx(ghost.predicted.observed, rel=2e-5)
    assert all(g.predicted for g in found.ghosts if g.found.strength > 1e-15)
    assert not found.missed


@pytest.mark.slow
def test_no_ghost_is_found_in_random_errors_alone() -> None:
    random = f'kind = "random"\nrms = "{0.004 * PITCH_M!r} m"\nseed = {{seed}}'
    for seed in range(4):
        scene = grating(30_000, random.format(seed=seed))
        found = line_profile(scene, wavelength_m=WAVELENGTH_M, order=1)
        assert found.ghosts == ()


@pytest.mark.slow
@pytest.mark.parametrize("bench", ["", 'beam = { diameter = "25 mm", profile = "gaussian" }'])
def test_diffuse_level_of_random_errors(bench: str) -> None:
    """(1 - E) / N of the unperturbed peak, so (1 - E) / (E N) of the line."""
    random = f'kind = "random"\nrms = "{0.01 * PITCH_M!r} m"\nseed = 3'
    scene = grating(COUNT, random, bench=bench, width_m=PITCH_M / 50)
    found = line_profile(scene, wavelength_m=WAVELENGTH_M, order=1).diffuse
    from wavesim.study.ruling import ruling

    left = float(formulas.parent_left(1, 0.01))
    level = (1 - left) / left / ruling(scene).effective_count
    assert found.cells > 1000
    assert found.contrast == pytest.approx(1.0, abs=0.05)
    assert abs(found.level - level) < 4 * found.standard_error
    assert found.standard_error < 0.03 * found.level


def test_search_is_blind_to_the_scene() -> None:
    """The search works on an aperture alone."""
    n = np.arange(20_000.0)
    light = softened(_light(by_hand(n, 1 + 2e-3 * np.cos(2 * np.pi * n / 70))))
    ghosts = find(prepared(scan(light, 0.5, 1.5, fineness=4), 1))
    assert [round(70 * (g.mu - 1)) for g in ghosts] == [-1, 1]
    mean = (ghosts[0].strength + ghosts[1].strength) / 2
    assert mean == pytest.approx(1e-6, rel=1e-3)  # the envelope's bend over 1/70 order


def test_a_mask_of_samples_does_not_show_the_nanometre() -> None:
    """Hard samples of 5 to 50 nm make a ghost of any strength, grey ones of 100 nm false ghosts.

    Steps at which they are right are printed by `python -m benchmarks profile`.
    """
    from benchmarks.profile import COUNT, PERIOD, sampled, sampled_level, true_ghost

    mu = np.array([1.0, 1 + 1 / PERIOD, 1 + 41 / COUNT])
    for step_m in (50e-9, 20e-9, 10e-9, 5e-9):
        line, ghost, _ = sampled_level(*sampled(COUNT, step_m, grey=False), mu)
        assert abs(ghost / line / true_ghost() - 1) > 0.2
    clear, x = sampled(COUNT, 100e-9, grey=True)
    orders = 1 + np.array([k for k in range(-249, 250, 2) if k % 10]) / COUNT
    false = sampled_level(clear, x, orders).max() / sampled_level(clear, x, mu[:1])[0]
    assert false > true_ghost()


@pytest.mark.slow
def test_the_command_draws_writes_and_prints(tmp_path: Path) -> None:
    from wavesim.cli.diagnose import command as diagnose
    from wavesim.cli.profile import command

    figure = tmp_path / "profile.png"
    options = ["scenes/grating_screw.toml", "--wavelength", "546.07 nm", "--json", "--order"]
    tables = []
    for order in ("1", "2"):
        table = tmp_path / f"ghosts{order}.csv"
        done = CliRunner().invoke(command, [*options, order, "--ghosts", str(table),
                                            "--figure", str(figure)])  # fmt: skip
        assert done.exit_code == 0, done.output
        tables.append(table.read_text().splitlines())
    found = json.loads(done.output)
    assert found["order"] == 2
    assert len(found["ghosts"]) > 20
    assert figure.stat().st_size > 10_000
    both = tmp_path / "ghosts.csv"
    both.write_text("\n".join(tables[0] + tables[1][1:]) + "\n")
    done = CliRunner().invoke(diagnose, [str(both), "--pitch", "600 / mm", "--json"])
    errors = json.loads(done.output)["errors"]
    assert [round(e["period"], 1) for e in errors[:2]] == [780.0, 96.0]
    # the groove's envelope is still in the strengths: its bend is 1e-3 of them at 1/96 order
    assert errors[0]["amplitude_m"] == pytest.approx(8e-9, rel=2e-3)
    assert errors[1]["amplitude_m"] == pytest.approx(5e-9, rel=2e-3)


def test_orders_that_do_not_propagate_or_are_dark() -> None:
    with pytest.raises(LimitError, match=r"order 7 does not propagate at 500 nm; expected"):
        line_profile(grating(100), wavelength_m=WAVELENGTH_M, order=7)
    with pytest.raises(LimitError, match="order 2 is missing"):
        line_profile(grating(100, width_m=PITCH_M / 2), wavelength_m=WAVELENGTH_M, order=2)
