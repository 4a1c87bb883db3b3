"""Random errors of a ruling are not ghosts, however slowly they change along it.

The program promises less than one ruling in twenty with a false ghost; each search is made for
one in a thousand, and the table below is of seeds that were never used to set its constants.

Run as a program it searches N rulings of each kind: python -m tests.test_false_ghosts 20 [FIRST]
"""

from __future__ import annotations

import math
import sys

import numpy as np
import pytest

import wavesim
from tests.rulings import PITCH_M, grating, periodic
from wavesim.study.profile import LineProfile

COUNT = 3000
BEAMS = ("", 'beam = { diameter = "4 mm", profile = "gaussian" }')  # of 5.7 mm ruled
# correlation lengths over the ruling's width, or the scene's own words
KINDS = ("independent", 0.001, 0.004, 0.01, 0.03, 0.06, 0.1, 0.2, 0.4, "accumulated")


def random_error(kind: str | float, seed: int) -> str:
    """Errors of 0.03 to 2 % of the pitch; steps of a walk of 0.02 to 0.6 %."""
    low, high = (2e-4, 6e-3) if kind == "accumulated" else (3e-4, 2e-2)
    rng = np.random.default_rng(seed)
    rms = float(np.exp(rng.uniform(math.log(low), math.log(high)))) * PITCH_M
    correlation = f'"{kind}"' if isinstance(kind, str) else repr(kind * COUNT)
    return f'kind = "random"\ncorrelation = {correlation}\nrms = "{rms!r} m"\nseed = {seed}'


def profile_of(seed: int, *defects: str) -> LineProfile:
    return wavesim.profile(grating(COUNT, *defects, bench=BEAMS[seed % 2]))


def false_ghosts(kind: str | float, seed: int) -> int:
    return len(profile_of(seed, random_error(kind, seed)).ghosts)


@pytest.mark.slow
@pytest.mark.parametrize("first", [0, 100])
def test_fewer_than_one_random_ruling_in_twenty_has_a_false_ghost(first: int) -> None:
    seeds = range(first, first + (1 if first == 0 else 5))
    print(f"seeds {seeds}")
    found = [false_ghosts(kind, seed) > 0 for kind in KINDS for seed in seeds]
    assert sum(found) <= len(found) / 20


@pytest.mark.parametrize("kind", ["independent", 0.01, "accumulated"])
def test_a_ghost_above_random_errors_is_found_all_the_same(kind: str | float) -> None:
    """1 % of the pitch every 40 rulings: 1e-3 of the line, a hundred times the grain there."""
    error = random_error(kind, 1).split("rms")[0] + f'rms = "{1e-3 * PITCH_M!r} m"\nseed = 1'
    found = profile_of(0, error, periodic(0.01, 40)).ghosts
    first = {g.predicted.harmonics[0] for g in found if g.predicted}
    assert {1, -1} <= first
    assert all(g.predicted for g in found)


@pytest.mark.slow
def test_what_slow_errors_hide_is_stated() -> None:
    """A ghost two thousandths as bright as the line among errors that change as slowly as it."""
    slow = f'kind = "random"\ncorrelation = 300\nrms = "{0.01 * PITCH_M!r} m"\nseed = 3'
    found = profile_of(0, slow, periodic(0.003, 500))
    named = {g.predicted.harmonics for g in found.ghosts if g.predicted}
    hidden = {h.predicted.harmonics for h in found.hidden}
    assert {(1,), (-1,)} <= named | hidden
    assert min(limit.strength for limit in found.limits[:3]) > 1e-4


def main(count: int, first: int) -> None:
    print(f"{COUNT} rulings each, seeds {first} to {first + count - 1}, sharp and Gaussian beams")
    print("correlation / width   rulings   with false ghosts   false ghosts")
    total = 0
    for kind in KINDS:
        found = [false_ghosts(kind, seed) for seed in range(first, first + count)]
        total += sum(n > 0 for n in found)
        print(f"{kind!s:>19}   {count:7}   {sum(n > 0 for n in found):17}   {sum(found):12}")
    print(f"in all {total} of {count * len(KINDS)}")


if __name__ == "__main__":
    main(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 1000)
