"""Lenses whose focus changes with the colour.

Closed forms: a thin lens has 1 / f = (n - 1) (1 / r1 - 1 / r2), so df / f = -dn / (n - 1) (Born &
Wolf 4.4.5); a beam of width B that meets its focus at f is B |D - f| / f wide at the distance D.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import wavesim
from tests import bench
from wavesim.errors import InputError
from wavesim.lightpath import ExposedPlate
from wavesim.scene import Lens, Scene

# borosilicate crown N-BK7, published indices (glass catalogue, 2017): h 404.66, e 546.07, C 656.27
CROWN = {404.66: 1.53024, 546.07: 1.51872, 656.27: 1.51432}
RULED = 30e-3


def spectrograph(nm: float, lenses: str, *, camera: str = "600 mm", pixel: str = "10 um") -> Scene:
    """A laser's first order of 600/mm in the plate's middle, from a slit 20 um wide."""
    beta = math.degrees(math.asin(nm * 1e-9 * 600e3))
    return bench.scene(
        source=f'kind = "laser"\nwavelength = "{nm} nm"\n'
        'slit = { width = "20 um", height = "1 mm" }',
        bench=f'collimator = "600 mm"\ncamera = "{camera}"\nviewing = "{beta!r} deg"\n{lenses}',
        aperture='kind = "grating"\ndensity = "600 / mm"\nruled_width = "30 mm"\n'
        'height = "10 mm"\ngroove = { profile = "slit" }',
        plate=f'width = "1.6 mm"\nheight = "0.1 mm"\npixel = "{pixel}"',
    )


def width(plate: ExposedPlate) -> float:
    """Width of the line [m] between its geometrical edges, where a straight edge leaves a quarter
    of the light (Born & Wolf 8.7.3)."""
    row = plate.profile_irradiance
    inside = np.flatnonzero(row > 0.25 * row[row > 0.5 * row.max()].mean())
    return float(inside[-1] - inside[0] + 1) * plate.scene.plate.pixel_m


@pytest.mark.parametrize("nm", [404.66, 656.27])
def test_blur_of_a_single_lens_from_published_indices(nm: float) -> None:
    plate = wavesim.expose(
        spectrograph(nm, 'camera_lens = { glass = "crown glass", sharp = "546.07 nm" }')
    )
    beam = RULED * math.cos(plate.scene.bench.camera_axis_rad)
    blur = beam * abs(CROWN[nm] - CROWN[546.07]) / (CROWN[546.07] - 1)
    assert width(plate) == pytest.approx(blur, abs=1.5e-5)  # less than a pixel on either side


def test_both_lenses_blur_twice() -> None:
    camera = 'camera_lens = { glass = "fused silica" }'
    both = f'{camera}\ncollimator_lens = {{ glass = "fused silica" }}'
    single, double = (width(wavesim.expose(spectrograph(430.0, t))) for t in (camera, both))
    # the collimated beam is no narrower across than the diffracted one: cos(alpha) = 1
    cosine = math.cos(math.asin(430e-9 * 600e3))
    assert double == pytest.approx(single * (1 + 1 / cosine**2), abs=4e-5)


@pytest.mark.parametrize(
    ("nm", "lens"),
    [
        (480.0, Lens(glass="acrylic", sharp_m=589e-9)),
        (436.0, Lens(residual=1e-3, sharp_m=546e-9)),
        (620.0, Lens(residual=5e-3, sharp_m=450e-9)),
    ],
)
def test_one_colour_is_a_plate_out_of_focus(nm: float, lens: Lens) -> None:
    """The focal length at that colour, and the plate where the lens is sharp."""
    own = 0.6 * float(lens.focal_ratio(nm * 1e-9))
    kind = f'glass = "{lens.glass}"' if lens.glass else f"residual = {lens.residual}"
    coloured = spectrograph(nm, f'camera_lens = {{ {kind}, sharp = "{lens.sharp_m * 1e9} nm" }}')
    plain = spectrograph(nm, f'defocus = "{0.6 - own!r} m"', camera=f"{own!r} m")
    a, b = wavesim.expose(coloured).irradiance, wavesim.expose(plain).irradiance
    assert a == pytest.approx(b, abs=2e-4 * b.max())  # the laser's wavelength in dry air


def test_sharp_where_it_is_sharp() -> None:
    lens = 'camera_lens = { glass = "crown glass", sharp = "546.07 nm" }'
    with_lens, without = (wavesim.expose(spectrograph(546.07, t)) for t in (lens, ""))
    error = with_lens.report.bin_error + without.report.bin_error
    off = np.abs(with_lens.irradiance - without.irradiance).max() / without.irradiance.max()
    assert off <= error


def test_an_achromat_brings_two_colours_to_one_focus() -> None:
    lens = Lens(residual=5e-4, sharp_m=546e-9)
    ratio = lens.focal_ratio(np.array([479.9914e-9, 643.8469e-9, 546e-9]))
    assert ratio[0] == pytest.approx(ratio[1], abs=1e-12)
    assert ratio[0] - ratio[2] == pytest.approx(5e-4, rel=1e-3)


def test_the_residual_is_that_of_a_crown_and_flint_doublet() -> None:
    """Two thin lenses in contact, N-BK7 and F2, joined at F' and C'; Sellmeier's formula with the
    glass catalogue's coefficients of F2 (from memory). Textbooks: f / 2000 or a little more."""
    coefficients = {
        "crown": ((1.03961212, 0.00600069867), (0.231792344, 0.0200179144),
                  (1.01046945, 103.560653)),
        "flint": ((1.34533359, 0.00997743871), (0.209073176, 0.0470450767),
                  (0.937357162, 111.886764)),
    }  # fmt: skip

    def index(name: str, um: np.ndarray) -> np.ndarray:
        return np.sqrt(1 + sum(b * um**2 / (um**2 - c) for b, c in coefficients[name]))

    def powers(um: np.ndarray) -> np.ndarray:
        return np.stack([index(name, um) - 1 for name in coefficients], axis=-1)

    blue, red, green = powers(np.array([0.4799914, 0.6438469, 0.546074]))
    shares = np.linalg.solve(np.stack([blue - red, green]), [0.0, 1.0])
    um = np.linspace(0.40, 0.75, 71)
    focal = 1 / (powers(um) @ shares)
    shortest = focal.min()
    residual = 1 / float(blue @ shares) / shortest - 1
    assert 1 / 2100 < residual < 1 / 1700
    ours = Lens(residual=residual, sharp_m=um[focal.argmin()] * 1e-6).focal_ratio(um * 1e-6) - 1
    off = np.abs(ours - (focal / shortest - 1))
    assert off.max() <= 0.1 * (focal / shortest - 1).max()


def test_light_on_the_axis_of_a_round_lens() -> None:
    """(sin(u/4) / (u/4))^2, u = 2 pi a^2 (1/D - 1/f) / lambda (Born & Wolf 8.8.2, eq. 26)."""

    def middle(lens: str) -> float:
        scene = bench.scene(
            source='kind = "laser"\nwavelength = "450 nm"',
            bench=f'camera = "1 m"\nbeam = "20 mm"\n{lens}',
            aperture='kind = "disc"\ndiameter = "6 mm"',
            plate='width = "90 um"\nheight = "90 um"\npixel = "2 um"',
        )
        light = wavesim.expose(scene).irradiance
        return float(light[light.shape[0] // 2, light.shape[1] // 2])

    vergence = 1 - 1 / float(Lens(residual=2.5e-2).focal_ratio(450e-9))
    quarter = math.pi * 9e-6 * vergence / (2 * 450e-9)
    expected = (math.sin(quarter) / quarter) ** 2
    assert 0.2 < expected < 0.8
    found = middle("camera_lens = { residual = 0.025 }") / middle("")
    assert found == pytest.approx(expected, abs=1e-2)  # cells of a raster


@pytest.mark.parametrize(
    ("table", "message"),
    [
        ('camera_lens = { glass = "crown glass", residual = 0.01 }', "cannot be combined"),
        ('camera_lens = { glass = "window" }', "crown glass"),
        ('collimator_lens = { sharp = "500 nm" }', "is missing"),
    ],
)
def test_what_a_lens_is_not(table: str, message: str) -> None:
    with pytest.raises(InputError, match=message):
        spectrograph(500.0, table)


def test_a_lens_that_is_not_there_has_no_colours() -> None:
    with pytest.raises(InputError, match=r"bench\.camera_lens: needs a camera lens"):
        wavesim.load("scenes/near_double_slit_2m.toml").but(
            {"bench.camera_lens": {"glass": "crown glass"}}
        )
