"""Elements in the plane: holes whose far field is known in closed form.

    E(u, v) = integral of t(x, y) exp(-2 pi i (u x + v y)) dx dy   [m2]

with x, y from the element's own middle, u = (sin alpha + p) / lambda and v = q / lambda for
light that leaves under the direction cosines p and q.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np

from wavesim.aperture.plane.bessel import airy_of_square
from wavesim.aperture.plane.polygons import corner_radius, edge_sum, signed_area
from wavesim.arrays import Complexes, Floats

Corners = tuple[tuple[float, float], ...]
_ROUND_CORNERS = 512  # of the polygon that stands for a circle where a stop cuts it


@runtime_checkable
class PlaneElement(Protocol):
    """What the far field needs of an element in the plane."""

    @property
    def reach_m(self) -> tuple[float, float]:
        """Half widths of the upright rectangle about the middle that holds it [m]."""

    @property
    def open_area_m2(self) -> float:
        """Integral of |t|^2 [m2]."""

    @property
    def smallest_m(self) -> float:
        """Its smallest width [m], for the limits of a scalar theory."""

    def amplitude(self, u_per_m: Floats, v_per_m: Floats) -> Complexes | Floats:
        """E [m2] at frequencies of any shapes that broadcast."""

    def outline(self) -> Corners | None:
        """Corners [m], anticlockwise, of the hole (a circle by many); None where it has none."""


@dataclass(frozen=True)
class EllipseElement:
    """An elliptical hole (a disc where both axes are equal), turned anticlockwise.

    E = (pi / 4) a b 2 J1(s) / s,  s = pi sqrt((a u')^2 + (b v')^2), u', v' along its axes.
    Born & Wolf 8.5.2 (Airy 1835) for a = b; a linear change of scale for the rest.
    """

    width_m: float
    height_m: float
    turn_rad: float = 0.0

    @property
    def reach_m(self) -> tuple[float, float]:
        """Half widths of the rectangle that holds it [m]."""
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        a, b = self.width_m / 2, self.height_m / 2
        return math.hypot(a * c, b * s), math.hypot(a * s, b * c)

    @property
    def open_area_m2(self) -> float:
        """Its area [m2]."""
        return math.pi / 4 * self.width_m * self.height_m

    @property
    def smallest_m(self) -> float:
        """The shorter axis [m]."""
        return min(self.width_m, self.height_m)

    def amplitude(self, u_per_m: Floats, v_per_m: Floats) -> Floats:
        """E [m2]."""
        along, across = turned(u_per_m, v_per_m, self.turn_rad)
        square = (np.pi * self.width_m * along) ** 2 + (np.pi * self.height_m * across) ** 2
        found = airy_of_square(np.asarray(square, dtype=np.float64))
        found *= self.open_area_m2
        return found

    def outline(self) -> Corners:
        """512 corners of the polygon of the same area."""
        step = 2 * math.pi / _ROUND_CORNERS
        grow = math.sqrt(step / math.sin(step))
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        a, b = grow * self.width_m / 2, grow * self.height_m / 2
        raw = [(a * math.cos(j * step), b * math.sin(j * step)) for j in range(_ROUND_CORNERS)]
        return tuple((c * x - s * y, s * x + c * y) for x, y in raw)


def disc(diameter_m: float) -> EllipseElement:
    """A round hole."""
    return EllipseElement(diameter_m, diameter_m)


@dataclass(frozen=True)
class AnnulusElement:
    """A ring: the outer disc less the inner one. Born & Wolf 8.6.2."""

    outer_m: float
    inner_m: float

    @property
    def reach_m(self) -> tuple[float, float]:
        """The outer radius, twice [m]."""
        return self.outer_m / 2, self.outer_m / 2

    @property
    def open_area_m2(self) -> float:
        """Area of the ring [m2]."""
        return math.pi / 4 * (self.outer_m**2 - self.inner_m**2)

    @property
    def smallest_m(self) -> float:
        """Width of the ring [m]."""
        return (self.outer_m - self.inner_m) / 2

    def amplitude(self, u_per_m: Floats, v_per_m: Floats) -> Floats:
        """E [m2]."""
        outer = disc(self.outer_m).amplitude(u_per_m, v_per_m)
        return outer - disc(self.inner_m).amplitude(u_per_m, v_per_m)

    def outline(self) -> None:
        """None: two outlines."""
        return


@dataclass(frozen=True)
class RectangleElement:
    """A rectangular hole, turned anticlockwise: E = w h sinc(w u') sinc(h v')."""

    width_m: float
    height_m: float
    turn_rad: float = 0.0

    @property
    def reach_m(self) -> tuple[float, float]:
        """Half widths of the upright rectangle that holds it [m]."""
        c, s = abs(math.cos(self.turn_rad)), abs(math.sin(self.turn_rad))
        a, b = self.width_m / 2, self.height_m / 2
        return a * c + b * s, a * s + b * c

    @property
    def open_area_m2(self) -> float:
        """Its area [m2]."""
        return self.width_m * self.height_m

    @property
    def smallest_m(self) -> float:
        """The shorter side [m]."""
        return min(self.width_m, self.height_m)

    def amplitude(self, u_per_m: Floats, v_per_m: Floats) -> Floats:
        """E [m2]."""
        along, across = turned(u_per_m, v_per_m, self.turn_rad)
        both = np.sinc(self.width_m * along) * np.sinc(self.height_m * across)
        return np.asarray(self.open_area_m2 * both)

    def outline(self) -> Corners:
        """Its four corners."""
        a, b = self.width_m / 2, self.height_m / 2
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        raw = ((-a, -b), (a, -b), (a, b), (-a, b))
        return tuple((c * x - s * y, s * x + c * y) for x, y in raw)


@dataclass(frozen=True)
class PolygonElement:
    """A hole with straight sides, given by its corners [m], anticlockwise.

    E = (i / k^2) sum over sides (kx dy - ky dx) exp(-i k . m) sinc(k . d / 2 pi),  k = 2 pi (u, v),
    for sides d = (dx, dy) with middles m: the theorem of Gauss, exact for any simple polygon.
    Where k is so small that the sum cancels, Gauss-Legendre quadrature over the sides' triangles
    takes over. Checked against brute-force quadrature to 1e-12 (tests/test_plane_elements.py).
    """

    corners_m: Corners

    @property
    def reach_m(self) -> tuple[float, float]:
        """Largest |x| and |y| of the corners [m]."""
        xy = np.abs(np.array(self.corners_m))
        return float(xy[:, 0].max()), float(xy[:, 1].max())

    @property
    def open_area_m2(self) -> float:
        """Its area [m2]."""
        return signed_area(self.corners_m)

    @property
    def smallest_m(self) -> float:
        """Square root of the area or the radius of the corners, the less [m]."""
        return min(math.sqrt(self.open_area_m2), corner_radius(self.corners_m))

    def amplitude(self, u_per_m: Floats, v_per_m: Floats) -> Complexes:
        """E [m2]."""
        return edge_sum(self.corners_m, u_per_m, v_per_m)

    def outline(self) -> Corners:
        """Its corners."""
        return self.corners_m


@dataclass(frozen=True)
class GaussianBeam:
    """An open beam of amplitude exp(-(x/a)^2 - (y/b)^2), 2 a and 2 b its 1/e^2 widths.

    E = pi a b exp(-pi^2 (a^2 u^2 + b^2 v^2)). Met at alpha, a beam of diameter D has
    2 a = D / cos(alpha) and 2 b = D.
    """

    width_m: float
    height_m: float

    @property
    def reach_m(self) -> tuple[float, float]:
        """Three times a and b: 1e-8 of the irradiance [m]."""
        return 1.5 * self.width_m, 1.5 * self.height_m

    @property
    def open_area_m2(self) -> float:
        """pi a b / 2 [m2]."""
        return math.pi * self.width_m * self.height_m / 8

    @property
    def smallest_m(self) -> float:
        """The smaller width [m]."""
        return min(self.width_m, self.height_m)

    def amplitude(self, u_per_m: Floats, v_per_m: Floats) -> Floats:
        """E [m2]."""
        a, b = self.width_m / 2, self.height_m / 2
        square = np.square(a * np.asarray(u_per_m)) + np.square(b * np.asarray(v_per_m))
        return np.asarray(math.pi * a * b * np.exp(-(math.pi**2) * square))

    def outline(self) -> None:
        """None: it has no edge."""
        return


def turned(u: Floats, v: Floats, turn_rad: float) -> tuple[Floats, Floats]:
    """Frequencies along the axes of an element turned anticlockwise by `turn_rad`."""
    if turn_rad == 0.0:
        return np.asarray(u), np.asarray(v)
    c, s = math.cos(turn_rad), math.sin(turn_rad)
    return np.asarray(c * u + s * v), np.asarray(c * v - s * u)
