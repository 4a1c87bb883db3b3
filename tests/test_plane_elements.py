"""Elements in the plane against closed forms, published numbers and brute-force quadrature."""

from __future__ import annotations

import math
from itertools import pairwise

import mpmath
import numpy as np
import pytest

from wavesim.aperture.plane import (
    AnnulusElement,
    EllipseElement,
    Group,
    PlaneAperture,
    PolygonElement,
    RectangleElement,
    disc,
)
from wavesim.aperture.plane.bessel import airy_of_square
from wavesim.aperture.plane.polygons import clip, signed_area
from wavesim.diffraction.planar import plane_amplitude

# zeros of J1 and of J2, heights of the secondary maxima, encircled energy in the dark rings:
# Born & Wolf, Principles of Optics, 8.5.2 and table 8.2, to more digits by mpmath
ON_AXIS = np.zeros(1)
DARK = (3.83170597020751, 7.01558666981562, 10.1734681350627, 13.3236919363142)
BRIGHT = (5.13562230184068, 8.41724414039986, 11.6198411721491, 14.7959517823513)
HEIGHT = (0.0174978627858, 0.00415799638453, 0.00160063766822, 0.000779445355472)
ENCIRCLED = (0.837784869173, 0.909930535086, 0.937647474374, 0.952319169266)
# annulus: ratio of diameters, first zero, height of the first ring, energy inside that zero
ANNULI = (
    (0.2, 3.66468913898, 0.030350247, 0.763762674),
    (0.5, 3.1444390969, 0.096336540, 0.478622324),
    (0.8, 2.66650312371, 0.152740586, 0.171582976),
)


def airy(x: np.ndarray) -> np.ndarray:
    return airy_of_square(np.square(x))


def test_airy_amplitude_is_right_to_rounding() -> None:
    x = np.concatenate([np.geomspace(1e-9, 31.99, 60), np.linspace(32, 5000, 60), [0.5, 31.999999]])
    exact = [float(2 * mpmath.besselj(1, v) / v) for v in x]
    # rounding of the polynomials' sum; the amplitude is 1 at zero
    assert np.abs(airy(x) - exact).max() < 2e-15
    assert airy(np.zeros(1))[0] == pytest.approx(1.0, abs=1e-15)


def test_airy_rings_stand_where_they_should() -> None:
    diameter = 2e-3
    hole = disc(diameter)
    scale = 1 / (math.pi * diameter)  # u of x = 1
    assert np.abs(hole.amplitude(np.array(DARK) * scale, ON_AXIS)).max() < 1e-13 * hole.open_area_m2
    rings = (hole.amplitude(np.array(BRIGHT) * scale, ON_AXIS) / hole.open_area_m2) ** 2
    assert rings == pytest.approx(HEIGHT, rel=1e-10)  # twelve digits are given


def _encircled(element: AnnulusElement | EllipseElement, scale: float, x: float) -> float:
    """Part of the energy within x, by quadrature of the engine's amplitude."""
    t, w = np.polynomial.legendre.leggauss(200)
    rho = x * scale * (t + 1) / 2
    power = np.abs(element.amplitude(rho, ON_AXIS)) ** 2
    return float(np.sum(w * power * 2 * math.pi * rho) * x * scale / 2 / element.open_area_m2)


@pytest.mark.parametrize(("x", "fraction"), list(zip(DARK, ENCIRCLED, strict=True)))
def test_energy_within_the_dark_rings(x: float, fraction: float) -> None:
    # Rayleigh 1881: 1 - J0^2 - J1^2; the quadrature is exact to rounding for so few rings
    assert _encircled(disc(1e-3), 1 / (math.pi * 1e-3), x) == pytest.approx(fraction, abs=1e-10)


@pytest.mark.parametrize(("ratio", "zero", "ring", "inside"), ANNULI)
def test_annulus(ratio: float, zero: float, ring: float, inside: float) -> None:
    outer = 3e-3
    element, scale = AnnulusElement(outer, ratio * outer), 1 / (math.pi * outer)
    peak = element.open_area_m2
    assert (
        abs(element.amplitude(np.array([zero * scale]), ON_AXIS)[0]) < 1e-11 * peak
    )  # digits given
    beyond = (element.amplitude(np.linspace(zero, 7, 4001) * scale, ON_AXIS) / peak) ** 2
    assert beyond.max() == pytest.approx(ring, rel=1e-5)  # 4,001 points miss the top by 1e-6
    assert _encircled(element, scale, zero) == pytest.approx(inside, abs=1e-8)  # digits given


def test_two_points_at_rayleigh_and_sparrow() -> None:
    def pair(separation: float, x: np.ndarray) -> np.ndarray:
        """Two equal incoherent points, `separation` in lambda / D."""
        shift = separation * math.pi / 2
        return airy(np.abs(x - shift)) ** 2 + airy(np.abs(x + shift)) ** 2

    middle = pair(1.21966989127, np.zeros(1))[0]
    assert middle == pytest.approx(0.735031662, abs=1e-9)  # digits given; the peaks are exactly 1
    h = 1e-2

    def bend(separation: float) -> float:
        left, centre, right = pair(separation, np.array([-h, 0.0, h]))
        return float((left - 2 * centre + right) / h**2)

    # Sparrow 1916: 0.947155252709 lambda / D; the second difference is right to h^2
    assert bend(0.946) < 0 < bend(0.9484)


def _triangle_quadrature(corners: tuple, u: float, v: float) -> complex:
    """Brute force: 60 x 60 Gauss points over each triangle of a fan from the first corner."""
    t, w = np.polynomial.legendre.leggauss(60)
    t, w = (t + 1) / 2, w / 2
    r, s = np.meshgrid(t, t, indexing="ij")
    total = 0.0 + 0.0j
    a = np.array(corners[0])
    for b, c in pairwise(corners[1:]):
        b, c = np.array(b), np.array(c)
        x = a[0] + r * ((b - a)[0] * (1 - s) + (c - a)[0] * s)
        y = a[1] + r * ((b - a)[1] * (1 - s) + (c - a)[1] * s)
        twice = (b - a)[0] * (c - a)[1] - (c - a)[0] * (b - a)[1]
        total += twice * np.sum(np.outer(w * t, w) * np.exp(-2j * np.pi * (u * x + v * y)))
    return complex(total)


SHAPES = {
    "triangle": ((0.0, 1.0), (-0.9, -0.5), (0.8, -0.6)),
    "hexagon": tuple((math.cos(k * math.pi / 3), math.sin(k * math.pi / 3)) for k in range(6)),
    "arrow, not convex": ((1.0, 0.0), (-0.8, 0.9), (-0.2, 0.0), (-0.8, -0.9)),
}


@pytest.mark.parametrize("name", SHAPES)
def test_polygons_against_brute_force(name: str) -> None:
    corners = SHAPES[name]
    random = np.random.default_rng(4)
    u, v = random.normal(size=(2, 60)) * 3
    u[:4], v[:4] = (0.0, 1e-9, 4e-3, 1.0), (0.0, 2e-9, 6e-3, 0.0)  # middle, and along the sides
    for k, (p, q) in enumerate(pairwise(corners), 4):
        d = np.subtract(q, p) / np.hypot(*np.subtract(q, p))
        u[k], v[k] = -2.5 * d[1], 2.5 * d[0]  # straight across a side
    found = PolygonElement(corners).amplitude(u, v)
    exact = [_triangle_quadrature(corners, a, b) for a, b in zip(u, v, strict=True)]
    assert np.abs(found - exact).max() < 2e-13  # of an area near 1: rounding of both


def test_polygon_of_many_sides_becomes_a_disc() -> None:
    round_, u, v = disc(2.0), np.linspace(0, 3, 50), np.full(50, 0.3)
    sides = PolygonElement(round_.outline())
    # 512 corners: the outline is off by (pi / 512)^2 / 3 of the radius
    assert np.abs(sides.amplitude(u, v) - round_.amplitude(u, v)).max() < 5e-5


def test_turned_ellipse_and_rectangle() -> None:
    u, v = np.random.default_rng(1).normal(size=(2, 40))
    for shape in (EllipseElement(1.6, 0.7, 0.5), RectangleElement(1.3, 0.6, -0.8)):
        many = PolygonElement(shape.outline())
        assert np.abs(many.amplitude(u, v) - shape.amplitude(u, v)).max() < 1e-4  # of round corners
    assert signed_area(RectangleElement(1.3, 0.6, -0.8).outline()) == pytest.approx(0.78, rel=1e-14)


def test_clip_keeps_what_lies_within() -> None:
    square, arrow = RectangleElement(1.0, 1.0).outline(), SHAPES["arrow, not convex"]
    assert signed_area(clip(SHAPES["hexagon"], square)) == pytest.approx(1.0, rel=1e-14)
    # Monte Carlo over the square, 1e6 points: four standard errors are 2e-3
    x, y = np.random.default_rng(2).random((2, 1_000_000)) - 0.5
    inside = np.zeros(x.size, dtype=bool)
    for (x0, y0), (x1, y1) in zip(arrow, arrow[1:] + arrow[:1], strict=True):
        crosses = (y0 <= y) != (y1 <= y)
        inside ^= crosses & (x < x0 + (y - y0) / (y1 - y0 + (y1 == y0)) * (x1 - x0))
    assert signed_area(clip(arrow, square)) == pytest.approx(inside.mean(), abs=2e-3)
    assert clip(((2.0, 2.0), (3.0, 2.0), (3.0, 3.0)), square) == ()


def test_babinet_hole_and_obstacle_differ_by_the_open_beam() -> None:
    hole = Group(disc(1e-3), np.array([2e-4]), np.array([-1e-4]), np.ones(1))
    beam = Group(disc(8e-3), np.zeros(1), np.zeros(1), np.ones(1))
    less = Group(hole.element, hole.x_m, hole.y_m, -hole.weight)
    u, v = np.random.default_rng(3).normal(size=(2, 100)) * 3e3
    through = plane_amplitude(PlaneAperture((hole,), None, 1.0), u, v)
    around = plane_amplitude(PlaneAperture((beam, less), None, 1.0), u, v)
    open_ = plane_amplitude(PlaneAperture((beam,), None, 1.0), u, v)
    # rounding of the open beam's amplitude
    assert np.abs(through + around - open_).max() < 1e-15 * disc(8e-3).open_area_m2
