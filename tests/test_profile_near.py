"""Ghosts near their line, at every period from 3 rulings to half of the ruling, and beside a step.

Truth is the closed form J_1(2 pi (m + k/P) A/d)^2 / J_0(2 pi m A/d)^2, or the engine's own |A|^2.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.special import jv

from tests.narrowing import known
from tests.parameters import slow_but
from tests.rulings import PITCH_M, WAVELENGTH_M, grating, periodic
from wavesim import aperture
from wavesim.study.predict import predict
from wavesim.study.profile import LineProfile, line_profile
from wavesim.study.profile.scan import Illumination

COUNT = 9000
AMPLITUDE = 0.009  # of the pitch: 30 nm at 300/mm, ghosts of 8e-4
GAUSSIAN = 'beam = {{ diameter = "{} mm", profile = "gaussian" }}'
SHARP, SOFT, NARROW = "", GAUSSIAN.format(12), GAUSSIAN.format(5)  # of 17.2 mm ruled


def profile_of(*defects: str, bench: str = SHARP) -> LineProfile:
    return line_profile(grating(COUNT, *defects, bench=bench), wavelength_m=WAVELENGTH_M, order=1)


def closed(period: float, k: int) -> float:
    """On the envelope of slits a fifth of the pitch wide."""
    envelope = (np.sinc((1 + k / period) / 5) / np.sinc(1 / 5)) ** 2
    here = jv(k, 2 * math.pi * (1 + k / period) * AMPLITUDE)
    return float((here / jv(0, 2 * math.pi * AMPLITUDE)) ** 2 * envelope)


@pytest.mark.parametrize("bench", [SHARP, SOFT, NARROW], ids=["sharp", "gaussian", "narrow"])
@pytest.mark.parametrize("period", [3.1, 7.3, 50, 300, 600, 900, 1500, 2000, 3000, 3600, 4500])
def test_the_first_ghosts_are_found_or_said_to_be_hidden(period: float, bench: str) -> None:
    found = profile_of(periodic(AMPLITUDE, period), bench=bench)
    for k in (1, -1):
        named = [g for g in found.ghosts if g.predicted and g.predicted.harmonics == (k,)]
        if named:
            ghost = named[0].found
            # at 2/N the line is a thousand times the ghost and half a width away
            assert ghost.strength == pytest.approx(closed(period, k), rel=0.01)
            assert abs(ghost.strength - closed(period, k)) < 3 * ghost.strength_error
            assert ghost.mu == pytest.approx(1 + k / period, abs=0.01 / COUNT)
        else:
            hidden = [h for h in found.hidden if h.predicted.harmonics == (k,)]
            assert hidden
            assert hidden[0].predicted.observed < 4 * hidden[0].limit
            assert any("hidden by the line's wings" in note for note in found.notes)
    widths = COUNT / period * 0.886 / (found.fwhm_orders * COUNT)
    assert widths < 4.0 or any(g.predicted and g.predicted.harmonics == (1,) for g in found.ghosts)


@pytest.mark.parametrize("bench", [SHARP, SOFT], ids=["sharp", "gaussian"])
def test_several_near_errors_at_once(bench: str) -> None:
    periods, amplitudes = (96.0, 700.0, 2300.0), (0.004, 0.003, 0.008)
    defects = [periodic(a, p) for a, p in zip(amplitudes, periods, strict=True)]
    found = profile_of(*defects, bench=bench)
    for n in range(3):
        for k in (1, -1):
            harmonics = tuple(k * (n == i) for i in range(3))
            named = [g for g in found.ghosts if g.predicted and g.predicted.harmonics == harmonics]
            assert named[0].found.strength == pytest.approx(
                known(named[0].predicted).observed, rel=0.02
            )
            assert named[0].found.mu == pytest.approx(1 + k / periods[n], abs=0.15 / COUNT)


WIDENED = {
    "walk": 'kind = "random"\ncorrelation = "accumulated"\nrms = "{a!r} m"\nseed = {seed}',
    "drift": 'kind = "drift"\nlinear = {b!r}',
    "step": 'kind = "step"\nsize = "{c!r} m"\nfraction = {d!r}',
}


@pytest.mark.parametrize("kind", slow_but(["drift"], WIDENED))
def test_no_ghost_is_found_beside_a_line_that_is_only_broadened_or_split(kind: str) -> None:
    print("seeds 0 to 5")
    for seed in range(6):
        rng = np.random.default_rng(seed)
        defect = WIDENED[kind].format(
            a=float(rng.uniform(2e-4, 4e-3)) * PITCH_M, b=float(rng.uniform(-8, 8)) / COUNT,
            c=float(rng.uniform(0.05, 0.5)) * PITCH_M, d=float(rng.uniform(0.2, 0.8)), seed=seed,
        )  # fmt: skip
        assert profile_of(defect, bench=(SHARP, SOFT)[seed % 2]).ghosts == ()


@pytest.mark.parametrize("seed", slow_but([2], range(6)))
def test_ghosts_beside_a_step(seed: int) -> None:
    """Predicted and found as the engine's own |A|^2 has them, peak over peak, within 1 %."""
    rng = np.random.default_rng(seed)
    period = float(rng.choice([3.3, 11, 40, 96, COUNT / 30]))
    step = f'kind = "step"\nsize = "{float(rng.uniform(0.2, 0.5)) * PITCH_M!r} m"'
    scene = grating(
        COUNT, periodic(AMPLITUDE, period, phase_deg=float(rng.uniform(0, 360))),
        step + f"\nfraction = {float(rng.uniform(0.3, 0.7))!r}", bench=(SHARP, SOFT)[seed % 2],
    )  # fmt: skip
    light = Illumination(aperture.build(scene), 0.0, WAVELENGTH_M)

    def peak(mu: float) -> float:
        return float(light.intensity(mu + np.linspace(-1.5, 1.5, 241) / COUNT).max())

    line = peak(1.0)
    predicted = predict(scene, orders=(1,), wavelengths_m=(WAVELENGTH_M,)).ghosts
    found = line_profile(scene, wavelength_m=WAVELENGTH_M, order=1).ghosts
    for k in (1, -1):
        mu = 1 + k / period
        true = peak(mu) / line
        ghost = next(g for g in predicted if g.harmonics == (k,))
        assert ghost.observed == pytest.approx(true, rel=0.01)
        nearest = min(found, key=lambda g: abs(g.found.mu - mu)).found
        assert nearest.mu == pytest.approx(mu, abs=1.5 / COUNT)
        assert nearest.strength == pytest.approx(true, rel=0.01)
