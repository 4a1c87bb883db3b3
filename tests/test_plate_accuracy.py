"""A plate keeps to the error it states: random slit scenes against quadrature of single pixels."""

from __future__ import annotations

import numpy as np
import pytest

from tests import bench
from tests.plate_quadrature import setup_of, worst_miss
from wavesim.lightpath import ExposedPlate, expose


def check(seed: int) -> None:
    setup = setup_of(seed)
    scene = bench.scene(
        source=setup.source, bench=setup.bench, plate=setup.plate, aperture=setup.slits()
    )
    plate = expose(scene)
    miss = worst_miss(setup, scene, plate, seed)
    said = stated(plate)
    assert miss <= said, f"seed {seed}: misses by {miss:.2g} of the brightest, states {said:.2g}"


# lasers, lamps, bands and white light; tilted and straight; with and without a source slit
@pytest.mark.parametrize("seed", [0, 1, 5, 8, 9, 11, 12, 18, 24, 25])
def test_rulings_keep_to_their_stated_error(seed: int) -> None:
    check(seed)


@pytest.mark.exhaustive
@pytest.mark.parametrize("hundred", [0, 100, 200])
def test_rulings_keep_to_their_stated_error_over_many_scenes(hundred: int) -> None:
    for seed in range(hundred, hundred + 100):
        check(seed)


GROOVES = (
    '{{ profile = "binary", depth = "{depth} nm", duty = 0.5 }}',
    '{{ profile = "blazed", facet_angle = "{facet} deg" }}',
    '{{ profile = "sinusoidal", depth = "{depth} nm" }}',
)


@pytest.mark.parametrize("seed", range(6))
def test_wide_pixels_of_phase_gratings_keep_to_their_stated_error(seed: int) -> None:
    """Against a quarter of the pixel, whose own error is stated, too."""
    draw = np.random.default_rng(seed)
    groove = GROOVES[seed % 3].format(depth=draw.integers(100, 600), facet=draw.integers(2, 20))
    light = ('kind = "lamp"\nelement = "Hg"', 'kind = "sun"')[seed % 2]
    pixel, columns = float(10 ** draw.uniform(1.5, 2.7)), int(draw.integers(40, 120))
    size = f'width = "{columns * pixel!r} um"\nheight = "{pixel!r} um"'

    def plate(of_pixel: float) -> tuple[np.ndarray, float]:
        found = expose(bench.scene(
            source=f'{light}\nslit = {{ width = "{draw_slit} um", height = "1 mm" }}',
            bench=f'collimator = "0.5 m"\ncamera = "0.5 m"\nviewing = "{viewing} deg"',
            aperture=f'kind = "grating"\nmounting = "transmission"\ndensity = "{density} / mm"\n'
            f'count = {count}\nheight = "5 mm"\ngroove = {groove}',
            plate=f'{size}\npixel = "{of_pixel!r} um"',
        ))  # fmt: skip
        return found.irradiance, found.report.pixel_error + found.report.bin_error

    draw_slit, viewing = int(draw.integers(5, 100)), int(draw.integers(-20, 20))
    density, count = int(draw.integers(50, 1200)), int(draw.integers(20, 800))
    (wide, said), (fine, said_fine) = plate(pixel), plate(pixel / 4)
    mean = fine.reshape(4, columns, 4).mean(axis=(0, 2))
    off = float(np.abs(mean - wide[0]).max() / wide.max())
    assert off <= said + said_fine * float(fine.max() / wide.max())


def bowed_line(pixel: str) -> ExposedPlate:
    """A green mercury line of a 600/mm grating, a third of a pixel of 80 um wide, that the plate's
    upper and lower ends see 30 um aside."""
    scene = bench.scene(
        source='kind = "lamp"\nelement = "Hg"\nslit = { width = "10 um", height = "4 mm" }\n'
        'filters = [{ kind = "bandpass", centre = "546 nm", width = "10 nm" }]',
        bench='collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.3 deg"',
        aperture='kind = "grating"\nmounting = "transmission"\ndensity = "600 / mm"\n'
        'ruled_width = "25 mm"\nheight = "25 mm"\ngroove = { profile = "slit" }',
        plate=f'width = "16 mm"\nheight = "20 mm"\npixel = "{pixel}"',
    )
    return expose(scene)


def test_a_bowed_line_narrower_than_a_pixel_is_in_the_right_pixels() -> None:
    """Light of coarse pixels against that of finer ones, added up; rows between the pixels of a
    straight line were off by 6 % of the brightest pixel."""
    coarse, fine = bowed_line("80 um"), bowed_line("20 um")
    ny, nx = coarse.irradiance.shape
    added = fine.irradiance.reshape(ny, 4, nx, 4).mean(axis=(1, 3))
    off = np.abs(added - coarse.irradiance).max() / coarse.irradiance.max()
    assert off <= stated(coarse) + stated(fine) * fine.irradiance.max() / coarse.irradiance.max()
    assert off < 3e-3  # 9e-4 with three columns to the finest fringe, 6e-2 with whole pixels


def stated(plate: ExposedPlate) -> float:
    """The sum of the errors that a plate states."""
    return plate.report.pixel_error + plate.report.bin_error
