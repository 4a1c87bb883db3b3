"""A source slit turned against the rulings: lines lean.

Closed form: a slit point at the height y_s stands y_s tan(turn) aside, so sin(alpha) changes by
cos(alpha) tan(turn) for each sine of height, and with d (sin alpha + sin beta) = m lambda a line
leans by dx / dy = tan(turn) cos(alpha) / cos(beta), the anamorphic magnification of the slit.
"""

from __future__ import annotations

import math
import re

import numpy as np
import pytest

from tests import bench
from tests.plate_quadrature import miss_at, pixels_of, setup_of
from tests.slit_lines import slit_line
from wavesim.errors import LimitError
from wavesim.lightpath import ExposedPlate, LightPath, expose
from wavesim.scene import Scene


def grating(turn: float, *, alpha: float = 0.0, more: str = "", tables: str = "") -> Scene:
    """The line of a slit 60 um wide, 4 mm high, imaged 1 : 1."""
    return slit_line(f'width = "60 um", turn = "{turn} deg"', alpha, more=more, tables=tables)


def centroids_m(plate: ExposedPlate) -> np.ndarray:
    """x of the line in each row [m]: the centroid of what stands above a fifth of its peak."""
    light = plate.irradiance
    peak = np.maximum(light - 0.2 * light.max(axis=1, keepdims=True), 0.0)
    return np.asarray(peak @ plate.x_m / peak.sum(axis=1))


@pytest.mark.parametrize(("turn", "alpha"), [(2.0, 0.0), (-3.0, 0.0), (2.0, 35.0), (1.0, -25.0)])
def test_lines_lean_by_the_anamorphic_magnification(turn: float, alpha: float) -> None:
    upright, turned = (expose(grating(t, alpha=alpha)) for t in (0.0, turn))
    rows = np.abs(upright.y_m) < 1.8e-3
    shift = (centroids_m(turned) - centroids_m(upright))[rows]  # without the bow, which both have
    slope = float(np.polyfit(upright.y_m[rows], shift, 1)[0])
    cos_in, cos_out = math.cos(math.radians(alpha)), math.cos(upright.scene.bench.camera_axis_rad)
    assert slope == pytest.approx(math.tan(math.radians(turn)) * cos_in / cos_out, rel=2e-3)


def test_rows_added_up_are_as_broad_as_the_slit_leans() -> None:
    """All rows together: the upright slit's, averaged over a width H tan(turn) / cos(beta)."""
    upright, turned = expose(grating(0.0)), expose(grating(4.0))
    lean = 4e-3 * math.tan(math.radians(4)) / math.cos(upright.scene.bench.camera_axis_rad)
    edges = np.append(upright.x_m - 5e-6, upright.x_m[-1] + 5e-6)
    up_to = np.append(0.0, np.cumsum(upright.irradiance.sum(axis=0)))
    centroids_m = upright.x_m[:, None] + lean * np.linspace(-0.5, 0.5, 2001)
    below, above = (np.interp(centroids_m + side, edges, up_to) for side in (-5e-6, 5e-6))
    expected = (above - below).mean(axis=1)
    assert turned.irradiance.sum(axis=0) == pytest.approx(expected, abs=0.02 * expected.max())
    assert turned.irradiance.sum() == pytest.approx(upright.irradiance.sum(), rel=2e-3)


def test_a_slit_turned_the_other_way_leans_the_other_way() -> None:
    left, right = expose(grating(2.0)), expose(grating(-2.0))
    assert left.irradiance == pytest.approx(
        right.irradiance[::-1], abs=1e-9 * left.irradiance.max()
    )


# each seed a slit scene of up to 8 slits; its turn from 0.3 to 20 degrees, either way
@pytest.mark.parametrize("seed", [5, 8, 9, 11, 17, 18, 24, 25, 26, 29, 37])
def test_pixels_against_quadrature(seed: int) -> None:
    """Direct integration over pixel, wavelength and every point of the turned slit."""
    setup, draw = setup_of(seed), np.random.default_rng(1000 + seed)
    turn = draw.choice([-1, 1]) * 10 ** draw.uniform(-0.5, 1.3)
    source = re.sub(r" \}$", f', turn = "{turn:.3f} deg" }}', setup.source)
    scene = bench.scene(source=source, bench=setup.bench, plate=setup.plate, aperture=setup.slits())
    plate = expose(scene)
    miss = miss_at(setup, scene, plate, pixels_of(plate.irradiance, seed))
    assert miss <= plate.report.pixel_error + plate.report.bin_error, f"turn {turn:.3f} deg"


def test_a_turn_changed_on_a_path_that_is_followed_again() -> None:
    path = LightPath()
    path.expose(grating(0.0))
    again, fresh = path.expose(grating(2.0)), expose(grating(2.0))
    assert np.array_equal(again.irradiance, fresh.irradiance)


@pytest.mark.parametrize(
    ("more", "tables"),
    [
        ('defocus = "2 mm"', ""),
        ('aberrations = { coma = "1 waves" }', ""),
        ("", '[[aperture.defects]]\nkind = "fan"\nangle = "10 arcsec"'),
    ],
)
def test_where_it_is_not_computed_it_is_refused(more: str, tables: str) -> None:
    with pytest.raises(LimitError, match=r"source\.slit\.turn: .*far field only.*2 deg"):
        expose(grating(2.0, more=more, tables=tables))
