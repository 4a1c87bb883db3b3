"""Gratings as they are sold and benches as they are set: a blaze, a centred line.

Truth: the grating equation, and the closed form of a facet (its sinc is 1 where it mirrors or
refracts the order; Loewen & Popov 1997, section 2.4).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import wavesim
from tests.bench import scene as bench_scene
from tests.narrowing import of_kind
from wavesim import aperture
from wavesim.aperture import Rays
from wavesim.errors import SceneError
from wavesim.scene import Scene, from_resolved, resolved
from wavesim.scene.aperture import Grating
from wavesim.scene.groove import BlazedGroove

LASER = 'kind = "laser"\nwavelength = "{nm} nm"\nslit = {{ width = "20 um", height = "4 mm" }}'
LENSES = 'collimator = "1 m"\ncamera = "1 m"\n'
GRATING = 'kind = "grating"\ncount = 2000\ndensity = "300 / mm"\n'
NARROW = 'groove = { profile = "slit", width = "1 um" }'
PLATE = 'width = "10 mm"\nheight = "0.5 mm"\npixel = "20 um"'


def grating(bench: str = "", groove: str = "", nm: float = 589.3) -> Scene:
    return bench_scene(
        source=LASER.format(nm=nm), bench=LENSES + bench, aperture=GRATING + groove, plate=PLATE
    )


@pytest.mark.parametrize("mounting", ["reflection", "transmission"])
@pytest.mark.parametrize("incidence", [-20, 0, 15])
@pytest.mark.parametrize("order", [-2, 1])
def test_all_light_of_the_blaze_goes_into_its_order(
    mounting: str, incidence: float, order: int
) -> None:
    made = grating(
        f'incidence = "{incidence} deg"',
        f'mounting = "{mounting}"\n'
        f'groove = {{ profile = "blazed", blaze = "500 nm", blaze_order = {order} }}',
    )
    (comb,) = aperture.build(made).combs
    sine_in = math.sin(math.radians(incidence))
    rays = Rays(sine_in, np.array([order * 500e-9 * 3e5 - sine_in]), 500e-9)
    efficiency = abs(comb.element.amplitude(rays)[0]) ** 2 * 3e5**2
    assert efficiency == pytest.approx(1, abs=1e-12)  # a perfect facet in scalar theory


def test_a_blaze_in_autocollimation_is_the_catalogue_s() -> None:
    """sin(facet) = lambda / 2 d where incidence and diffraction go along the facet's normal."""
    littrow = math.asin(500e-9 * 3e5 / 2)
    made = grating(
        f'incidence = "{littrow} rad"',
        'mounting = "reflection"\ngroove = { profile = "blazed", blaze = "500 nm" }',
    )
    groove = of_kind(BlazedGroove, of_kind(Grating, made.aperture).groove)
    assert groove.facet_angle_rad == pytest.approx(littrow, abs=1e-12)


@pytest.mark.parametrize(
    "bench",
    [
        'centre = { wavelength = "589.3 nm", order = 2 }',
        'incidence = "-12 deg"\ncentre = { wavelength = "589.3 nm", order = 2 }',
        'included_angle = "30 deg"\ncentre = { wavelength = "589.3 nm", order = 2 }',
        'included_angle = "30 deg"\ncentre = { wavelength = "589.3 nm", order = -1 }',
    ],
)
def test_the_centred_line_falls_on_the_middle_of_the_plate(bench: str) -> None:
    plate = wavesim.expose(grating(bench, NARROW))  # half the pitch would put out even orders
    row = plate.irradiance[plate.irradiance.shape[0] // 2]
    row = np.where(row > row.max() / 4, row, 0)  # without the wings, which the envelope tilts
    middle = (plate.x_m * row).sum() / row.sum()
    assert abs(middle) < 2e-6  # a tenth of a pixel


def test_turn_follows_from_the_included_angle() -> None:
    """m lambda = 2 d sin(turn) cos K."""
    made = grating('included_angle = "30 deg"\ncentre = { wavelength = "589.3 nm", order = 2 }')
    expected = math.asin(2 * 589.3e-9 * 3e5 / (2 * math.cos(math.radians(15))))
    assert made.bench.turn_rad == pytest.approx(expected, abs=1e-14)


def test_what_follows_is_found_again_and_follows_changes() -> None:
    made = grating(
        'centre = { wavelength = "589.3 nm", order = 2 }',
        'groove = { profile = "blazed", blaze = "500 nm" }',
    )
    assert from_resolved(resolved(made)) == made
    other = made.but(bench__incidence="10 deg")
    assert other.bench.viewing_rad != made.bench.viewing_rad
    row = wavesim.expose(other).irradiance.max(axis=0)
    assert abs(int(row.argmax()) - row.size // 2) <= 1


@pytest.mark.parametrize(
    ("bench", "groove", "message"),
    [
        ('centre = { wavelength = "589.3 nm", order = 9 }', "", r"bench\.centre: .*order 9"),
        (
            'viewing = "3 deg"\ncentre = { wavelength = "589.3 nm" }',
            "",
            r"bench\.viewing: .*centre",
        ),
        ("", 'groove = { profile = "blazed" }', r"facet_angle: is missing"),
        ("", 'groove = { profile = "blazed", blaze = "500 nm", facet_angle = "2 deg" }', "blaze"),
        ("", 'groove = { profile = "blazed", blaze = "9 um" }', "does not propagate"),
    ],
)
def test_what_cannot_be_is_refused(bench: str, groove: str, message: str) -> None:
    with pytest.raises(SceneError, match=message):
        grating(bench, groove)
