"""The laws of `tests/laws.py` over random scenes; a seed is the name of its scene.

`python -m tests.properties 300` runs them over as many scenes as are wanted.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

import wavesim
from tests.laws import LAWS, Violation
from tests.parameters import slow_beyond
from tests.random_scenes import KINDS, slit_scene

FEW = range(KINDS)
MANY = range(100, 108)  # each kind once more; `python -m tests.properties` goes on

laws = pytest.mark.parametrize("law", LAWS, ids=lambda law: law.__name__)


@pytest.mark.parametrize("seed", slow_beyond(2, FEW))
@laws
def test_a_law_holds(law: Callable[[int], Violation], seed: int) -> None:
    found = law(seed)
    assert found.ratio <= 1.0, f"seed {seed}: {law.__doc__} {found}"


@pytest.mark.slow
@laws
def test_a_law_holds_over_many_scenes(law: Callable[[int], Violation]) -> None:
    found = {seed: law(seed) for seed in MANY}
    broken = {seed: off for seed, off in found.items() if off.ratio > 1.0}
    assert not broken, f"violations by seed: {broken}"


def test_aberrations_of_no_size_change_no_bit() -> None:
    """A lens without errors and one whose errors are zero take the same path."""
    plain = slit_scene(3)
    zero = plain.but({"bench.aberrations": {"spherical": "0 waves", "coma": "0 nm"}})
    plates = [wavesim.expose(scene) for scene in (plain, zero)]
    assert np.array_equal(plates[0].xyz, plates[1].xyz)
    assert plates[0].report.bin_error == plates[1].report.bin_error
