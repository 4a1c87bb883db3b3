"""Groove profiles, seen from where the light comes: y up, towards the light.

Each gives one period as a curve (for the coordinate-transformation and integral methods) or as
layers with vertical walls (for the modal method), all in periods.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.errors import LimitError
from wavesim.grooves.face import Curve
from wavesim.grooves.stack import StepProfile

_SHARP_RAD = math.radians(12)  # a measured profile turns by more only at a true edge
_NONE = np.empty(0, dtype=bool)
_MANY = 24  # sides of a measured profile beyond which it is drawn through by splines
_LEAST_CROSSING = 0.03  # sine of the angle between a facet and the direction of movement


@dataclass(frozen=True, eq=False)
class Relief:
    """One period of a curve.

    Attributes
    ----------
    curve : x, y and their derivatives by the parameter t, of period 1
    corner : (k,) parameters of the points where the slope jumps, ascending in [0, 1)
    sharp : (k,) which of them are edges, turned by more than 12 deg
    shear : s; moved along (s, 1) the curve covers the plane once
    speed : largest length of curve per parameter
    depth : height from valley to crest
    """

    curve: Curve
    corner: Floats
    sharp: NDArray[np.bool_]
    shear: float
    speed: float
    depth: float


class GrooveProfile(Protocol):
    """A groove."""

    @property
    def depth_m(self) -> float:
        """Height from valley to crest [m]."""

    def relief(self, pitch_m: float) -> Relief | None:
        """As a curve; None where walls on both sides are vertical."""

    def steps(self, pitch_m: float) -> StepProfile | None:
        """As steps with vertical walls; None where facets are inclined, or all is flat."""


@dataclass(frozen=True)
class Blazed:
    """Two facets: the large one rises with x by the facet angle, the back falls to the next.

    A facet angle below 0 turns the profile over. Light with alpha = facet angle falls along the
    normal of the large facet. The back may be vertical or undercut.
    """

    facet_angle_rad: float
    back_angle_rad: float
    pitch_m: float

    @property
    def depth_m(self) -> float:
        """pitch / (cot facet + cot back)."""
        a, b = abs(self.facet_angle_rad), self.back_angle_rad
        return self.pitch_m * math.sin(a) * math.sin(b) / math.sin(a + b)

    def relief(self, pitch_m: float) -> Relief:
        """A polygon of two sides."""
        a = abs(self.facet_angle_rad)
        width = self.depth_m / math.tan(a) / pitch_m if a else 0.5
        height = self.depth_m / pitch_m
        if self.facet_angle_rad < 0:
            return polygon(np.array([[0.0, height], [width, 0.0], [1.0, height]]))
        return polygon(np.array([[0.0, 0.0], [width, height], [1.0, 0.0]]))

    def steps(self, pitch_m: float) -> None:  # noqa: ARG002
        """Facets are inclined."""
        return


@dataclass(frozen=True)
class Sinusoidal:
    """y = (depth / 2) cos(2 pi x / pitch)."""

    depth_m: float

    def relief(self, pitch_m: float) -> Relief:
        """A smooth curve."""
        h = self.depth_m / pitch_m

        def at(t: Floats) -> tuple[Floats, Floats, Floats, Floats]:
            phase = 2 * np.pi * t
            return t, h / 2 * np.cos(phase), np.ones_like(t), -np.pi * h * np.sin(phase)

        return Relief(Curve(at), np.empty(0), _NONE, 0.0, math.hypot(1.0, math.pi * h), h)

    def steps(self, pitch_m: float) -> None:  # noqa: ARG002
        """A smooth curve has none."""
        return


@dataclass(frozen=True)
class Lamellar:
    """Ridges `duty` of the pitch wide, in the middle of the period, with vertical walls."""

    depth_m: float
    duty: float

    def relief(self, pitch_m: float) -> Relief | None:  # noqa: ARG002
        """Two vertical walls: no direction crosses both once."""
        flat = self.depth_m == 0 or self.duty in (0.0, 1.0)
        return _flat() if flat else None

    def steps(self, pitch_m: float) -> StepProfile | None:
        """One ridge."""
        if self.depth_m == 0 or self.duty in (0.0, 1.0):
            return None
        half = self.duty / 2
        wall = np.array([0.5 - half, 0.5 + half])
        return StepProfile(wall, np.array([self.depth_m / pitch_m, 0.0]))


@dataclass(frozen=True)
class Trapezoidal:
    """A ridge with a flat top and a flat bottom, each a fraction of the pitch, walls inclined."""

    depth_m: float
    top: float
    bottom: float

    def relief(self, pitch_m: float) -> Relief:
        """A polygon of four sides, the top in the middle of the period."""
        h, wall = self.depth_m / pitch_m, (1 - self.top - self.bottom) / 2
        a = self.bottom / 2
        points = [[a, 0.0], [a + wall, h], [a + wall + self.top, h], [1 - a, 0.0], [1 + a, 0.0]]
        return polygon(np.array(points))

    def steps(self, pitch_m: float) -> None:  # noqa: ARG002
        """Walls are inclined."""
        return


@dataclass(frozen=True)
class Staircase:
    """StepProfile of equal width at given heights."""

    height_m: tuple[float, ...]

    @property
    def depth_m(self) -> float:
        """From the lowest to the highest step."""
        return max(self.height_m) - min(self.height_m)

    def relief(self, pitch_m: float) -> Relief | None:  # noqa: ARG002
        """Vertical walls, rising and falling."""
        return _flat() if self.depth_m == 0 else None

    def steps(self, pitch_m: float) -> StepProfile | None:
        """A wall at every step."""
        if self.depth_m == 0:
            return None
        count = len(self.height_m)
        return StepProfile(np.arange(count) / count, np.array(self.height_m) / pitch_m)


@dataclass(frozen=True, eq=False)
class MeasuredProfile:
    """Measured heights at positions of one pitch, the last that of the first again.

    Up to 24 points are joined by straight lines; more by a cubic spline, which is interrupted
    at sharp edges (turned by more than 12 deg).
    """

    position_m: Floats
    height_m: Floats

    @property
    def depth_m(self) -> float:
        """From the lowest to the highest point."""
        return float(np.ptp(self.height_m))

    def relief(self, pitch_m: float) -> Relief:
        """A polygon, or splines between edges."""
        x, y = self.position_m / pitch_m, self.height_m / pitch_m
        if x.size <= _MANY + 1:
            return polygon(np.stack([x, y], axis=1))
        return _splined(x, y)

    def steps(self, pitch_m: float) -> None:  # noqa: ARG002
        """Treated as a curve."""
        return


def _flat() -> Relief:
    def at(t: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        zero = np.zeros_like(t)
        return t, zero, np.ones_like(t), zero

    return Relief(Curve(at), np.empty(0), _NONE, 0.0, 1.0, 0.0)


@dataclass(frozen=True, eq=False)
class _Polygon:
    """Straight sides between points (k + 1, 2); the last is the first plus (1, 0)."""

    point: Floats

    @cached_property
    def knot(self) -> Floats:
        """(k + 1,) parameter at the points: length of curve over the whole."""
        length = np.hypot(*np.diff(self.point, axis=0).T)
        return np.asarray(np.concatenate([[0.0], np.cumsum(length)]) / length.sum())

    def at(self, t: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        """Position and derivative at t."""
        turn = np.floor(t)
        knot = self.knot
        side = np.clip(np.searchsorted(knot, t - turn, side="right") - 1, 0, knot.size - 2)
        span = knot[side + 1] - knot[side]
        step = (self.point[side + 1] - self.point[side]) / span[..., None]
        point = self.point[side] + step * (t - turn - knot[side])[..., None]
        return point[..., 0] + turn, point[..., 1], step[..., 0], step[..., 1]


def polygon(point: Floats) -> Relief:
    """A closed polygon; points in line with their neighbours are left out.

    Raises
    ------
    LimitError
        The profile overhangs so that no straight movement crosses it once.
    """
    sides = np.diff(point, axis=0)
    angle = np.arctan2(sides[:, 1], sides[:, 0])
    if np.all(np.abs(sides[:, 1]) < 1e-12):
        return _flat()
    keep = np.flatnonzero(np.abs(angle - np.roll(angle, 1)) > 1e-9)
    start = point[keep]
    whole = _Polygon(np.vstack([start, start[0] + np.array([1.0, 0.0])]))
    total = float(np.hypot(*np.diff(whole.point, axis=0).T).sum())
    sharp = np.abs(_turned(angle))[keep] > _SHARP_RAD
    depth = float(np.ptp(point[:, 1]))
    return Relief(Curve(whole.at), whole.knot[:-1], sharp, _shear(angle), total, depth)


def _turned(angle: Floats) -> Floats:
    """(k,) [rad] how far the outline turns where each side begins."""
    return np.asarray(np.mod(angle - np.roll(angle, 1) + np.pi, 2 * np.pi) - np.pi)


def _splined(x: Floats, y: Floats) -> Relief:
    """Cubic splines between the sharp edges of a table of many points (x from 0 to 1)."""
    from scipy.interpolate import CubicSpline

    angle = np.arctan2(np.diff(y), np.diff(x))
    edge = np.flatnonzero(np.abs(_turned(angle)) > _SHARP_RAD)
    if edge.size == 0:
        pieces = [(0.0, 1.0, CubicSpline(x, np.append(y[:-1], y[0]), bc_type="periodic"))]
    else:
        first = int(edge[0])
        x2 = np.concatenate([x[first:-1], x[: first + 1] + 1.0])
        y2 = np.concatenate([y[first:-1], y[: first + 1]])
        cut = np.append(edge - first, x.size - 1)
        pieces = [
            (x2[a], x2[b], CubicSpline(x2[a : b + 1], y2[a : b + 1], bc_type="natural"))
            for a, b in pairwise(cut)
        ]
    start = np.array([a for a, _, _ in pieces])

    def at(t: Floats) -> tuple[Floats, Floats, Floats, Floats]:
        local = np.mod(t - start[0], 1.0) + start[0]
        which = np.clip(np.searchsorted(start, local, side="right") - 1, 0, start.size - 1)
        height, slope = np.zeros_like(t), np.zeros_like(t)
        for k, (_, _, curve) in enumerate(pieces):
            mine = which == k
            height[mine], slope[mine] = curve(local[mine]), curve(local[mine], 1)
        return t, height, np.ones_like(t), slope

    largest_slope = float(np.abs(np.concatenate([c(c.x, 1) for _, _, c in pieces])).max())
    corner = start if edge.size else np.empty(0)
    return Relief(
        Curve(at), corner, np.ones(corner.size, dtype=bool), 0.0, math.hypot(1.0, largest_slope),
        float(np.ptp(y)),
    )  # fmt: skip


def _shear(angle: Floats) -> float:
    """s of the direction that crosses the steepest sides, up and down, at equal angles.

    A direction at the angle w crosses a side at the angle a upwards if a < w < a + 180 deg.
    """
    lowest, highest = float(angle.max()), float(angle.min()) + math.pi
    if highest - lowest < 2 * math.asin(_LEAST_CROSSING):
        raise LimitError(
            "has an overhanging groove profile that no direction crosses only once",
            key="groove",
            expected="walls that are not parallel, or vertical walls (a binary profile)",
        )
    middle = (lowest + highest) / 2
    return 1 / math.tan(middle) if middle != math.pi / 2 else 0.0
