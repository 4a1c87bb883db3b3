"""A beam off the rulings' middle, and a camera lens whose rim cuts it.

Closed forms: what is W wide of the rulings makes a line of lambda / (W cos beta) (peak to first
zero, Rayleigh; full width at half maximum 0.88589 of it) and carries its share of the power.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import wavesim
from tests import bench
from tests.parameters import slow_but
from wavesim.errors import LimitError
from wavesim.geometry import grating_geometry
from wavesim.lightpath import ExposedPlate
from wavesim.scene import Scene

LASER, F, RULED = 546.1e-9, 0.5, 10e-3
FWHM = 0.8858929  # of sinc^2


def spectrograph(keys: str, *, order: int = 1, width: str = "3 mm", height: str = "1 mm") -> Scene:
    """An order of 100/mm on a plate of its own; a laser without a slit."""
    x = F * math.tan(math.asin(order * LASER * 100e3))
    return bench.scene(
        source='kind = "laser"\nwavelength = "546.1 nm"',
        bench=f'camera = "{F} m"\nviewing = "0 deg"\n{keys}',
        aperture='kind = "grating"\ndensity = "100 / mm"\nruled_width = "10 mm"\n'
        f'height = "{height}"\ngroove = {{ profile = "slit", width = "3 um" }}',
        plate=f'width = "{width}"\nheight = "1.6 mm"\npixel = "4 um"\ncentre = "{x!r} m"',
    )


def power(plate: ExposedPlate) -> float:
    """All light on the plate [W]."""
    return float(plate.irradiance.sum()) * plate.scene.plate.pixel_area_m2


def width(plate: ExposedPlate) -> float:
    """Full width at half maximum of the line along the plate's middle [m]."""
    row = plate.profile_irradiance / plate.profile_irradiance.max()
    a, b = np.flatnonzero(row > 0.5)[[0, -1]]
    left, right = (row[a] - 0.5) / (row[a] - row[a - 1]), (row[b] - 0.5) / (row[b] - row[b + 1])
    return float(b - a + left + right) * plate.scene.plate.pixel_m


def power_w(plate: ExposedPlate, diameter: float, distance: float) -> float:
    """Rulings [m] that get through a lens at the line's angle, on its level diameter; beta is the
    angle from the camera's axis here."""
    geometry = grating_geometry(plate.scene)
    beta = float(geometry.beta_rad(geometry.x_m(1, LASER)))
    aside = distance * math.tan(beta)
    low, high = (
        max(min(end, RULED / 2), -RULED / 2)
        for end in (-diameter / 2 - aside, diameter / 2 - aside)
    )
    return high - low


@pytest.mark.parametrize(
    ("diameter", "distance"), slow_but([(8, 0), (12, 80)], [(20, 150), (20, 190), (8, 0), (12, 80)])
)
def test_line_and_power_behind_a_rim(diameter: float, distance: float) -> None:
    lens = f'camera_lens = {{ diameter = "{diameter} mm", distance = "{distance} mm" }}'
    whole, cut = (wavesim.expose(spectrograph(keys)) for keys in ("", lens))
    left = power_w(cut, diameter * 1e-3, distance * 1e-3)
    assert 0.2 * RULED < left < 0.95 * RULED
    assert power(cut) / power(whole) == pytest.approx(left / RULED, rel=6e-3)
    cosine = math.cos(math.asin(LASER * 100e3))
    expected = FWHM * LASER * F / (left * cosine) / cosine**2
    assert width(cut) == pytest.approx(expected, rel=0.02)
    assert width(whole) == pytest.approx(expected * left / RULED, rel=0.02)


def test_a_round_rim_takes_the_corners() -> None:
    """Rulings as high as the lens is wide: area of a circle's part over the square's."""
    whole, cut = (
        wavesim.expose(spectrograph(keys, height="10 mm"))
        for keys in ("", 'camera_lens = { diameter = "10 mm" }')
    )
    assert power(cut) / power(whole) == pytest.approx(math.pi / 4, rel=6e-3)


def test_a_rim_that_cuts_nothing_changes_nothing() -> None:
    lens = 'camera_lens = { diameter = "40 mm", distance = "150 mm" }'
    whole, same = (wavesim.expose(spectrograph(keys)) for keys in ("", lens))
    assert np.array_equal(whole.irradiance, same.irradiance)


@pytest.mark.slow
def test_what_the_rim_takes_it_takes_on_both_sides_alike() -> None:
    lens = 'camera_lens = { diameter = "20 mm", distance = "150 mm" }'
    plus, minus = (wavesim.expose(spectrograph(lens, order=m)).irradiance for m in (1, -1))
    assert plus == pytest.approx(minus[:, ::-1], abs=1e-3 * plus.max())


@pytest.mark.parametrize(
    ("offset", "left"), slow_but([(3e-3, 6e-3)], [(0.0, 8e-3), (3e-3, 6e-3), (6e-3, 3e-3)])
)
def test_a_beam_off_the_middle(offset: float, left: float) -> None:
    """A beam of 8 mm over 10 mm of rulings, 0.4 mm high."""
    beam = f'beam = {{ diameter = "8 mm", offset = "{offset!r} m" }}'
    plate = wavesim.expose(spectrograph(beam, height="0.4 mm"))
    cosine = math.cos(math.asin(LASER * 100e3))
    expected = FWHM * LASER * F / (left * cosine) / cosine**2
    assert width(plate) == pytest.approx(expected, rel=0.02)
    other = beam.replace('"0', '"-0') if offset else beam
    mirrored = wavesim.expose(spectrograph(other, height="0.4 mm"))
    assert power(mirrored) == pytest.approx(power(plate), rel=1e-6)
    if offset:
        middle = beam.replace(f"{offset!r} m", "0 m")
        all_of_it = wavesim.expose(spectrograph(middle, height="0.4 mm"))
        assert power(plate) / power(all_of_it) == pytest.approx(left / 8e-3, rel=1e-2)


def test_a_gaussian_beam_off_the_middle() -> None:
    """Share of the power on the rulings: error functions of both ends."""
    radius, offset = 4e-3, 5e-3

    def light(offset_m: float) -> float:
        keys = f'beam = {{ diameter = "8 mm", profile = "gaussian", offset = "{offset_m!r} m" }}'
        return power(wavesim.expose(spectrograph(keys)))

    def passing(offset_m: float) -> float:
        ends = ((side * RULED / 2 - offset_m) * math.sqrt(2) / radius for side in (1, -1))
        high, low = (math.erf(end) for end in ends)
        return (high - low) / 2

    assert light(offset) / light(0.0) == pytest.approx(passing(offset) / passing(0.0), rel=5e-3)


@pytest.mark.slow
def test_where_it_is_not_computed_it_is_refused() -> None:
    lens = 'camera_lens = { diameter = "8 mm" }'
    for keys, message in (
        (f'{lens}\ndefocus = "1 mm"', r"camera_lens\.diameter: .*far field only"),
        (f'{lens}\nbeam = "9 mm"', r"camera_lens\.diameter: .*(beam|far field)"),
    ):
        with pytest.raises(LimitError, match=message):
            wavesim.expose(spectrograph(keys))
    disc = wavesim.load("scenes/plane_disc.toml")
    disc = disc.but({"bench.beam": {"diameter": "9 mm", "offset": "1 mm"}})
    with pytest.raises(LimitError, match=r"beam\.offset: .*for rulings only"):
        wavesim.expose(disc)
