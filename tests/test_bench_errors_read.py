"""Errors of the bench that the scene names: prediction, profile and measurement take account.

A beam B wide, out of focus by z - f, is blurred to B |z - f| / f; W of the rulings make a line
0.88589 lambda / (W cos beta) wide. Mercury's lines: NIST (435.8328, 546.0735, 576.9598, 579.0663).
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import wavesim
from tests import bench
from tests.parameters import slow_beyond
from wavesim.geometry import grating_geometry
from wavesim.scene import Scene

PIXEL = "10 um"


def mercury(keys: str, *, tilt: float = 0.0) -> Scene:
    """600/mm, 10 mm of it, f = 300 mm; 430 to 590 nm on the plate."""
    return bench.scene(
        source='kind = "lamp"\nelement = "Hg"\nslit = { width = "15 um", height = "1 mm" }',
        bench='collimator = "300 mm"\ncamera = "300 mm"\nviewing = "17.8 deg"\n'
        f'plate_tilt = "{tilt} deg"\n{keys}',
        aperture='kind = "grating"\ndensity = "600 / mm"\nruled_width = "10 mm"\n'
        'height = "10 mm"\ngroove = { profile = "slit" }',
        plate=f'width = "34 mm"\nheight = "0.1 mm"\npixel = "{PIXEL}"',
    )


@pytest.mark.slow
def test_a_tilted_plate_is_measured() -> None:
    """Read as if it stood upright, the blue line is off by nanometres."""
    plate = wavesim.expose(mercury("", tilt=10.0))
    found = wavesim.measure(plate, order=1)
    read = [line.wavelength_m * 1e9 for line in found.lines if line.wavelength_m]
    for known in (435.8328, 546.0735, 576.9598, 579.0663):
        near = min(found.lines, key=lambda line: abs((line.wavelength_m or 0) * 1e9 - known))
        assert near.wavelength_m is not None
        assert near.uncertainty_m is not None
        off = abs(near.wavelength_m * 1e9 - known)
        assert off <= 2.5 * near.uncertainty_m * 1e9, read
    assert any("the plate is turned" in note for note in found.notes)


@pytest.mark.parametrize(
    ("keys", "tilt", "nm"),
    slow_beyond(
        1,
        [
            ("", 12.0, 435.83),
            ('camera_lens = { glass = "crown glass", sharp = "480 nm" }', 0.0, 435.83),
            ('defocus = "4 mm"', 0.0, 546.07),
        ],
    ),
)
def test_a_blurred_line_has_the_profile_of_its_plate(keys: str, tilt: float, nm: float) -> None:
    """Width of a line on the plate as exposed, and as `profile` has it."""
    scene = mercury(keys, tilt=tilt)
    laser = scene.but(
        {"source": {"kind": "laser", "wavelength": f"{nm} nm",
                    "slit": {"width": "2 um", "height": "1 mm"}}}
    )  # fmt: skip
    x = float(grating_geometry(laser).x_m(1, nm * 1e-9))
    close = laser.but(plate__width="1.6 mm", plate__pixel="2 um", plate__centre=f"{x!r} m")
    plate = wavesim.expose(close)
    row = plate.profile_irradiance / plate.profile_irradiance.max()
    first, last = np.flatnonzero(row > 0.5)[[0, -1]]
    exposed = float(last - first) * 2e-6
    profile = wavesim.profile(scene, wavelength=f"{nm} nm", order=1)
    assert profile.fwhm_on_plate_m == pytest.approx(exposed, abs=6e-6)
    limits = [text for text in wavesim.predict(scene).limits if "out of focus (" in text]
    assert limits
    assert f"{nm:.5g} nm in order 1 by" in limits[0] or tilt == 0


@pytest.mark.slow
def test_a_line_past_the_rim_of_the_lens() -> None:
    scene = mercury('camera_lens = { diameter = "11 mm", distance = "120 mm" }')
    beta = math.asin(579.0663e-9 * 600e3)
    delta = beta - scene.bench.camera_axis_rad
    scale = math.cos(delta) / math.cos(beta)
    low, high = ((-0.12 * math.tan(delta) + side * 5.5e-3) * scale for side in (-1, 1))
    width = min(high, 5e-3) - max(low, -5e-3)
    assert 0.2 < width / 10e-3 < 0.9
    found = wavesim.profile(scene, wavelength="579.0663 nm", order=1)
    expected = 0.8858929 * 579.0663e-9 / (width * math.cos(beta)) * 0.3 / math.cos(delta) ** 2
    assert found.fwhm_on_plate_m == pytest.approx(expected, rel=2e-3)
    limits = [
        text
        for text in wavesim.predict(scene).limits
        if "the rim of the camera lens passes" in text
    ]
    assert f"{100 * width / 10e-3:.0f} % of 579.07 nm in order 1" in limits[0]


def test_a_slit_like_a_wedge_is_told() -> None:
    scene = mercury("").but(source__slit__jaws="0.5 deg")
    limits = [text for text in wavesim.predict(scene).limits if "source slit is" in text]
    change = 1e-3 * math.tan(math.radians(0.25))
    assert f"{(15e-6 - change) * 1e6:.3g} um wide" in limits[0]
