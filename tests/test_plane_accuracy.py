"""Two ways to the same plate, and the error that a plate in two dimensions states.

Random slit scenes (`plate_quadrature`) written as a mesh, or with a fan of next to nothing, against
quadrature of single pixels; and laws that hold whatever the scene: a defect of size zero, finer
pixels summed, a plate cut in two, a mirrored bench.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests import bench
from tests.plate_quadrature import Setup, setup_of, worst_miss
from wavesim.lightpath import ExposedPlate, expose
from wavesim.plate.plane.sweep import reach_of, sweep_plane


def plate_of(setup: Setup, aperture: str, plate: str = "") -> ExposedPlate:
    """The set-up's plate with that aperture."""
    scene = bench.scene(
        source=setup.source, bench=setup.bench, plate=plate or setup.plate, aperture=aperture
    )
    return expose(scene)


def stated(*plates: ExposedPlate) -> float:
    """The sum of the errors that plates state."""
    return sum(p.report.pixel_error + p.report.bin_error for p in plates)


def check(seed: int, form: str) -> None:
    setup = setup_of(seed)
    plate = plate_of(setup, setup.mesh() if form == "mesh" else setup.fan("1e-9 deg"))
    miss = worst_miss(setup, plate.scene, plate, seed)
    said = stated(plate)
    assert miss <= said, f"seed {seed}, {form}: misses by {miss:.2g}, states {said:.2g}"


@pytest.mark.parametrize("form", ["mesh", "fan"])
@pytest.mark.parametrize("seed", [0, 1, 5, 8, 9, 11, 12, 18, 25])
def test_plates_keep_to_their_stated_error(seed: int, form: str) -> None:
    check(seed, form)


@pytest.mark.exhaustive
@pytest.mark.parametrize("fifty", range(0, 300, 50))
def test_plates_keep_to_their_stated_error_over_many_scenes(fifty: int) -> None:
    for seed in range(fifty, fifty + 50):
        check(seed, "mesh" if seed % 2 else "fan")


@pytest.mark.parametrize("seed", [1, 5, 12, 18])
def test_slits_as_a_mesh_are_the_slits(seed: int) -> None:
    setup = setup_of(seed)
    slits, mesh = plate_of(setup, setup.slits()), plate_of(setup, setup.mesh())
    off = np.abs(slits.irradiance - mesh.irradiance).max() / slits.irradiance.max()
    assert off <= stated(slits, mesh)
    bright = slits.xyz.max()
    same_time = mesh.xyz * (slits.exposure_s / mesh.exposure_s)
    assert np.abs(slits.xyz - same_time).max() / bright <= stated(slits, mesh)


def test_a_defect_of_size_zero_changes_no_bit() -> None:
    setup = setup_of(1)
    plain = plate_of(setup, setup.slits())
    for defect in (setup.fan("0 deg"), setup.fan("0 deg").replace("fan", "bow").replace(
        'angle = "0 deg"', 'sag = "0 nm"'
    )):  # fmt: skip
        assert np.array_equal(plate_of(setup, defect).irradiance, plain.irradiance)


@pytest.mark.parametrize("seed", [0, 5, 12, 18])
def test_finer_pixels_add_up(seed: int) -> None:
    setup = setup_of(seed)
    whole = plate_of(setup, setup.mesh())
    pixel = whole.scene.plate.pixel_m
    lines = setup.plate.splitlines()[:2]
    fine = plate_of(setup, setup.mesh(), "\n".join([*lines, f'pixel = "{pixel * 5e5!r} um"']))
    ny, nx = whole.irradiance.shape
    mean = fine.irradiance.reshape(ny, 2, nx, 2).mean(axis=(1, 3))
    off = np.abs(mean - whole.irradiance).max() / whole.irradiance.max()
    # a fine pixel's error is stated of the brightest fine pixel
    ratio = fine.irradiance.max() / whole.irradiance.max()
    assert off <= stated(whole) + ratio * stated(fine)


@pytest.mark.parametrize("seed", [1, 9, 18])
def test_a_plate_cut_in_two_is_the_plate(seed: int) -> None:
    setup = setup_of(seed)
    whole = plate_of(setup, setup.mesh())
    pixel, (ny, nx) = whole.scene.plate.pixel_m, whole.irradiance.shape
    left = nx // 3

    def half(first: int, last: int) -> ExposedPlate:
        centre = ((first + last) / 2 - nx / 2) * pixel
        size = f'width = "{(last - first) * pixel * 1e6!r} um"\nheight = "{ny * pixel * 1e6!r} um"'
        return plate_of(
            setup, setup.mesh(),
            f'{size}\npixel = "{pixel * 1e6!r} um"\ncentre = "{centre * 1e6!r} um"',
        )  # fmt: skip

    parts = [half(0, left), half(left, nx)]
    joined = np.concatenate([p.irradiance for p in parts], axis=1)
    assert joined.shape == whole.irradiance.shape
    off = np.abs(joined - whole.irradiance).max() / whole.irradiance.max()
    assert off <= stated(whole, *parts)


@pytest.mark.slow
def test_no_window_is_read_beyond_its_table(monkeypatch: pytest.MonkeyPatch) -> None:
    """Windows with wider cells than the plate's reach further; other memory lies there."""
    read: list[bool] = []

    def watched(table, frame, sine_in, wavelength_m, weight):  # type: ignore[no-untyped-def]
        read.append(table.covers(reach_of(frame, wavelength_m, sine_in)))
        return sweep_plane(table, frame, sine_in, wavelength_m, weight)

    monkeypatch.setattr("wavesim.plate.plane.gathering.sweep_plane", watched)
    expose(bench.scene(
        source='kind = "sun"\nslit = { width = "20 um", height = "4 mm" }',
        aperture='kind = "grating"\ncount = 150\ndensity = "150 / mm"\nheight = "20 mm"\n'
        'defects = [{ kind = "fan", angle = "2 arcsec" }]',
        plate='width = "60 mm"\nheight = "6.25 mm"\npixel = "1.25 mm"\ncentre = "5 mm"',
    ))  # fmt: skip
    assert len(read) > 1
    assert all(read)


@pytest.mark.slow
def test_the_rim_of_a_disc_is_as_sharp_on_a_large_plate() -> None:
    """A round source through a hole of 10 mm: fringes are 0.11 pixels wide, and cells that are
    wider moved the rim by up to a tenth of the brightest pixel; a small plate resolves them."""

    def plate(side: str) -> ExposedPlate:
        scene = bench.scene(
            source='kind = "sun"\ndisc = "32 arcmin"\n'
            'filters = [{ kind = "bandpass", centre = "550 nm", width = "10 nm" }]',
            bench='camera = "200 mm"',
            aperture='kind = "disc"\ndiameter = "10 mm"',
            plate=f'width = "{side}"\nheight = "{side}"\npixel = "100 um"',
        )
        return expose(scene)

    large, small = plate("16 mm"), plate("3 mm")
    inner = large.irradiance[65:95, 65:95]
    off = np.abs(inner - small.irradiance).max() / small.irradiance.max()
    assert off <= stated(large, small)
    assert off < 2e-4  # 4e-5 with the direct image resolved, 6e-3 without
