"""Instruments found from known lines, right or wrong, and patterns recognised."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from wavesim.errors import InputError
from wavesim.light.air import AirState
from wavesim.measuring import (
    Feature,
    Instrument,
    Reference,
    line_list,
    recognise,
    solve,
)

TRUE = Instrument(
    pitch_m=1e-3 / 600, focal_m=0.5, alpha_rad=math.radians(12), viewing_rad=math.radians(5)
)
LINES_M = np.array([404.656, 435.833, 491.6, 546.074, 576.96, 579.066, 623.4]) * 1e-9


def test_wavelength_follows_the_grating_equation():
    """d (sin a + sin b) = m lambda, worked case 1200/mm, 20 deg, 500 nm: b = 14.9502276835 deg
    (sin b = 0.6 - sin 20 deg, by hand)."""
    bench = Instrument(1e-3 / 1200, 1.0, math.radians(20), math.radians(14.9502276835))
    assert bench.wavelength(0.0, 1) == pytest.approx(500e-9, rel=1e-10)
    assert bench.position_m(500e-9, 1) == pytest.approx(0.0, abs=1e-11)
    # 0.00124204278108 rad/nm there, in m of wavelength per m of plate at 1 m
    assert bench.dispersion(0.0, 1) == pytest.approx(1e-9 / 0.00124204278108, rel=1e-6)


def test_air_of_the_bench_is_taken_out():
    """In warmer, thinner air the same standard wavelength is longer: by (n - 1) / T, 1e-6 a K."""
    warm = replace(TRUE, air=AirState(temperature_K=303.15))
    position = float(warm.position_m(546.074e-9, 1))
    assert warm.wavelength(position, 1) == pytest.approx(546.074e-9, rel=1e-12)
    shift = float(TRUE.wavelength(position, 1)) / 546.074e-9 - 1
    # ideal gas: n - 1 falls as 1 / T; Ciddor departs from it by less than 1 %
    assert shift == pytest.approx(2.777e-4 * (1 - 288.15 / 303.15), rel=0.01)


def references(order: int = 1, error_m: float = 0.0, seed: int = 0) -> list[Reference]:
    noise = np.random.default_rng(seed).normal(0, error_m, LINES_M.size) if error_m else 0.0
    x = TRUE.position_m(LINES_M, order) + noise
    sigma = max(error_m, 1e-7)
    return [Reference(float(a), float(w), order, sigma) for a, w in zip(x, LINES_M, strict=True)]


@pytest.mark.parametrize(
    ("unknown", "start"),
    [
        (("pitch",), {"pitch_m": 1e-3 / 590}),
        (("focal", "origin"), {"focal_m": 0.45, "origin_m": 3e-3}),
        (("pitch", "origin"), {"pitch_m": 1e-3 / 610, "origin_m": -4e-3}),
        (("incidence",), {"alpha_rad": math.radians(10)}),
    ],
)
def test_unknowns_are_found_again(unknown, start):
    found = solve(tuple(references()), replace(TRUE, **start), unknown)
    for field in start:
        assert getattr(found.instrument, field) == pytest.approx(
            getattr(TRUE, field), rel=1e-9, abs=1e-12
        )
    assert all(found.used)


@pytest.mark.slow
def test_three_unknowns_from_two_orders():
    both = tuple(references(1) + references(-1))
    start = replace(TRUE, pitch_m=1e-3 / 595, alpha_rad=math.radians(11.5), origin_m=1e-3)
    found = solve(both, start, ("pitch", "incidence", "origin")).instrument
    assert found.pitch_m == pytest.approx(TRUE.pitch_m, rel=1e-8)
    assert found.alpha_rad == pytest.approx(TRUE.alpha_rad, rel=1e-7)


@pytest.mark.parametrize("wrong", [(0,), (2, 5), (1, 3, 6)])
def test_wrong_identifications_are_shut_out(wrong):
    """Up to three of seven lines given the wavelength of another line."""
    given = references()
    for k in wrong:
        given[k] = replace(given[k], wavelength_m=float(LINES_M[k]) + (17 - 9 * k) * 1e-9)
    found = solve(tuple(given), replace(TRUE, pitch_m=1e-3 / 605), ("pitch", "origin"))
    assert found.instrument.pitch_m == pytest.approx(TRUE.pitch_m, rel=1e-8)
    assert [not u for u in found.used] == [k in wrong for k in range(len(given))]
    assert len(found.rejected) == len(wrong)


@pytest.mark.slow
def test_uncertainty_is_honest():
    """Over 60 plates with 2 um of error the pitch scatters by what is stated, within 30 %
    (60 draws know a standard deviation to 9 %; the consensus drops none at 6 sigma)."""
    start = replace(TRUE, pitch_m=1e-3 / 602)
    found = [solve(tuple(references(1, 2e-6, seed)), start, ("pitch",)) for seed in range(60)]
    scatter = np.std([f.instrument.pitch_m for f in found])
    stated = np.mean([f.uncertainty["pitch_m"] for f in found])
    assert stated == pytest.approx(scatter, rel=0.3)


def test_contradicting_references():
    rng = np.random.default_rng(5)
    x = rng.uniform(-0.1, 0.1, 6)
    given = tuple(Reference(float(a), float(w)) for a, w in zip(x, LINES_M, strict=False))
    with pytest.raises(InputError, match="agree with one another"):
        solve(given, TRUE, ("pitch", "origin"))


def test_what_cannot_be_told_apart():
    """Pitch and focal length at one angle; viewing and origin: the same shift of everything."""
    same_twice = tuple(references()[:1] * 2)
    with pytest.raises(InputError, match="determined separately"):
        solve(same_twice, TRUE, ("pitch", "focal"))


def test_too_few_references():
    with pytest.raises(InputError, match="at least 2"):
        solve(tuple(references()[:1]), TRUE, ("pitch", "origin"))


def test_unknown_unknown():
    with pytest.raises(InputError, match="one of pitch"):
        solve(tuple(references()), TRUE, ("colour",))


def test_a_pattern_is_recognised_at_a_wrong_scale():
    """Mercury's lines on a plate whose scale is off by 15 % and whose origin is unknown."""
    entries = line_list("Hg", 5e-11)
    strong = sorted(entries, key=lambda e: -e.strength)[:9]
    camera = replace(TRUE, focal_m=TRUE.focal_m * 1.15, origin_m=0.02)
    features = tuple(
        Feature(
            float(camera.position_m(e.wavelength_m, 1)),
            1e-6,
            0.0,
            e.strength,
            2e-5,
            False,
            False,
        )
        for e in strong
    )
    found = recognise(features, entries, TRUE)
    assert len(found) >= 8
    for reference in found:
        assert float(camera.position_m(reference.wavelength_m, 1)) == pytest.approx(
            reference.x_m, abs=1e-9
        )
    solved = solve(found, TRUE, ("focal", "origin")).instrument
    assert solved.focal_m == pytest.approx(camera.focal_m, rel=1e-6)
