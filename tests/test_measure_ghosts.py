"""Lines and ghosts of gratings with two periodic errors, told apart without being told.

Run as a program it judges as many gratings as asked: python -m tests.test_measure_ghosts 20
"""

from __future__ import annotations

import itertools
import json
import sys
from dataclasses import dataclass

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.special import jv

from tests import bench
from wavesim.cli.measure import command
from wavesim.light import lamps
from wavesim.lightpath import expose
from wavesim.measuring import Measurement, Task, measure, of_scene
from wavesim.scene import parse

PITCH_M = 1e-3 / 600
SLIT_M = 0.7e-6
FAINTEST = 1e-4  # of the brightest line
MERCURY = 'kind = "lamp"\nelement = "Hg"\nslit = { width = "5 um", height = "2 mm" }'
PLATE = 'width = "170 mm"\nheight = "0.05 mm"\npixel = "5 um"'


def screwed(
    *periods: tuple[float, float, float],
    source: str = MERCURY,
    plate: str = PLATE,
    viewing_deg: float = 24.0,
) -> str:
    """A grating ruled with periodic errors (amplitude [nm], period [rulings], phase [deg]).

    In a Gaussian beam of 6 mm, 3,600 rulings wide, whose lines have no tails.
    """
    grating = """
kind = "grating"
density = "600 / mm"
ruled_width = "12 mm"
height = "5 mm"
groove = { profile = "slit", width = "0.7 um" }
"""
    defects = "".join(
        f'[[aperture.defects]]\nkind = "periodic"\namplitude = "{amplitude} nm"\n'
        f'period = {period}\nphase = "{phase} deg"\n'
        for amplitude, period, phase in periods
    )
    return bench.text(
        "A screw-cut grating",
        source=source,
        bench='collimator = "500 mm"\ncamera = "250 mm"\n'
        f'viewing = "{viewing_deg} deg"\nbeam = {{ diameter = "6 mm", profile = "gaussian" }}',
        aperture=grating + defects,
        plate=plate,
    )


def with_errors(errors: dict[str, float]) -> str:
    return screwed(*((errors[f"a{k}"], errors[f"p{k}"], errors[f"f{k}"]) for k in (1, 2)))


@dataclass(frozen=True)
class Score:
    """Judgements of one grating: how many, and how many wrong of either kind."""

    compared: int
    lines_called_ghosts: int
    ghosts_called_lines: int
    missed: int
    unresolved: int


def errors_of(seed: int) -> dict[str, float]:
    """Two periods of 12 to 70 rulings, 15 % apart or more, amplitudes of 6 to 40 nm."""
    random = np.random.default_rng(seed)
    p1 = random.uniform(12, 70)
    p2 = random.uniform(12, 70)
    while abs(p2 / p1 - 1) < 0.15:
        p2 = random.uniform(12, 70)
    a1, a2 = random.uniform(6, 40, 2)
    f1, f2 = random.uniform(0, 360, 2)
    return {"a1": a1, "a2": a2, "p1": p1, "p2": p2, "f1": f1, "f2": f2}


def truth(errors: dict[str, float]) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """sin(beta), height and whether a line, of everything on the plate.

    J_p^2(2 pi mu A1/d) J_q^2(2 pi mu A2/d) sinc^2(a mu/d) at mu = m + p/P1 + q/P2, for each
    line of the lamp in the first three orders: the grating factor of phase-modulated rulings by
    the Jacobi-Anger expansion.
    """
    table = lamps.lines("Hg")
    first, second = (2 * np.pi * errors[k] * 1e-9 / PITCH_M for k in ("a1", "a2"))
    sine, height, is_line = [], [], []
    for m, p, q in itertools.product((1, 2, 3), range(-5, 6), range(-5, 6)):
        mu = m + p / errors["p1"] + q / errors["p2"]
        strength = (jv(p, mu * first) * jv(q, mu * second) * np.sinc(SLIT_M * mu / PITCH_M)) ** 2
        sine.append(mu * table.wavelength_m / PITCH_M)
        height.append(strength * table.strength)
        is_line.append(np.full(table.strength.size, p == q == 0))
    flat = np.concatenate(height)
    return np.concatenate(sine), flat / flat.max(), np.concatenate(is_line)


def judge(seed: int) -> tuple[Score, Measurement]:
    """Expose one grating, measure its plate, and count right and wrong judgements."""
    errors = errors_of(seed)
    scene = parse(with_errors(errors))
    table = measure(expose(scene), Task(least=0.3 * FAINTEST))
    sine, height, is_line = truth(errors)
    position = of_scene(scene).position(sine)
    width = float(np.median([r.width_m for r in table.rows]))
    on_plate = np.abs(position) < 84.5e-3
    called = [0, 0]
    bright = [r for r in table.rows if r.height >= FAINTEST]
    for row in bright:
        near = on_plate & (np.abs(position - row.x_m) < 0.8 * width)
        line_light = height[near & is_line].sum()
        ghost_light = height[near & ~is_line].sum()
        really_line = line_light >= ghost_light
        if really_line != (row.kind == "line"):
            called[0 if really_line else 1] += 1
    missed, unresolved = _missed(table, position[on_plate], height[on_plate], width)
    return Score(len(bright), called[0], called[1], missed, unresolved), table


def _missed(table: Measurement, position, height, width) -> tuple[int, int]:
    """Lines and ghosts that no measured row stands for: alone, or beside a taller one."""
    rows = np.array([r.x_m for r in table.rows])
    missed = unresolved = 0
    for k in np.flatnonzero(height > 1.05 * FAINTEST):
        if np.abs(rows - position[k]).min() <= 0.8 * width:
            continue
        taller = (np.abs(position - position[k]) < 3 * width) & (height > height[k])
        if taller.any():
            unresolved += 1
        else:
            missed += 1
    return missed, unresolved


@pytest.mark.parametrize("seed", [3, 14])
def test_every_line_and_ghost_is_told_apart(seed):
    score, table = judge(seed)
    assert score.compared > 30
    assert (score.lines_called_ghosts, score.ghosts_called_lines, score.missed) == (0, 0, 0)
    errors = errors_of(seed)
    found = sorted((p.rulings, p.amplitude_m * 1e9) for p in table.periods)
    given = sorted([(errors["p1"], errors["a1"]), (errors["p2"], errors["a2"])])
    # periods to a hundredth of a line's width (0.3 rulings^-1 of 3,600 rulings), amplitudes to 1 %
    np.testing.assert_allclose([f[0] for f in found], [g[0] for g in given], rtol=2e-4)
    np.testing.assert_allclose([f[1] for f in found], [g[1] for g in given], rtol=0.01)


def test_a_perfect_grating_has_no_ghosts():
    table = measure(expose(parse(screwed())), Task(least=3e-5))
    assert table.periods == ()
    assert {r.kind for r in table.rows} == {"line"}


def test_many_lines_without_ghosts_are_no_ghosts():
    """Neon has some forty lines at all distances: none of them may be called a ghost."""
    text = screwed(source=MERCURY.replace('"Hg"', '"Ne"'))
    table = measure(expose(parse(text)), Task(least=1e-3))
    assert len(table.lines) > 50
    assert not table.ghosts


def test_command_names_the_error(tmp_path):
    errors = errors_of(3)
    plate = expose(parse(with_errors(errors)))
    path = tmp_path / "two.h5"
    plate.save(path)
    result = CliRunner().invoke(command, [str(path)])
    assert result.exit_code == 0, result.output
    assert f"period {errors['p1']:.4g} rulings"[:14] in result.output
    assert "ghost of 546.07" in result.output
    assert "in two orders" in result.output
    data = json.loads(CliRunner().invoke(command, [str(path), "--json"]).output)
    assert len(data["periods"]) == 2


def main(count: int) -> None:
    """Print the judgements of `count` gratings and their sum."""
    total = np.zeros(5, dtype=int)
    names = ("judged", "lines called ghosts", "ghosts called lines", "missed", "unresolved")
    for seed in range(count):
        score, table = judge(seed)
        row = np.array(list(vars(score).values()))
        total += row
        found = ", ".join(f"{p.rulings:.3f}: {p.amplitude_m * 1e9:.2f} nm" for p in table.periods)
        print(seed, dict(zip(names, row.tolist(), strict=True)), "found", found)
    print("all", dict(zip(names, total.tolist(), strict=True)))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 20)
