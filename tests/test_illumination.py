"""Beams on openings and obstacles: what a plate catches, amplitudes, and what is refused.

Random openings in random beams: the law `all_light_caught` of `tests/laws.py`.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import wavesim
from tests import bench
from tests.parameters import slow_but
from wavesim import aperture
from wavesim.aperture.illumination import Along
from wavesim.errors import InputError
from wavesim.scene import Scene


def laser(aperture: str, beam: str = "", slit: str = "", angle: str = "0 deg") -> Scene:
    return bench.scene(
        source=f'kind = "laser"\nwavelength = "632.8 nm"\npower = "1 mW"\n{slit}',
        bench=f'collimator = "600 mm"\ncamera = "1 m"\nincidence = "{angle}"\n{beam}',
        aperture=aperture,
        plate='width = "6 mm"\nheight = "6 mm"\npixel = "20 um"',
        exposure='time = "1 s"',
    )


GAUSSIAN = 'beam = {{ diameter = "{} mm", profile = "gaussian" }}'
WIDE = 'kind = "slits"\ncount = 1\nwidth = "5 mm"\nheight = "10 mm"'
NAMED = {  # aperture, beam, light through it [mW]: the beam's own power, or its textbook fraction
    "a laser that just fills 7 mm": ('kind = "disc"\ndiameter = "7 mm"', "", 1.0),
    "a laser that just fills 10 mm": ('kind = "disc"\ndiameter = "10 mm"', "", 1.0),
    "2 mm on a 3 mm hole": (
        'kind = "disc"\ndiameter = "3 mm"', GAUSSIAN.format(2), 1 - math.exp(-2 * 1.5**2)
    ),
    "an obstacle in a 20 mm stop": (
        'kind = "disc"\ndiameter = "1 mm"\nobstacle = true\nstop = { diameter = "20 mm" }', "",
        1 - 0.05**2,
    ),
    "an obstacle in a Gaussian beam": (
        'kind = "disc"\ndiameter = "1 mm"\nobstacle = true', GAUSSIAN.format(3),
        math.exp(-2 / 9),
    ),
    "1 mm on a 5 mm slit": (WIDE, 'beam = "1 mm"', 1.0),
    "a Gaussian 1 mm on a 5 mm slit": (WIDE, GAUSSIAN.format(1), 1.0),
}  # fmt: skip


@pytest.mark.parametrize(
    "name", slow_but(["1 mm on a 5 mm slit", "a laser that just fills 7 mm"], NAMED)
)
def test_a_milliwatt_stays_a_milliwatt(name: str) -> None:
    """A few per cent may miss the plate of 6 mm: the wings of a sharp edge."""
    aperture, beam, through_mw = NAMED[name]
    found = wavesim.expose(laser(aperture, beam)).power_W / 1e-3
    assert found <= 1 + 1e-6
    assert 0.955 * through_mw < found < 1.001 * through_mw


@pytest.mark.parametrize(
    ("radius_um", "error"),
    [(15, 2e-3), (80, 1e-5), (300, 2e-3)],  # one amplitude; a few waves; cells
)
def test_a_hole_over_which_a_beam_fades(radius_um: float, error: float) -> None:
    """A hole off the axis, against the integral of exp(-rho^2 / R^2) over it, R = 1 mm."""
    scene = laser(
        f'kind = "disc"\ndiameter = "{2 * radius_um} um"\nplaces = [{{ x = "0.6 mm" }}]',
        GAUSSIAN.format(2),
    )
    sines, wave = np.array([0.0, 3e-4, -7e-4, 1.5e-3]), 632.8e-9
    found = wavesim.amplitude(scene, sines, wave, rises=2e-4)
    t, w = np.polynomial.legendre.leggauss(60)
    r, ring = radius_um * 1e-6 * (t + 1) / 2, radius_um * 1e-6 * w / 2
    turn = np.arange(120) * 2 * np.pi / 120
    x, y = 0.6e-3 + np.outer(r, np.cos(turn)), np.outer(r, np.sin(turn))
    weight = (ring * r)[:, None] * 2 * np.pi / 120 * np.exp(-(x**2 + y**2) / 1e-6)
    wanted = [np.sum(weight * np.exp(-2j * np.pi / wave * (s * x + 2e-4 * y))) for s in sines]
    assert found == pytest.approx(np.array(wanted), abs=error * abs(wanted[0]))


@pytest.mark.parametrize("angle", slow_but([60], [0, 60]))
@pytest.mark.parametrize("kind", slow_but(["slit"], ["hole", "slit", "picture", "open beam"]))
def test_an_oblique_gaussian_beam_is_one_thing(kind: str, angle: float, tmp_path: Path) -> None:
    """Whatever is wider than the beam sends exp(-2 (p / p0)^2 - 2 (q / q0)^2).

    p0 = lambda cos(alpha) / (pi R), q0 = lambda / (pi R) in direction cosines about the zero order
    (Siegman 17.1: the far field of a Gaussian waist; its footprint is R / cos(alpha) wide).
    """
    apertures = {
        "hole": 'kind = "disc"\ndiameter = "1.2 mm"',
        "slit": 'kind = "slits"\ncount = 1\nwidth = "1.2 mm"\nheight = "1.2 mm"',
        "picture": 'kind = "picture"\nfile = "white.png"\ncell = "5 um"',
        "open beam": 'kind = "disc"\ndiameter = "1 um"\nobstacle = true',
    }
    Image.new("L", (240, 240), 255).save(f"{tmp_path}/white.png")
    scene = laser(apertures[kind], GAUSSIAN.format(0.2), angle=f"{angle} deg")
    plate = wavesim.expose(scene.beside(tmp_path))
    alpha, radius = math.radians(angle), 0.1e-3
    r = np.hypot(1.0, np.hypot(plate.x_m, plate.y_m[:, None]))
    p = (plate.x_m * math.cos(alpha) - math.sin(alpha)) / r + math.sin(alpha)
    q = plate.y_m[:, None] / r
    q0 = 632.8e-9 / (math.pi * radius)
    shape = np.exp(-2 * (p / (q0 * math.cos(alpha))) ** 2 - 2 * (q / q0) ** 2)
    wanted = 2 * 1e-3 / (math.pi * q0**2 * math.cos(alpha)) * shape * _projected(plate, alpha)
    # cells of the aperture, and the pixel's middle for its mean
    assert plate.irradiance == pytest.approx(wanted, abs=3e-3 * wanted.max())


def _projected(plate: wavesim.Plate, alpha: float) -> np.ndarray:
    """dp dq over dx dy [1/m2] at 1 m: cosine at the aperture over r^2 times that at the plate."""
    x, y = plate.x_m, plate.y_m[:, None]
    r = np.sqrt(1 + x**2 + y**2)
    leaving = (math.cos(alpha) + x * math.sin(alpha)) / r
    return np.asarray(leaving / r**3)


def test_rulings_in_a_round_beam_by_brute_force() -> None:
    """Rows see the beam's height: summed over the chords of a round beam.

    I(u) = integral over v of |sum_j E(u) l_j sinc(l_j v) exp(-2 pi i u x_j)|^2, l_j the chord of
    slit j, added up here point by point; a source slit 17 lambda / height tall.
    """
    tall, radius, pitch = 10e-3, 0.5e-3, 10e-6
    scene = laser(
        'kind = "slits"\ncount = 100\nwidth = "5 um"\npitch = "10 um"\nheight = "10 mm"',
        'beam = "1 mm"',
        'slit = { width = "10 um", height = "6 mm" }',
    )
    plate = wavesim.expose(scene)
    x = (np.arange(100) - 49.5) * pitch
    chord = np.minimum(2 * np.sqrt(radius**2 - x**2), tall)
    half_p, half_q, wave = (
        math.sin(math.atan(5e-6 / 0.6)),
        math.sin(math.atan(3e-3 / 0.6)),
        632.8e-9,
    )
    t, w = np.polynomial.legendre.leggauss(6)
    s, h = np.polynomial.legendre.leggauss(1500)
    column, row = np.array([150, 152, 156, 165, 180]), 150
    v = (plate.y_m[row] + half_q * s) / wave
    along = chord[:, None] * np.sinc(chord[:, None] * v)
    wanted = np.zeros(column.size)
    for k, c in enumerate(column):
        for a, wa in zip(t, w, strict=True):
            for b, wb in zip(t, w, strict=True):
                u = (plate.x_m[c] + 10e-6 * a + half_p * b) / wave
                field = np.exp(-2j * np.pi * u * x) @ along * 5e-6 * np.sinc(5e-6 * u)
                wanted[k] += wa * wb / 4 * float(np.sum(h / 2 * np.abs(field) ** 2))
    wanted *= 1e-3 / (math.pi * radius**2) / wave**2
    # 1e-3 of the line: heights closer than lambda / the slit's angle interfere
    assert plate.irradiance[row, column] == pytest.approx(wanted, abs=1.5e-3 * wanted.max())


@pytest.mark.parametrize("gaussian", slow_but([0.2e-3], [0.2e-3, 0.9e-3, math.inf]))
@pytest.mark.parametrize("round_", slow_but([2e-3], [0.5e-3, 2e-3, math.inf]))
def test_amplitude_along_the_rulings(gaussian: float, round_: float) -> None:
    """Against Gauss-Legendre quadrature of the profile itself."""
    along = Along(1e-3, gaussian, round_)
    t, w = np.polynomial.legendre.leggauss(2000)
    y, weight = t * 0.5e-3, w * 0.5e-3
    profile = np.exp(-np.square(y / gaussian))
    if math.isfinite(round_):
        profile = np.sqrt(1 - np.square(y / round_))
        profile *= math.sqrt(1e-3 / np.sum(weight * profile**2))
    elif math.isfinite(gaussian):
        assert along.power_m == pytest.approx(np.sum(weight * profile**2), rel=1e-12)
    v = np.array([0.0, 300.0, 2e3, 5e4])
    wanted = np.cos(2 * np.pi * np.outer(v, y)) @ (weight * profile)
    # the root of the chord at its end, of the reference
    assert along.amplitude(v) == pytest.approx(wanted, abs=1e-3 * 1e-7)


OVERLAPPING = {
    "one place twice": 'kind = "disc"\ndiameter = "1 mm"\n'
    'places = [{ x = "1 mm" }, { x = "1 mm" }]',
    "a hundred times": 'kind = "disc"\ndiameter = "1 mm"\nplaces = ['
    + ", ".join(["{}"] * 100)
    + "]",
    "squares": 'kind = "rectangle"\nwidth = "1 mm"\nheight = "1 mm"\n'
    'places = [{}, { x = "0.9 mm" }]',
    "triangles": 'kind = "polygon"\nsides = 3\nradius = "1 mm"\nplaces = [{}, { x = "0.4 mm" }]',
    "polygons along their sides": 'kind = "polygon"\nsides = 4\nradius = "1 mm"\nturn = "45 deg"\n'
    'places = [{}, { x = "0.7 mm" }]',
    "holes of a mesh": 'kind = "mesh"\ncount_x = 3\ncount_y = 3\npitch_x = "50 um"\n'
    'pitch_y = "100 um"\nhole = { kind = "rectangle", width = "60 um", height = "20 um" }',
}


@pytest.mark.parametrize("name", OVERLAPPING)
def test_openings_that_overlap_are_refused(name: str) -> None:
    with pytest.raises(InputError, match="overlaps"):
        wavesim.expose(laser(OVERLAPPING[name]))


def test_openings_that_touch_are_not() -> None:
    touching = 'kind = "rectangle"\nwidth = "1 mm"\nheight = "1 mm"\nplaces = [{}, { x = "1 mm" }]'
    assert wavesim.expose(laser(touching)).power_W > 0


def test_slits_that_errors_push_together_pass_their_light_once() -> None:
    """A step back makes two slits overlap by half: the open width is their union."""
    scene = laser(
        'kind = "grating"\ncount = 2\npitch = "100 um"\nheight = "2 mm"\n'
        'groove = { profile = "slit", width = "80 um" }\n'
        '[[aperture.defects]]\nkind = "step"\nsize = "-60 um"\nruling = 1'
    )
    assert aperture.build(scene).open_width_m == pytest.approx(120e-6, rel=1e-9)
