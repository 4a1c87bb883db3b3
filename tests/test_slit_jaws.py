"""Jaws of the source slit that are not parallel: lines like wedges.

Closed form: at the height y_s along the slit its jaws stand w + 2 y_s tan(jaws / 2) apart. Its
image is magnified by f_camera / f_collimator along y, and by that times cos(alpha) / cos(beta)
along x, and turned upside down; the power of a row goes with the width (radiance is conserved).
"""

from __future__ import annotations

import math
import re
from dataclasses import replace

import numpy as np
import pytest

import wavesim
from tests import bench
from tests.parameters import slow_but
from tests.plate_quadrature import miss_at, pixels_of, setup_of
from tests.slit_lines import slit_line
from wavesim.errors import InputError
from wavesim.lightpath import ExposedPlate
from wavesim.scene import Scene


def grating(jaws: str, *, alpha: float = 0.0, more: str = "", tables: str = "") -> Scene:
    """The line of a slit 100 um wide, 4 mm high."""
    return slit_line(f'width = "100 um", jaws = "{jaws}"', alpha, more=more, tables=tables)


def widths(plate: ExposedPlate) -> np.ndarray:
    """Full width at half maximum of the line in each row [m], straight between pixels."""
    found = []
    for row in plate.irradiance / plate.irradiance.max(axis=1, keepdims=True):
        a, b = np.flatnonzero(row > 0.5)[[0, -1]]
        left = (row[a] - 0.5) / (row[a] - row[a - 1])
        right = (row[b] - 0.5) / (row[b] - row[b + 1])
        found.append(b - a + left + right)
    return np.array(found) * 1e-5


@pytest.mark.parametrize(
    ("jaws", "alpha"), slow_but([(-2.0, 0.0)], [(1.0, 0.0), (-2.0, 0.0), (1.0, 35.0)])
)
def test_width_and_light_of_each_row(jaws: float, alpha: float) -> None:
    plate = wavesim.expose(grating(f"{jaws} deg", alpha=alpha))
    rows = np.abs(plate.y_m) < 1.9e-3
    y = plate.y_m[rows]
    opened = 100e-6 + 2 * y * math.tan(math.radians(jaws / 2))
    cos_out = math.cos(plate.scene.bench.camera_axis_rad)
    expected = opened * math.cos(math.radians(alpha)) / cos_out
    wide = opened > 60e-6  # narrower images are no longer flat on top
    assert widths(plate)[rows][wide] == pytest.approx(expected[wide], abs=3e-6)  # third of a pixel
    power = plate.irradiance[rows].sum(axis=1)
    assert power / power.mean() == pytest.approx(opened / opened.mean(), rel=1e-2)


def test_all_light_together_is_that_of_parallel_jaws() -> None:
    parallel, wedge = (wavesim.expose(grating(f"{jaws} deg")) for jaws in (0, 2))
    assert wedge.irradiance.sum() == pytest.approx(parallel.irradiance.sum(), rel=1e-3)


def test_next_to_no_angle_changes_next_to_nothing() -> None:
    parallel, wedge = (wavesim.expose(grating(f"{jaws} deg")) for jaws in (0, 1e-6))
    error = parallel.report.pixel_error + parallel.report.bin_error + wedge.report.bin_error
    off = np.abs(wedge.irradiance - parallel.irradiance).max() / parallel.irradiance.max()
    assert off <= error


# each seed a scene of up to 8 slits, 8 mm high; a source slit of 2 mm that closes to between 0.9
# and 0.2 of its mean width
@pytest.mark.slow
@pytest.mark.parametrize("seed", [5, 8, 11, 17])
def test_pixels_against_quadrature(seed: int) -> None:
    """Direct integration over pixel, wavelength and every point of the slit."""
    setup, draw = replace(setup_of(seed), height_m=8e-3), np.random.default_rng(2000 + seed)
    wide = float(re.findall(r'width = "([0-9.]+) um", height', setup.source)[0])
    jaws = draw.choice([-1, 1]) * 2 * math.degrees(math.atan(draw.uniform(0.1, 0.8) * wide / 2000))
    slit = f'height = "2 mm", jaws = "{jaws:.4f} deg" }}'
    source = re.sub(r'height = "[0-9.]+ um" \}$', slit, setup.source)
    scene = bench.scene(source=source, bench=setup.bench, plate=setup.plate, aperture=setup.slits())
    plate = wavesim.expose(scene)
    miss = miss_at(setup, scene, plate, pixels_of(plate.irradiance, seed))
    assert miss <= plate.report.pixel_error + plate.report.bin_error, f"jaws {jaws:.3f} deg"


@pytest.mark.parametrize(
    ("more", "tables"),
    [
        ('defocus = "2 mm"', ""),
        ("", '[[aperture.defects]]\nkind = "fan"\nangle = "10 arcsec"'),
    ],
)
def test_where_they_are_not_computed_they_are_refused(more: str, tables: str) -> None:
    with pytest.raises(InputError, match=r"source\.slit\.jaws: .*far field only.*1 deg"):
        wavesim.expose(grating("1 deg", more=more, tables=tables))


def test_jaws_that_meet_are_refused() -> None:
    with pytest.raises(InputError, match=r"jaws: closes the slit of 100 um.*less than 2\.86"):
        grating("3 deg")
