"""Tolerances: closed forms backwards, and their confirmation by simulated rulings."""

from __future__ import annotations

import math

import numpy as np
import pytest

from tests.rulings import PITCH_M, WAVELENGTH_M, grating, periodic
from wavesim.errors import LimitError
from wavesim.study import formulas
from wavesim.study.ruling import ruling
from wavesim.study.tolerance import Limits, Tolerance, tolerance
from wavesim.study.tolerance.formula import (
    Broadening,
    largest_periodic,
    largest_random,
    resolving_power,
)
from wavesim.study.tolerance.simulation import RelativeErrors, bench

COUNT = 5000


@pytest.fixture(scope="module")
def found() -> Tolerance:
    limits = Limits(ghost=1e-4, diffuse=1e-3, resolving_power=4000)
    return tolerance(grating(COUNT), limits, wavelength_m=WAVELENGTH_M, order=1, period=100)


def test_a_ghost_of_one_thousandth() -> None:
    """A/d = 0.010060814 where the textbook argument holds, P to infinity."""
    assert largest_periodic(1, 1e12, 1e-3) == pytest.approx(0.010060814, abs=1e-9)


def test_light_lost_to_random_errors() -> None:
    """1 % of the line lost at sigma/d = 0.0159555: (1 - E) / E = 0.01 / 0.99 is scattered."""
    assert largest_random(1, 0.01 / 0.99) == pytest.approx(0.0159555000, abs=1e-9)


def test_perfect_resolving_power_is_m_n() -> None:
    ruled = ruling(grating(COUNT))
    for order in (1, 3):
        # straight lines between 32 places per 1/W: 1e-4 of the width
        assert resolving_power(ruled, order, Broadening()) == pytest.approx(order * COUNT, rel=2e-4)


def test_width_of_a_long_random_walk_is_its_lorentzian() -> None:
    """sigma^2 N large: the closed FWHM 2 pi m^2 sigma^2 / d^2 of an endless ruling."""
    ruled = ruling(grating(100_000))
    walk = 0.01
    width = formulas.SINC_FWHM / resolving_power(ruled, 1, Broadening(walk=walk))
    # the ruling's own width, 8.9e-6 orders, is 1.4 % of 6.3e-4
    assert width == pytest.approx(formulas.accumulated_width_orders(1, walk), rel=0.014)


@pytest.mark.slow
def test_formula_and_simulation_agree(found: Tolerance) -> None:
    by_kind = {row.kind: row for row in found.rows}
    assert by_kind["periodic displacement"].simulated == pytest.approx(
        by_kind["periodic displacement"].alone, rel=1e-3
    )
    assert by_kind["periodic groove strength"].simulated == pytest.approx(0.02, rel=1e-3)
    # 3000 cells of speckle: 2 % of the light, 1 % of the amplitude; three standard errors
    random = by_kind["random displacement, rms"]
    assert random.simulated == pytest.approx(random.alone, rel=0.03)
    # 400 missing rulings in all: 5 % of the light; three standard errors
    missing = by_kind["missing rulings, fraction"]
    assert missing.simulated == pytest.approx(missing.alone, rel=0.15)
    # mean of 2000 draws: 1.5 % of the width, where the width grows with the square of the error
    walk = by_kind["accumulated pitch error, rms"]
    assert walk.simulated == pytest.approx(walk.alone, rel=0.05)
    for kind in ("drift of pitch over the width", "one step in the middle"):
        assert by_kind[kind].simulated == pytest.approx(by_kind[kind].alone, rel=0.01)


@pytest.mark.slow
def test_together_the_limits_are_kept(found: Tolerance) -> None:
    assert found.together.within_limits
    assert found.together.ghost <= 1e-4 + 2 * found.together.ghost_error
    assert found.together.ghost_error < 1e-5
    assert found.together.resolving_power >= 4000
    assert found.together.factor >= 0.9  # the formula's share was nearly right
    for row in found.rows:
        assert 0 < row.together < row.alone


def test_limits_follow_the_order() -> None:
    """Ghosts grow with m^2: in order 3 a third of the amplitude is allowed."""
    first = tolerance(grating(2000), Limits(ghost=1e-5), wavelength_m=WAVELENGTH_M, order=1)
    third = tolerance(grating(2000), Limits(ghost=1e-5), wavelength_m=WAVELENGTH_M, order=3)
    # the ghost's own direction: 1.01 against 3.01
    assert first.rows[0].alone / third.rows[0].alone == pytest.approx(3.01 / 1.01, rel=1e-3)
    assert first.rows[0].alone == pytest.approx(
        math.sqrt(1e-5) / math.pi / 1.01 * PITCH_M, rel=1e-3
    )


def test_the_period_is_taken_from_the_scene() -> None:
    scene = grating(2000, periodic(0.01, 40))
    found = tolerance(scene, Limits(ghost=1e-5), wavelength_m=WAVELENGTH_M)
    assert found.period == 40


def test_refusals() -> None:
    scene = grating(1000)
    with pytest.raises(LimitError, match="no limit is given"):
        tolerance(scene, Limits(), wavelength_m=WAVELENGTH_M)
    with pytest.raises(LimitError, match="the perfect ruling resolves only 1,000 in order 1"):
        tolerance(scene, Limits(resolving_power=2000), wavelength_m=WAVELENGTH_M)
    with pytest.raises(LimitError, match="order 0"):
        tolerance(scene, Limits(ghost=1e-4), wavelength_m=WAVELENGTH_M, order=0)


@pytest.mark.parametrize("period", [96, 900, 1500, 3000, 4500])
def test_a_simulated_ghost_of_few_periods_over_the_ruling(period: float) -> None:
    """J_1(2 pi (m + 1/P) A/d)^2 / J_0^2 of 9,000 rulings, and (a/2)^2, down to two periods."""
    simulated = bench(grating(9000), WAVELENGTH_M, 1)
    strength, _ = simulated.ghost(RelativeErrors(periodic=0.005, period=period))
    assert strength == pytest.approx(
        formulas.ghost_ratio(1, 1, amplitude=0.005, period=period), rel=1e-3
    )
    assert simulated.ghost(RelativeErrors(modulation=0.02, period=period))[0] == pytest.approx(
        1e-4, rel=2e-3
    )


@pytest.mark.slow
def test_a_step_may_not_leave_a_twin() -> None:
    """sinc^2(u/2) cos^2(pi u/2 + t), t = pi m s/d, of two halves out of step: its second peak.

    At the largest step allowed it is 1 - 8/pi^2 of the first, wherever the half width would allow
    more.
    """
    limits = Limits(resolving_power=COUNT / 2)
    row = tolerance(grating(COUNT), limits, wavelength_m=WAVELENGTH_M).rows[-1]
    assert row.kind == "one step in the middle"
    u = np.linspace(-4, 4, 80_001)
    level = (np.sinc(u / 2) * np.cos(np.pi * (u / 2 + row.alone / PITCH_M))) ** 2
    peaks = np.sort(level[1:-1][(level[1:-1] > level[:-2]) & (level[1:-1] > level[2:])])
    assert peaks[-2] / peaks[-1] == pytest.approx(1 - 8 / math.pi**2, rel=0.02)
    assert row.simulated == pytest.approx(row.alone, rel=0.01)


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        (Limits(ghost=1e-3), r"fewer rulings \(10\) than one period of the error \(100\)"),
        (Limits(diffuse=1e-3), "too few rulings: no diffuse light can be told from its line"),
    ],
)
def test_too_few_rulings_for_a_ghost_or_diffuse_light(limits: Limits, words: str) -> None:
    with pytest.raises(LimitError, match=words):
        tolerance(grating(10), limits, wavelength_m=WAVELENGTH_M)
