"""The reverse problem: period, amplitude and kind from ghosts in several orders."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from scipy.special import jv

from tests.parameters import slow_beyond
from tests.rulings import PITCH_M, WAVELENGTH_M, by_hand
from wavesim.aperture import Aperture
from wavesim.aperture.defects.random_errors import draw
from wavesim.errors import TableError
from wavesim.measuring.diagnosis import GhostTable, diagnose, read
from wavesim.study.profile import Illumination
from wavesim.study.profile.field import prepared
from wavesim.study.profile.scan import scan, softened
from wavesim.study.profile.search import find

COUNT = 30_000


def _secret(seed: int) -> tuple[Aperture, str, float, float]:
    """A ruling with one periodic error and some random ones: kind, period, size unknown to all."""
    stream = np.random.RandomState(seed)
    n = np.arange(COUNT, dtype=np.float64)
    period = float(np.exp(stream.uniform(math.log(12), math.log(900))))
    turn = 2 * np.pi * (n / period + stream.uniform())
    noise = 2e-4 * draw("independent", seed + 1000, COUNT, 1.0)  # 0.4 nm of 1.9 um
    if stream.uniform() < 0.5:
        size = float(np.exp(stream.uniform(math.log(6e-4), math.log(0.02))))  # 1 to 40 nm
        return by_hand(n + size * np.sin(turn) + noise), "displacement", period, size
    size = float(np.exp(stream.uniform(math.log(5e-3), math.log(0.1))))
    return by_hand(n + noise, 1 + size * np.cos(turn)), "strength", period, size


def _measured(ruled: Aperture, orders: tuple[int, ...]) -> GhostTable:
    """What a search of those orders finds, strengths freed of the groove's envelope."""
    light = softened(Illumination(ruled, 0.0, WAVELENGTH_M))
    width = ruled.combs[0].element.width_m / PITCH_M
    rows = []
    for m in orders:
        for ghost in find(prepared(scan(light, m - 0.5, m + 0.5, fineness=4), m)):
            envelope = (np.sinc(width * ghost.mu) / np.sinc(width * m)) ** 2
            rows.append((m, ghost.mu - m, ghost.mu_error, ghost.strength / envelope,
                         ghost.strength_error / envelope))  # fmt: skip
    return GhostTable(*np.array(rows).T)


@pytest.mark.parametrize("seed", slow_beyond(1, range(10)))
def test_ten_rulings_whose_errors_nobody_tells(seed: int) -> None:
    ruled, kind, period, size = _secret(seed)
    found = diagnose(_measured(ruled, (1, 2)), pitch_m=PITCH_M).errors[0]
    assert found.kind == kind
    assert found.period == pytest.approx(period, rel=1e-3)
    recovered = found.amplitude if kind == "displacement" else found.modulation
    assert recovered == pytest.approx(size, rel=0.02)


@pytest.mark.slow
def test_two_periods_and_their_combinations() -> None:
    n = np.arange(COUNT, dtype=np.float64)
    position = n + 0.02 * np.sin(2 * np.pi * n / 96) + 0.012 * np.sin(2 * np.pi * n / 251.3)
    measured = _measured(by_hand(position), (1, 2, 3))
    found = diagnose(measured, pitch_m=PITCH_M)
    assert measured.order.size > 30  # with harmonics and combinations
    first, second = found.errors[:2]
    assert (first.kind, second.kind) == ("displacement", "displacement")
    assert first.period == pytest.approx(96, rel=1e-4)
    assert first.amplitude == pytest.approx(0.02, rel=5e-3)
    assert second.period == pytest.approx(251.3, rel=1e-4)
    assert second.amplitude == pytest.approx(0.012, rel=5e-3)
    assert first.ghosts + second.ghosts > 20  # most others are known as their offspring


def test_place_and_strength_with_one_period() -> None:
    n = np.arange(COUNT, dtype=np.float64)
    turn = 2 * np.pi * n / 120
    ruled = by_hand(n + 0.004 * np.sin(turn), 1 + 0.03 * np.cos(turn + 0.4))
    found = diagnose(_measured(ruled, (1, 2, 3)), pitch_m=PITCH_M).errors[0]
    assert found.kind == "both"
    assert found.amplitude == pytest.approx(0.004, rel=0.02)
    assert found.modulation == pytest.approx(0.03, rel=0.02)


def test_one_order_cannot_tell_the_kind() -> None:
    ruled, _, period, _ = _secret(3)
    found = diagnose(_measured(ruled, (1,))).errors[0]
    assert found.kind == "undetermined"
    assert found.period == pytest.approx(period, rel=1e-3)
    assert math.isnan(found.growth)
    assert math.isnan(found.amplitude_m)


@pytest.mark.slow
def test_errors_of_measurement_are_passed_on() -> None:
    """Ghosts of a known error with known noise: 95 of 100 results within two standard errors."""
    stream = np.random.RandomState(1)
    order = np.array([1.0, 1.0, 2.0, 2.0, 3.0, 3.0])
    offset = np.array([0.01, -0.01] * 3)
    from wavesim.study.formulas import ghost_over_line

    true = ghost_over_line(order, offset, 1, 0.005)
    within = 0
    for _ in range(200):
        noisy = true * (1 + 0.05 * stream.standard_normal(6))
        found = diagnose(GhostTable(order, offset, np.full(6, 1e-5), noisy, 0.05 * true)).errors[0]
        assert found.kind == "displacement"
        within += abs(found.amplitude - 0.005) < 2 * found.amplitude_error
    assert within >= 0.95 * 200


def test_tables_of_offsets_and_of_wavelengths_agree(tmp_path: Path) -> None:
    by_offset, by_wavelength = tmp_path / "a.csv", tmp_path / "b.csv"
    by_offset.write_text("order, offset [orders], strength\n1, 0.01, 1e-4\n2, 0.01, 4.1e-4\n")
    by_wavelength.write_text(
        "order, line [nm], ghost [nm], strength\n1, 500, 505, 1e-4\n2, 500, 502.5, 4.1e-4\n"
    )
    first, second = diagnose(read(by_offset)).errors[0], diagnose(read(by_wavelength)).errors[0]
    assert first.kind == second.kind == "displacement"
    assert first.period == pytest.approx(second.period, rel=1e-9)
    assert first.amplitude == pytest.approx(1e-2 / math.pi, rel=0.02)  # sqrt(1e-4) / pi


def _harmonics(orders: tuple[int, ...], which: tuple[int, ...]) -> GhostTable:
    """Ghosts of a displacement of 0.009 pitches and 600 rulings: J_k^2 over J_0^2, k of `which`."""
    rows = []
    for m in orders:
        for k in (*which, *(-k for k in which)):
            strength = (
                jv(k, 2 * np.pi * (m + k / 600) * 0.009) / jv(0, 2 * np.pi * m * 0.009)
            ) ** 2
            rows.append((m, k / 600, 1e-7, strength, 1e-3 * strength))
    return GhostTable(*np.array(rows).T)


def test_harmonics_alone_in_one_order_name_the_longer_period_as_well() -> None:
    """Ghosts 2 and 3 of 600 rulings look like 300 and 200: nothing but strength says more."""
    found = diagnose(_harmonics((1,), (2, 3)), pitch_m=1e-3 / 300)
    assert [round(error.period) for error in found.errors] == [300, 200]
    longer = found.longer[0]
    assert longer.period == pytest.approx(600, rel=1e-5)
    assert (longer.harmonics, longer.errors, longer.agrees) == ((2, 3), (1, 2), True)
    assert longer.amplitude_m == pytest.approx(30e-9, rel=1e-3)


def test_a_lone_pair_in_one_order_may_be_the_second_ghosts_of_twice_the_period() -> None:
    longer = diagnose(_harmonics((1,), (2,))).longer
    assert longer[0].period == pytest.approx(600, rel=1e-5)
    assert longer[0].amplitude == pytest.approx(0.009, rel=1e-3)
    assert diagnose(_harmonics((1, 2), (1,))).longer == ()  # growth with order excludes it


@pytest.mark.parametrize("which", [(2,), (3,), (2, 3, 4)])
def test_growth_with_order_tells_which_ghosts_were_measured(which: tuple[int, ...]) -> None:
    """The k-th ghosts of a displacement grow as |m|^2k."""
    found = diagnose(_harmonics((1, 2, 3), which))
    assert len(found.errors) == 1
    assert found.errors[0].harmonic == which[0]
    assert found.errors[0].period == pytest.approx(600, rel=1e-5)
    assert found.errors[0].amplitude == pytest.approx(0.009, rel=2e-3)


BAD = {
    "": "holds no ghosts",
    "order, strength\n1, 1e-4\n": r"has no column 'line \[nm\]'",
    "order, offset [orders]\n1, 0.1\n": "has no column 'strength'",
    "order, offset [orders], strength\n1, 0.1\n": "a row whose length differs",
    "order, offset [orders], strength\n1, x, 1e-4\n": "not a number",
    "order, offset [orders], strength\n1.5, 0.1, 1e-4\n": "not a plausible whole number",
    "order, offset [orders], strength\n1, 0, 1e-4\n": "on its own line",
    "order, offset [orders], strength\n1, 0.1, -1e-4\n": "not above zero",
}


@pytest.mark.parametrize("text", BAD)
def test_tables_that_are_wrong(tmp_path: Path, text: str) -> None:
    path = tmp_path / "ghosts.csv"
    path.write_text(text)
    with pytest.raises(TableError, match=BAD[text]):
        read(path)


def test_no_table(tmp_path: Path) -> None:
    with pytest.raises(TableError, match=r"none\.csv: there is no such file"):
        read(tmp_path / "none.csv")
