"""A plate keeps to the error it states: random slit scenes against quadrature of single pixels."""

from __future__ import annotations

import pytest

from tests import bench
from tests.plate_quadrature import setup_of, worst_miss
from wavesim.lightpath import expose


def check(seed: int) -> None:
    setup = setup_of(seed)
    scene = bench.scene(
        source=setup.source, bench=setup.bench, plate=setup.plate, aperture=setup.slits()
    )
    plate = expose(scene)
    miss = worst_miss(setup, scene, plate, seed)
    stated = plate.report.pixel_error + plate.report.bin_error
    assert miss <= stated, (
        f"seed {seed}: misses by {miss:.2g} of the brightest, states {stated:.2g}"
    )


# lasers, lamps, bands and white light; tilted and straight; with and without a source slit
@pytest.mark.parametrize("seed", [0, 1, 5, 8, 9, 11, 12, 18, 24, 25])
def test_rulings_keep_to_their_stated_error(seed: int) -> None:
    check(seed)


@pytest.mark.slow
@pytest.mark.parametrize("hundred", [0, 100, 200])
def test_rulings_keep_to_their_stated_error_over_many_scenes(hundred: int) -> None:
    for seed in range(hundred, hundred + 100):
        check(seed)
