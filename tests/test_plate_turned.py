"""A plate that is tilted or tipped.

Closed forms: a ray at delta from the camera's axis meets a plate at the distance D, tilted by t, at
x = D sin(delta) / cos(delta + t) along it (the law of sines), where it stands D + x sin(t) behind
the lens; a beam of width B is blurred there to B x sin(t) / f, and a slanting plate stretches that
by 1 / cos(delta + t) cos(delta).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import wavesim
from tests import bench
from wavesim.errors import InputError, LimitError
from wavesim.lightpath import ExposedPlate
from wavesim.scene import Scene

GREEN, F, RULED = 546.0735e-9, 0.5, 30e-3


def spectrograph(
    keys: str, *, aside: float = 0.0, plate: str = 'width = "1 mm"\nheight = "0.2 mm"',
    pixel: str = "5 um", height: str = "1 mm",
) -> Scene:  # fmt: skip
    """The green line of 600/mm at an angle [rad] from the camera's axis."""
    beta = math.asin(GREEN * 600e3)
    return bench.scene(
        source='kind = "laser"\nwavelength = "546.0735 nm"\n'
        f'slit = {{ width = "20 um", height = "{height}" }}',
        bench=f'collimator = "500 mm"\ncamera = "500 mm"\nviewing = "{beta - aside!r} rad"\n{keys}',
        aperture='kind = "grating"\ndensity = "600 / mm"\nruled_width = "30 mm"\n'
        'height = "10 mm"\ngroove = { profile = "slit" }',
        plate=f'{plate}\npixel = "{pixel}"',
    )


def edges(x: np.ndarray, row: np.ndarray) -> tuple[float, float]:
    """Where the line's light rises above a quarter of its plateau (Born & Wolf 8.7.3) [m]."""
    inside = np.flatnonzero(row > 0.25 * row[row > 0.5 * row.max()].mean())
    half = (x[1] - x[0]) / 2
    return float(x[inside[0]] - half), float(x[inside[-1]] + half)


@pytest.mark.parametrize(("tilt", "aside"), [(8.0, 0.04), (8.0, -0.04), (-15.0, 0.03)])
def test_place_and_blur_on_a_tilted_plate(tilt: float, aside: float) -> None:
    t = math.radians(tilt)
    x = F * math.sin(aside) / math.cos(aside + t)
    plate = wavesim.expose(
        spectrograph(
            f'plate_tilt = "{tilt} deg"', aside=aside,
            plate=f'width = "2 mm"\nheight = "0.1 mm"\ncentre = "{x!r} m"',
        )
    )  # fmt: skip
    beta = math.asin(GREEN * 600e3)
    blur = RULED * math.cos(beta) * abs(x * math.sin(t)) / F
    blur *= math.cos(aside) / math.cos(aside + t)
    low, high = edges(plate.x_m, plate.profile_irradiance)
    assert (low + high) / 2 == pytest.approx(x, abs=0.02 * blur)
    assert high - low == pytest.approx(blur, rel=0.06)
    marked = wavesim.predict(plate.scene).orders  # the same place, from the grating's geometry
    assert any(abs(line.x_m - x) < 1e-9 for line in marked if line.order == 1)


@pytest.mark.slow
def test_a_tipped_plate_is_sharp_in_the_middle_alone() -> None:
    tip = math.radians(30)
    scene = spectrograph(
        'plate_tip = "30 deg"', plate='width = "1 mm"\nheight = "8.2 mm"', height="8 mm"
    )
    plate = wavesim.expose(scene)
    beam = RULED * math.cos(scene.bench.camera_axis_rad)
    for y in (-3.7e-3, 3.7e-3):
        low, high = edges(plate.x_m, plate.irradiance[int(np.argmin(np.abs(plate.y_m - y)))])
        blur = beam * abs(y) * math.sin(tip) / F
        assert high - low == pytest.approx(blur, rel=0.08, abs=6e-6)
    middle = plate.irradiance[plate.y_m.size // 2]
    upright = wavesim.expose(scene.but(bench__plate_tip="0 deg"))
    same = math.cos(tip) * upright.irradiance[upright.y_m.size // 2]  # light meets it aslant
    assert middle == pytest.approx(same, abs=5e-3 * same.max())


@pytest.mark.slow
def test_all_the_light_is_there() -> None:
    tall = 'width = "4 mm"\nheight = "3 mm"'
    upright, tilted = (
        wavesim.expose(spectrograph(keys, plate=tall, pixel="20 um"))
        for keys in ("", 'plate_tilt = "12 deg"\nplate_tip = "5 deg"')
    )
    assert tilted.irradiance.sum() == pytest.approx(upright.irradiance.sum(), rel=2e-3)


@pytest.mark.parametrize("key", ["plate_tilt", "plate_tip", "defocus"])
def test_next_to_nothing_changes_next_to_nothing(key: str) -> None:
    """Far and near field on one plate, whose lines are bowed by more than a pixel."""
    small = "1e-6 deg" if key.startswith("plate") else "1 nm"
    tall = 'width = "0.6 mm"\nheight = "9 mm"'
    without, turned = (
        wavesim.expose(spectrograph(keys, plate=tall, pixel="10 um", height="8 mm"))
        for keys in ("", f'{key} = "{small}"')
    )
    off = np.abs(turned.irradiance - without.irradiance).max() / without.irradiance.max()
    assert off <= without.report.bin_error + turned.report.bin_error


def test_mirrored() -> None:
    def light(sign: int) -> ExposedPlate:
        scene = bench.scene(
            source='kind = "laser"\nwavelength = "546.0735 nm"',
            bench=f'camera = "500 mm"\nplate_tilt = "{sign * 10} deg"\nplate_tip = "3 deg"',
            aperture='kind = "slits"\ncount = 30\nwidth = "40 um"\npitch = "90 um"\n'
            'height = "5 mm"',
            plate='width = "10 mm"\nheight = "1 mm"\npixel = "20 um"',
        )
        return wavesim.expose(scene)

    plus, minus = light(1).irradiance, light(-1).irradiance
    assert plus == pytest.approx(minus[:, ::-1], abs=1e-9 * plus.max())


def test_where_it_is_not_computed_it_is_refused() -> None:
    scene = wavesim.load("scenes/plane_fan.toml")
    with pytest.raises(LimitError, match=r"bench\.plate_tilt: .*straight rulings only.*3 deg"):
        wavesim.expose(scene.but(bench__plate_tilt="3 deg"))
    with pytest.raises(InputError, match=r"bench\.plate_tilt: brings one end of the plate"):
        spectrograph('plate_tilt = "50 deg"', plate='width = "800 mm"\nheight = "1 mm"',
                     pixel="1 mm")  # fmt: skip
    with pytest.raises(InputError, match=r"bench\.plate_tip: needs a camera lens"):
        wavesim.load("scenes/near_double_slit_2m.toml").but(bench__plate_tip="3 deg")
