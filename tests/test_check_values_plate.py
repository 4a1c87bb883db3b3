"""Published numbers of diffraction, asked of plates and amplitudes.

Sources beside each: B&W is Born & Wolf, Principles of Optics, 7th ed.; digits beyond the printed
ones follow from the closed form named. Rows that are not held to the digits of a table, and why:

- A straight edge alone: an aperture has two edges, and the far one adds ripples of its own. Held is
  Fresnel's pattern of a slit with both edges, which contains the straight edge's.
- Half the light at w = 0.3536 inside an edge: the same, it follows from that pattern.
- A grating of cosine amplitude comes as a picture of 16 bits: 1/4 to 1.3e-5, the picture's levels
  (held against those levels in the tests of pictures).
- Lines of glass catalogues (g 435.8343, F' 479.9914 ...) are those of single isotopes or of another
  air; lamps have the natural element's lines in standard air, 0.1 to 0.8 pm beside them.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

import wavesim
from tests import bench
from tests.parameters import slow_but
from wavesim.arrays import Floats
from wavesim.scene import Scene

WAVE = 500e-9


def opening(aperture: str) -> Scene:
    """A hole before a camera of 1 m."""
    return bench.scene(
        source='kind = "laser"\nwavelength = "500 nm"', bench='camera = "1 m"', aperture=aperture,
        plate='width = "1 mm"\nheight = "1 mm"\npixel = "10 um"',
    )  # fmt: skip


def light(scene: Scene, sines: Floats | float) -> Floats:
    """|A|^2 over its value on the axis, at directions in the plane of incidence."""
    found = np.abs(wavesim.amplitude(scene, np.append(sines, 0.0), WAVE)) ** 2
    return np.asarray(found[:-1] / found[-1])


def root(scene: Scene, level: float, low: float, high: float) -> float:
    """Where the light falls to a level between two directions, by halving."""
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if light(scene, middle)[0] > level else (low, middle)
    return low


DISC = 'kind = "disc"\ndiameter = "1 mm"'


def test_width_of_the_airy_disc() -> None:
    """1.02899396996 lambda / D at half the light (Airy's pattern, B&W 8.5.2)."""
    half = root(opening(DISC), 0.5, 0.0, 1.2 * WAVE / 1e-3)
    assert 2 * half * 1e-3 / WAVE == pytest.approx(1.02899396996, rel=1e-7)


@pytest.mark.parametrize(
    ("inner", "zero", "ring"),
    [(0.2, 1.166506783, 0.030350247), (1 / 3, 1.095794941, None), (0.5, 1.000906051, 0.096336540),
     (0.8, 0.848774306, 0.152740586)],
)  # fmt: skip
def test_rings_of_an_annulus(inner: float, zero: float, ring: float | None) -> None:
    """First dark ring and height of the ring behind it (B&W 8.6.2: 3.15 for half the radius)."""
    scene = opening(f'kind = "annulus"\nouter = "1 mm"\ninner = "{inner!r} mm"')
    sines = np.linspace(0.6, 2.4, 20001) * WAVE / 1e-3
    intensity = light(scene, sines)
    dark = (
        int(np.argmax((intensity[1:-1] < intensity[:-2]) & (intensity[1:-1] < intensity[2:]))) + 1
    )
    assert sines[dark] * 1e-3 / WAVE == pytest.approx(zero, abs=1e-4)
    assert intensity[dark] < 1e-7
    if ring is not None:
        assert intensity[dark:].max() == pytest.approx(ring, abs=1e-6)


@pytest.mark.parametrize(
    ("v", "inside"),
    [(3.83170597, 0.837784869), (7.01558667, 0.909930535), (10.1734681, 0.937647474),
     (8.41724414, 0.922193494), (11.6198412, 0.944369554)],
)  # fmt: skip
def test_light_within_a_ring(v: float, inside: float) -> None:
    """1 - J0^2 - J1^2 (Rayleigh 1881; B&W fig. 8.13: 0.838, 0.910, 0.938 at the dark rings), of
    all the light through the hole (Parseval); the last two at the second and third bright ring."""
    from scipy.special import j0, j1

    t, w = np.polynomial.legendre.leggauss(80)
    sine = v / math.pi * WAVE / 1e-3 * (t + 1) / 2
    power = np.abs(wavesim.amplitude(opening(DISC), sine, WAVE)) ** 2
    span = v / math.pi * WAVE / 1e-3
    found = float(np.sum(w * power * 2 * math.pi * sine)) * span / 2
    found /= WAVE**2 * math.pi * 0.25e-6
    assert found == pytest.approx(1 - j0(v) ** 2 - j1(v) ** 2, abs=1e-9)
    assert found == pytest.approx(inside, abs=1e-4)


def test_seven_fringes_in_the_middle_of_two_slits() -> None:
    """2 d / a - 1 for a pitch four times the width (B&W 7.3, 8.6.1: missing orders at 4, 8 ...)."""
    scene = bench.scene(
        source='kind = "laser"\nwavelength = "500 nm"', bench='camera = "1 m"',
        aperture='kind = "slits"\ncount = 2\nwidth = "50 um"\npitch = "200 um"\nheight = "5 mm"',
        plate='width = "19.51 mm"\nheight = "1 mm"\npixel = "10 um"',
    )  # fmt: skip
    row = wavesim.expose(scene).profile_irradiance
    tops = np.flatnonzero((row[1:-1] > row[:-2]) & (row[1:-1] > row[2:])) + 1
    assert np.sum(row[tops] > 0.01 * row.max()) == 7


@pytest.mark.parametrize(
    ("order", "efficiency"),
    [(0, 0.25), (1, 0.101321183642), (-1, 0.101321183642), (3, 0.0112579093), (2, 0), (4, 0)],
)
def test_a_grating_of_equal_bars(order: int, efficiency: float) -> None:
    """Orders of an amplitude grating 1 : 1 (Goodman, Introduction to Fourier Optics, 4.4)."""
    scene = opening(
        'kind = "slits"\ncount = 100\nwidth = "10 um"\npitch = "20 um"\nheight = "2 mm"'
    )
    found = wavesim.amplitude(scene, np.array([order * WAVE / 20e-6]), WAVE)[0]
    assert abs(found / (100 * 20e-6)) ** 2 == pytest.approx(efficiency, abs=1e-10)


def test_both_edges_of_a_wide_slit_in_the_near_field() -> None:
    """Fresnel's integrals between both edges (B&W 8.7.3), averaged over each pixel."""
    from scipy.special import fresnel

    wide, far, pixel = 40e-3, 20.0, 20e-6
    scene = bench.scene(
        source='kind = "laser"\nwavelength = "500 nm"', bench=f'plate_distance = "{far} m"',
        aperture=f'kind = "slits"\ncount = 1\nwidth = "{wide} m"\nheight = "10 mm"',
        plate=f'width = "14 mm"\nheight = "20 um"\npixel = "{pixel} m"\ncentre = "20 mm"',
    )  # fmt: skip
    plate = wavesim.expose(scene)
    t, w = np.polynomial.legendre.leggauss(6)
    x = plate.x_m[:, None] + pixel / 2 * t
    scale = math.sqrt(2 / (WAVE * far))
    s1, c1 = fresnel((-wide / 2 - x) * scale)
    s2, c2 = fresnel((wide / 2 - x) * scale)
    expected = ((c2 - c1) ** 2 + (s2 - s1) ** 2) @ w / 4
    found = plate.profile_irradiance / plate.profile_irradiance.max() * expected.max()
    assert found == pytest.approx(expected, abs=2e-5)  # 1.2e-5; level by the brightest pixel
    edge = int(np.argmin(np.abs(plate.x_m - wide / 2)))
    assert found[edge] == pytest.approx(0.25, abs=0.02)  # a quarter at the edge, and ripples


@pytest.mark.parametrize(("number", "error"), slow_but([(0.5, 3e-5)], [(0.125, 3e-6), (0.5, 3e-5)]))
def test_light_on_the_axis_of_a_hole_out_of_focus(number: float, error: float) -> None:
    """sinc^2(N_F / 2), N_F = a^2 V / lambda (B&W 8.8.2): 0.987214831 at 1/8; at 1/2, a quarter wave
    at the edge, 8 / pi^2 = 0.810569469 (Rayleigh's rule). 258 cells across the hole take the phase
    at their middles, also where the rim leaves a part of one open: 1.7e-6 and 2.0e-5, of which
    the far field's table is 2e-6 (5e-5 with 8 samples for 12)."""
    vergence = number * WAVE / 4e-6  # 1 / (f + defocus) - 1 / f, a = 2 mm, f = 1 m
    near = 1 / (1 + vergence)

    def middle(keys: str, focal: float) -> float:
        pixel = 2e-6 * focal
        scene = bench.scene(
            source='kind = "laser"\nwavelength = "500 nm"', bench=f'camera = "1 m"\n{keys}',
            aperture='kind = "disc"\ndiameter = "4 mm"',
            plate=f'width = "{3 * pixel} m"\nheight = "{3 * pixel} m"\npixel = "{pixel} m"',
        )  # fmt: skip
        return float(wavesim.expose(scene).irradiance[1, 1])

    found = middle(f'defocus = "{near - 1!r} m"', near) * near**2 / middle("", 1)
    assert found == pytest.approx(np.sinc(number / 2) ** 2, abs=error)


def grating_1200(nm: float, alpha: float, viewing_deg: float) -> Scene:
    """12,000 rulings of 1200/mm before a laser."""
    return bench.scene(
        source=f'kind = "laser"\nwavelength = "{nm} nm"',
        bench=f'camera = "1 m"\nincidence = "{alpha!r} rad"\nviewing = "{viewing_deg} deg"',
        aperture='kind = "grating"\ndensity = "1200 / mm"\ncount = 12000\nheight = "10 mm"\n'
        'groove = { profile = "slit" }',
        plate='width = "4 mm"\nheight = "5 um"\npixel = "5 um"',
    )


@pytest.mark.parametrize("incidence", [20.0, 17.4576031])
def test_a_grating_of_1200_a_millimetre(incidence: float) -> None:
    """beta = 14.9502277 deg at 20 deg, 500 nm, and 17.4576 deg where light goes back on itself
    (Littrow); 0.00124204278 rad / nm: d (sin alpha + sin beta) = m lambda on the plate."""
    alpha = math.radians(incidence)
    expected = 14.9502277 if incidence == 20 else 17.4576031

    def line(nm: float) -> float:
        plate = wavesim.expose(grating_1200(nm, alpha, expected))
        row = np.maximum(plate.profile_irradiance - 0.2 * plate.profile_irradiance.max(), 0)
        return float(row @ plate.x_m / row.sum())

    assert abs(line(500.0)) < 0.2e-6
    apart = 1.2e-3 / math.cos(math.radians(expected))  # rad / nm, and f = 1 m
    assert line(500.5) - line(499.5) == pytest.approx(apart, rel=1e-3)
    predicted = wavesim.predict(grating_1200(500.0, alpha, expected))
    first = next(row for row in predicted.orders if row.order == 1)
    assert math.degrees(first.beta_rad) == pytest.approx(expected, abs=1e-6)
