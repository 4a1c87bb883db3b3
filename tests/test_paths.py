"""Every scene takes one of four named paths, through stages of the same names."""

from __future__ import annotations

from itertools import pairwise

import pytest

import wavesim
from tests import bench
from wavesim.lightpath.paths import path_of
from wavesim.plate import geometry_of
from wavesim.scene import Scene

LENSES = 'collimator = "600 mm"\ncamera = "1 m"'
GRATING = 'kind = "grating"\ncount = 40\npitch = "50 um"\nheight = "2 mm"\n'
DISC = 'kind = "disc"\ndiameter = "0.3 mm"'
SLIT = 'kind = "band"\ncentre = "550 nm"\nwidth = "5 nm"\n'
SLIT += 'slit = { width = "20 um", height = "8 mm" }'
POINT = 'kind = "laser"\nwavelength = "550 nm"'
PATHS = {  # name of the path, source, bench, aperture
    "rulings": ("rulings_far", SLIT, LENSES, GRATING),
    "rulings cut by a round beam before a tall slit": (
        "rulings_far", SLIT, f'{LENSES}\nbeam = "1 mm"', GRATING
    ),
    "rulings cut by a round beam before a point": (
        "rulings_resolved", POINT, f'{LENSES}\nbeam = "1 mm"', GRATING
    ),
    "rulings within a round beam": (
        "rulings_far", POINT, f'{LENSES}\nbeam = "4 mm"', GRATING
    ),
    "rulings in a Gaussian beam": (
        "rulings_far", POINT, f'{LENSES}\nbeam = {{ diameter = "1 mm", profile = "gaussian" }}',
        GRATING,
    ),
    "fan": (
        "rulings_resolved", POINT, LENSES,
        f'{GRATING}[[aperture.defects]]\nkind = "fan"\nangle = "1 arcmin"',
    ),
    "out of focus": ("rulings_near", POINT, f'{LENSES}\ndefocus = "5 mm"', GRATING),
    "without lenses": (
        "rulings_near", POINT, 'collimator = "600 mm"\nplate_distance = "1 m"', GRATING
    ),
    "a hole": ("plane", POINT, LENSES, DISC),
    "a hole nearby": ("plane", POINT, 'collimator = "600 mm"\nplate_distance = "2 m"', DISC),
}  # fmt: skip
EVERYWHERE = ("light", "geometry", "aperture", "wavelengths", "pixels", "exposure")


def scene_of(name: str) -> tuple[str, Scene]:
    path, source, lenses, aperture = PATHS[name]
    plate = 'width = "2 mm"\nheight = "0.5 mm"\npixel = "50 um"'
    return path, bench.scene(source=source, bench=lenses, aperture=aperture, plate=plate)


@pytest.mark.parametrize("name", PATHS)
def test_a_scene_takes_its_path(name: str) -> None:
    path, scene = scene_of(name)
    assert path_of(scene).__name__ == path


@pytest.mark.parametrize("name", PATHS)
def test_the_stages_that_all_share_come_in_the_same_order(name: str) -> None:
    _, scene = scene_of(name)
    stages: list[str] = []
    plate = wavesim.expose(scene, progress=stages.append)
    ranks = [stages.index(stage) for stage in EVERYWHERE]
    assert all(a < b for a, b in pairwise(ranks)), stages
    assert set(plate.report.seconds) == set(stages)
    assert any("Fresnel number" in note for note in plate.report.notes)


def test_a_defocus_puts_the_plate_farther_away() -> None:
    """Orders lie at (f + defocus) tan(beta): by similar triangles."""
    _, scene = scene_of("out of focus")
    assert geometry_of(scene).focal_m == pytest.approx(1.005, rel=1e-12)
