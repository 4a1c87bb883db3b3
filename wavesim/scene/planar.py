"""Apertures in the plane: single shapes, meshes, scattered dots, pictures."""

import math
from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import Field, model_validator

from wavesim.scene.base import Model
from wavesim.scene.quantities import (
    MOST_RULINGS,
    Angle,
    Count,
    Length,
    LengthOrZero,
    Offset,
    Plain,
    Quantity,
    Seed,
    show,
    validation_error,
)
from wavesim.scene.rules import SLACK, both_or_none, size_error
from wavesim.scene.source import FileName

if TYPE_CHECKING:
    from wavesim.scene.defect import Defect

MOST_CORNERS = 1000
JAMMED = 0.5  # random placing stalls at 0.547 of the area covered; common knowledge, from memory


class Point(Model):
    """A position in the aperture's plane."""

    x_m: Offset = Field(0.0, description="x, across the bench", examples=["1 mm"])
    y_m: Offset = Field(0.0, description="y, upwards", examples=["1 mm"])


class DiscShape(Model):
    """A round hole."""

    kind: Literal["disc"] = "disc"
    diameter_m: Length = Field(description="diameter", examples=["0.5 mm"])

    @property
    def area_m2(self) -> float:
        """Area of the element [m2]."""
        return math.pi / 4 * self.diameter_m**2


class AnnulusShape(Model):
    """A ring."""

    kind: Literal["annulus"] = "annulus"
    outer_m: Length = Field(description="outer diameter", examples=["2 mm"])
    inner_m: LengthOrZero = Field(description="inner diameter", examples=["1 mm"])

    @property
    def area_m2(self) -> float:
        """Area of the element [m2]."""
        return math.pi / 4 * (self.outer_m**2 - self.inner_m**2)

    @model_validator(mode="after")
    def _ring(self) -> Self:
        if self.inner_m >= self.outer_m:
            problem = "is not less than the outer diameter of"
            raise size_error("inner", self.inner_m, problem, self.outer_m, "less than outer")
        return self


class EllipseShape(Model):
    """An elliptical hole."""

    kind: Literal["ellipse"] = "ellipse"
    width_m: Length = Field(description="full axis along x, before rotation", examples=["2 mm"])
    height_m: Length = Field(description="full axis along y, before rotation", examples=["1 mm"])
    turn_rad: Angle = Field(0.0, description="rotation, anticlockwise", examples=["30 deg"])

    @property
    def area_m2(self) -> float:
        """Area of the element [m2]."""
        return math.pi / 4 * self.width_m * self.height_m


class RectangleShape(Model):
    """A rectangular hole."""

    kind: Literal["rectangle"] = "rectangle"
    width_m: Length = Field(description="side along x, before rotation", examples=["2 mm"])
    height_m: Length = Field(description="side along y, before rotation", examples=["1 mm"])
    turn_rad: Angle = Field(0.0, description="rotation, anticlockwise", examples=["30 deg"])

    @property
    def area_m2(self) -> float:
        """Area of the element [m2]."""
        return self.width_m * self.height_m


class PolygonShape(Model):
    """A regular polygon (sides and radius) or one given by its corners."""

    kind: Literal["polygon"] = "polygon"
    sides: Annotated[int, Plain(3, MOST_CORNERS, whole=True)] | None = Field(
        None, description="number of sides of a regular polygon", examples=[6]
    )
    radius_m: Length | None = Field(
        None, description="distance of the corners from the centre", examples=["1 mm"]
    )
    points: tuple[Point, ...] | None = Field(
        None,
        description="corners in order, instead of sides and radius",
        examples=[
            [{"x": "-1 mm", "y": "0 mm"}, {"x": "1 mm", "y": "0 mm"}, {"x": "0 mm", "y": "2 mm"}]
        ],
        min_length=3,
        max_length=MOST_CORNERS,
    )
    turn_rad: Angle = Field(
        0.0,
        description="rotation, anticlockwise; at zero the first corner of a regular polygon "
        "points up",
        examples=["30 deg"],
    )

    @property
    def corners_m(self) -> tuple[tuple[float, float], ...]:
        """Corners (x, y) [m], turned, anticlockwise."""
        if self.points is not None:
            raw = [(p.x_m, p.y_m) for p in self.points]
            raw = raw if _signed_area(raw) > 0 else raw[::-1]
        else:
            sides, radius = self.sides or 0, self.radius_m or 0.0
            angles = [math.pi / 2 + 2 * math.pi * j / sides for j in range(sides)]
            raw = [(radius * math.cos(t), radius * math.sin(t)) for t in angles]
        c, s = math.cos(self.turn_rad), math.sin(self.turn_rad)
        return tuple((c * x - s * y, s * x + c * y) for x, y in raw)

    @property
    def area_m2(self) -> float:
        """Area of the element [m2]."""
        return _signed_area(list(self.corners_m))

    @model_validator(mode="after")
    def _regular_or_listed(self) -> Self:
        for key, value in (("sides", self.sides), ("radius", self.radius_m)):
            if value is None and self.points is None:
                raise validation_error(
                    "is missing: a polygon has sides and radius, or points",
                    key=key,
                    expected='sides = 6 and radius = "1 mm"',
                )
            if value is not None and self.points is not None:
                raise validation_error(
                    "cannot be combined with points",
                    key=key,
                    expected="sides and radius, or points",
                )
        if self.points is not None:
            _check_simple([(p.x_m, p.y_m) for p in self.points])
        return self


def _signed_area(corners: list[tuple[float, float]]) -> float:
    ahead = corners[1:] + corners[:1]
    return (
        math.fsum(x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(corners, ahead, strict=True)) / 2
    )


def _check_simple(corners: list[tuple[float, float]]) -> None:
    size = max(max(abs(x), abs(y)) for x, y in corners)
    if abs(_signed_area(corners)) <= 1e-12 * size**2:
        raise validation_error(
            "enclose no area", key="points", expected="corners in order around a hole"
        )
    sides = list(zip(corners, corners[1:] + corners[:1], strict=True))
    for j, first in enumerate(sides):
        for k in range(j + 2, len(sides) - (j == 0)):
            if _cross(*first, *sides[k]):
                raise validation_error(
                    f"make sides {j + 1} and {k + 1} cross",
                    key="points",
                    expected="corners in order around a hole",
                )


_Corner = tuple[float, float]


def _cross(a: _Corner, b: _Corner, c: _Corner, d: _Corner) -> bool:
    return _left(a, b, c) != _left(a, b, d) and _left(c, d, a) != _left(c, d, b)


def _left(a: _Corner, b: _Corner, c: _Corner) -> bool:
    return (b[0] - a[0]) * (c[1] - a[1]) > (b[1] - a[1]) * (c[0] - a[0])


Shape = Annotated[
    DiscShape | AnnulusShape | EllipseShape | RectangleShape | PolygonShape,
    Field(discriminator="kind"),
]


class Stop(Model):
    """A stop over the aperture: round (diameter) or rectangular (width and height)."""

    diameter_m: Length | None = Field(
        None, description="diameter of a round stop", examples=["10 mm"]
    )
    width_m: Length | None = Field(
        None, description="width of a rectangular stop", examples=["10 mm"]
    )
    height_m: Length | None = Field(
        None, description="height of a rectangular stop", examples=["10 mm"]
    )

    @property
    def area_m2(self) -> float:
        """Clear area [m2]."""
        if self.diameter_m is not None:
            return math.pi / 4 * self.diameter_m**2
        return (self.width_m or 0.0) * (self.height_m or 0.0)

    @model_validator(mode="after")
    def _round_or_not(self) -> Self:
        sides = [side for side in (self.width_m, self.height_m) if side is not None]
        if len(sides) != (2 if self.diameter_m is None else 0):
            raise validation_error(
                "is round or rectangular", expected='{ diameter = "10 mm" }, or width and height'
            )
        return self


class Plane(Model):
    """Keys common to all apertures in the plane."""

    obstacle: bool = Field(
        False,
        strict=True,
        description="opaque obstacle in an open beam instead of an opening in a screen",
    )
    stop: Stop | None = Field(
        None, description="stop over the aperture", examples=[{"diameter": "10 mm"}]
    )

    @property
    def defects(self) -> "tuple[Defect, ...]":
        """None: defects belong to rulings."""
        return ()

    @property
    def mean_pitch_m(self) -> None:
        """None: no rulings."""
        return None


def _on_axis() -> tuple[Point, ...]:
    return (Point(),)


class Placed(Plane):
    """An element at one place or at several."""

    places: tuple[Point, ...] = Field(
        default_factory=_on_axis,
        description="positions of the element's centre; default one, on the axis",
        examples=[[{"x": "-1 mm"}, {"x": "1 mm"}]],
        min_length=1,
        max_length=100_000,
    )


class Disc(Placed, DiscShape):
    """Round holes or round obstacles."""


class Annulus(Placed, AnnulusShape):
    """Rings."""


class Ellipse(Placed, EllipseShape):
    """Elliptical holes or obstacles."""


class Rectangle(Placed, RectangleShape):
    """Rectangular holes or obstacles."""


class Polygon(Placed, PolygonShape):
    """Polygonal holes or obstacles."""


class Mesh(Plane):
    """Holes on a lattice: gauze, crossed gratings. The lattice is centred on the axis."""

    kind: Literal["mesh"] = "mesh"
    hole: Shape = Field(
        description="one hole of the mesh",
        examples=[{"kind": "rectangle", "width": "40 um", "height": "40 um"}],
    )
    count_x: Count = Field(description="number of columns of holes", examples=[50])
    count_y: Count = Field(description="number of rows of holes", examples=[50])
    pitch_x_m: Length = Field(description="spacing of the columns", examples=["90 um"])
    pitch_y_m: Length | None = Field(
        None, description="spacing of the rows; default pitch_x", examples=["90 um"]
    )
    angle_rad: Annotated[float, Quantity("angle", "90 deg", 0.05, math.pi - 0.05)] = Field(
        math.pi / 2, description="angle between rows and columns", examples=["60 deg"]
    )
    turn_rad: Angle = Field(0.0, description="rotation of the whole mesh", examples=["30 deg"])
    jitter_m: LengthOrZero = Field(
        0.0, description="rms random displacement of a hole, along x and along y", examples=["1 um"]
    )
    missing: Annotated[float, Plain(0.0, 1.0)] = Field(
        0.0, description="fraction of the holes missing, at random", examples=[0.01]
    )
    seed: Seed = 0

    @property
    def resolved_pitch_y_m(self) -> float:
        """Distance of the rows [m]."""
        return self.pitch_x_m if self.pitch_y_m is None else self.pitch_y_m

    @model_validator(mode="after")
    def _size(self) -> Self:
        if self.count_x * self.count_y > MOST_RULINGS:
            raise validation_error(
                f"makes {self.count_x * self.count_y:,} holes",
                key="count_y",
                expected=f"at most {MOST_RULINGS:,} holes",
            )
        cell = self.pitch_x_m * self.resolved_pitch_y_m * math.sin(self.angle_rad)
        if self.hole.area_m2 > cell * (1 + SLACK):
            raise validation_error(
                "is larger than its cell of the mesh",
                key="hole",
                expected="a hole smaller than pitch_x by pitch_y",
            )
        return self


class Dots(Plane):
    """Equal discs scattered at random over a stop: powder on glass, pinholes."""

    kind: Literal["dots"] = "dots"
    count: Count = Field(description="number of dots", examples=[2000])
    diameter_m: Length = Field(description="diameter of a dot", examples=["30 um"])
    stop: Stop = Field(
        description="stop within which the dots lie", examples=[{"diameter": "10 mm"}]
    )
    spread: Annotated[float, Plain(0.0, 0.5)] = Field(
        0.0, description="relative rms spread of the diameters", examples=[0.1]
    )
    min_distance_m: LengthOrZero = Field(
        0.0, description="least distance between two centres; zero lets dots overlap",
        examples=["30 um"],
    )  # fmt: skip
    seed: Seed = 0

    @model_validator(mode="after")
    def _room(self) -> Self:
        cover = self.count * math.pi / 4 * self.min_distance_m**2 / self.stop.area_m2
        if cover > JAMMED:
            raise validation_error(
                f"covers {cover:.2g} of the area of the stop with dots of this diameter, too dense "
                "to place at random",
                key="min_distance",
                value=show(self.min_distance_m, "length"),
                expected=f"at most {JAMMED:g} of it: fewer dots, a smaller min_distance or a "
                "larger stop",
            )
        return self


class Picture(Plane):
    """A grey picture as transmittance, one cell for every pixel; white is clear."""

    kind: Literal["picture"] = "picture"
    file: FileName = Field(
        description="PNG file, relative to the scene file", examples=["mask.png"]
    )
    cell_m: Length = Field(
        description="side of one picture pixel in the aperture", examples=["10 um"]
    )
    invert: bool = Field(False, strict=True, description="black is clear instead of white")
    phase_file: FileName | None = Field(
        None,
        description="PNG file of the same size whose grey values give the phase",
        examples=["phase.png"],
    )
    phase_depth_m: Offset | None = Field(
        None, description="optical path added by white in phase_file", examples=["550 nm"]
    )

    @model_validator(mode="after")
    def _phase(self) -> Self:
        both_or_none(
            {"phase_file": self.phase_file, "phase_depth": self.phase_depth_m},
            'phase_file = "phase.png" and phase_depth = "550 nm"',
        )
        return self
