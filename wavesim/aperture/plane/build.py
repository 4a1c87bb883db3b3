"""From a scene's aperture in the plane to elements and places."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import numpy.typing as npt

from wavesim.aperture.elements import Floats
from wavesim.aperture.limits import of_small_elements
from wavesim.aperture.plane import elements as el
from wavesim.aperture.plane.groups import Group, PlaneAperture
from wavesim.aperture.plane.picture import lattice_of
from wavesim.aperture.plane.places import dot_diameters, mesh_places, scattered
from wavesim.aperture.plane.polygons import clip, corner_radius, signed_area
from wavesim.aperture.spread import chebyshev
from wavesim.errors import LimitError
from wavesim.scene import Bench, Scene
from wavesim.scene import planar as sh

Mask = npt.NDArray[np.bool_]

_HOLDS = "positions and shapes"
_MOST_CUT = 24  # elements cut exactly at a stop's edge; beyond, their middles decide
_SIZES = 7  # Chebyshev diameters: 1e-6 of the peak for a spread of 5 %, three rings out
_COVER_SEEN = 0.01  # part of the stop that dots cover from which overlaps are told
_NO_LIGHT = "a wider beam or stop, or elements nearer to the axis"


def build_plane(scene: Scene) -> PlaneAperture:
    """Elements at their places, behind the stop, with the illumination of the beam as weights.

    Raises
    ------
    LimitError
        No light gets through.
    TableError
        The picture cannot be read.
    """
    aperture, bench = scene.aperture, scene.bench
    if isinstance(aperture, sh.Picture):
        return _from_picture(aperture, scene)
    groups = _groups(aperture)
    notes: list[str] = []
    for stop in _stops(None if isinstance(aperture, sh.Dots) else aperture, bench):
        groups = _stopped(groups, stop, notes)  # dots keep to their own stop
    groups = [_weighted(g, bench) for g in groups]
    if isinstance(aperture, sh.Plane) and aperture.obstacle:
        groups = _in_open_beam(groups, aperture, bench)
    if not groups:
        raise LimitError("lets no light through", key="aperture", expected=_NO_LIGHT)
    if isinstance(aperture, sh.Dots):
        notes += _overlaps(aperture)
    area = _open_area(groups, aperture)
    smallest = min(g.element.smallest_m for g in groups)
    limits = (*notes, *of_small_elements(smallest, _HOLDS))
    return PlaneAperture(tuple(groups), None, area, limits)


def _overlaps(dots: sh.Dots) -> list[str]:
    """A sentence where dots placed at random come to lie on one another."""
    cover = dots.count * math.pi / 4 * dots.diameter_m**2 / dots.stop.area_m2
    if dots.min_distance_m >= dots.diameter_m or cover < _COVER_SEEN:
        return []
    return [
        f"dots cover {cover:.2g} of the stop and may overlap, and count twice where they do; "
        "min_distance keeps them apart"
    ]


def _from_picture(picture: sh.Picture, scene: Scene) -> PlaneAperture:
    """The lattice, with stop, beam and obstacle worked into its cells by their middles."""
    lattice = lattice_of(picture, Path(scene.folder))
    t = lattice.amplitude
    ny, nx = t.shape
    x = (np.arange(nx) - (nx - 1) / 2) * lattice.cell_m
    y = (np.arange(ny) - (ny - 1) / 2) * lattice.cell_m
    if picture.obstacle:
        np.subtract(1.0, t, out=t)
    for stop in _stops(picture, scene.bench):
        t *= stop.contains(x[None, :], y[:, None])
    beam = scene.bench.beam
    if beam is not None and beam.profile == "gaussian":
        r = beam.diameter_m / 2
        t *= np.exp(-((y / r) ** 2))[:, None].astype(np.float32)
        t *= np.exp(-((x / r) ** 2))[None, :].astype(np.float32)
    area = float(np.sum(np.square(t), dtype=np.float64)) * lattice.cell_m**2
    if area == 0.0:
        raise LimitError("lets no light through", key="aperture", expected=_NO_LIGHT)
    return PlaneAperture((), lattice, area, of_small_elements(lattice.cell_m, _HOLDS))


def element_of(shape: sh.Shape) -> el.PlaneElement:
    """The element that a shape of the scene describes."""
    match shape:
        case sh.DiscShape():
            return el.disc(shape.diameter_m)
        case sh.AnnulusShape():
            return el.Annulus(shape.outer_m, shape.inner_m)
        case sh.EllipseShape():
            return el.Ellipse(shape.width_m, shape.height_m, shape.turn_rad)
        case sh.RectangleShape():
            return el.Rectangle(shape.width_m, shape.height_m, shape.turn_rad)
        case sh.PolygonShape():
            return el.Polygon(tuple(shape.corners_m))


def _groups(aperture: object) -> list[Group]:
    if isinstance(aperture, sh.Mesh):
        turned = aperture.hole
        if hasattr(turned, "turn_rad"):
            turned = turned.model_copy(update={"turn_rad": turned.turn_rad + aperture.turn_rad})
        x, y = mesh_places(aperture)
        return [Group(element_of(turned), x, y, np.ones(x.size))] if x.size else []
    if isinstance(aperture, sh.Dots):
        return _dots(aperture)
    if isinstance(aperture, sh.Placed):
        x = np.array([p.x_m for p in aperture.places])
        y = np.array([p.y_m for p in aperture.places])
        return [Group(element_of(aperture), x, y, np.ones(x.size))]  # type: ignore[arg-type]
    raise LimitError("is not an aperture in the plane", key="aperture.kind")


def _dots(dots: sh.Dots) -> list[Group]:
    """Equal dots; or, with a spread, dots of Chebyshev diameters whose weights interpolate.

    E(k; D) is smooth in D, so E(k; D_j) = sum over nodes of L_n(D_j) E(k; D_n): seven transforms
    carry any number of diameters.
    """
    x, y = scattered(dots)
    if dots.spread == 0.0:
        return [Group(el.disc(dots.diameter_m), x, y, np.ones(x.size))]
    node, share = chebyshev(dot_diameters(dots), _SIZES)
    return [Group(el.disc(float(d)), x, y, w) for d, w in zip(node, share, strict=True)]


class _Edge:
    """A stop: round or rectangular, as an outline and a test."""

    half: tuple[float, ...]

    def __init__(self, stop: sh.Stop, tilt_rad: float = 0.0) -> None:
        narrow = math.cos(tilt_rad)  # a beam met at an angle covers more of the aperture
        if stop.diameter_m is not None:
            d = stop.diameter_m
            self.element: el.PlaneElement = el.Ellipse(d / narrow, d)
        else:
            self.element = el.Rectangle((stop.width_m or 0.0) / narrow, stop.height_m or 0.0)
        self.half = self.element.reach_m
        self.round = stop.diameter_m is not None

    def contains(self, x: Floats, y: Floats) -> Mask:
        """Whether places lie within."""
        return self._scaled(self.half, x, y)

    def away(self, x: Floats, y: Floats, reach: float) -> tuple[Mask, Mask]:
        """Whether elements of that radius lie wholly within, and wholly without."""
        without = ~self._scaled(tuple(h + reach for h in self.half), x, y)
        if min(self.half) <= reach:
            return np.zeros(x.shape, dtype=np.bool_), without
        return self._scaled(tuple(h - reach for h in self.half), x, y), without

    def _scaled(self, half: tuple[float, ...], x: Floats, y: Floats) -> Mask:
        a, b = x / half[0], y / half[1]
        inside = np.square(a) + np.square(b) <= 1 if self.round else np.maximum(abs(a), abs(b)) <= 1
        return np.asarray(inside)


def _stops(aperture: object, bench: Bench) -> list[_Edge]:
    stops = []
    stop = getattr(aperture, "stop", None)
    if stop is not None:
        stops.append(_Edge(stop))
    if bench.beam is not None and bench.beam.profile == "uniform":
        stops.append(_Edge(sh.Stop(diameter_m=bench.beam.diameter_m), bench.alpha_rad))
    return stops


def _stopped(groups: list[Group], stop: _Edge, notes: list[str]) -> list[Group]:
    """Elements within the stop; those on its edge cut as polygons, or by their middles."""
    kept: list[Group] = []
    for group in groups:
        reach = _radius(group.element)
        within, without = stop.away(group.x_m, group.y_m, reach)
        edge = ~within & ~without
        if np.count_nonzero(edge) > _MOST_CUT:
            kept += _part(group, stop.contains(group.x_m, group.y_m))
            notes.append(
                f"{np.count_nonzero(edge):,} elements lie near the stop's edge: each is kept "
                "whole where its middle lies within and left out where it does not"
            )
            continue
        kept += _part(group, within)
        for j in np.flatnonzero(edge):
            kept += _cut(_part(group, np.arange(group.x_m.size) == j)[0], stop)
    return kept


def _radius(element: el.PlaneElement) -> float:
    outline = element.outline()
    return corner_radius(outline) if outline else max(element.reach_m)


def _part(group: Group, chosen: Mask) -> list[Group]:
    if not chosen.any():
        return []
    return [Group(group.element, group.x_m[chosen], group.y_m[chosen], group.weight[chosen])]


def _cut(lone: Group, stop: _Edge) -> list[Group]:
    """What the stop leaves of one element: itself, a polygon, or nothing."""
    if isinstance(lone.element, el.Annulus):
        outer, inner = el.disc(lone.element.outer_m), el.disc(lone.element.inner_m)
        hole = Group(inner, lone.x_m, lone.y_m, -lone.weight) if lone.element.inner_m else None
        whole = Group(outer, lone.x_m, lone.y_m, lone.weight)
        return [part for g in (whole, hole) if g is not None for part in _cut(g, stop)]
    outline = lone.element.outline() or ()
    x, y = float(lone.x_m[0]), float(lone.y_m[0])
    edge = tuple((a - x, b - y) for a, b in stop.element.outline() or ())
    left = clip(outline, edge)
    area = signed_area(left) if len(left) > 2 else 0.0
    if area < 1e-12 * lone.element.open_area_m2:
        return []
    if area > (1 - 1e-12) * signed_area(outline):
        return [lone]
    if area > (1 - 1e-12) * signed_area(edge):
        here = np.zeros(1)
        return [Group(stop.element, here, here, lone.weight)]
    return [Group(el.Polygon(left), lone.x_m, lone.y_m, lone.weight)]


def _weighted(group: Group, bench: Bench) -> Group:
    """Amplitude of a Gaussian beam at each element's middle."""
    if bench.beam is None or bench.beam.profile != "gaussian":
        return group
    r = bench.beam.diameter_m / 2
    x = group.x_m * math.cos(bench.alpha_rad)
    weight = group.weight * np.exp(-(x**2 + group.y_m**2) / r**2)
    return Group(group.element, group.x_m, group.y_m, weight)


def _in_open_beam(groups: list[Group], aperture: sh.Plane, bench: Bench) -> list[Group]:
    """Babinet: the open beam less the elements."""
    origin = np.zeros(1)
    if bench.beam is not None and bench.beam.profile == "gaussian" and aperture.stop is None:
        opening: el.PlaneElement = el.GaussianBeam(bench.beam.diameter_m)
    else:
        edges = [s.element for s in _stops(aperture, bench)]
        opening = edges[0]
        for other in edges[1:]:
            opening = _common(opening, other)
    less = [Group(g.element, g.x_m, g.y_m, -g.weight) for g in groups]
    return [Group(opening, origin, origin, np.ones(1)), *less]


def _common(one: el.PlaneElement, two: el.PlaneElement) -> el.PlaneElement:
    """What two convex openings about the axis share."""
    a, b = one.outline() or (), two.outline() or ()
    shared = clip(a, b)
    for whole, corners in ((one, a), (two, b)):
        if signed_area(shared) > (1 - 1e-12) * signed_area(corners):
            return whole
    return el.Polygon(shared)


def _open_area(groups: list[Group], aperture: object) -> float:
    if isinstance(aperture, sh.Dots) and aperture.spread > 0:
        dots = float(np.sum(np.pi / 4 * dot_diameters(aperture) ** 2))
        return groups[0].element.open_area_m2 - dots if aperture.obstacle else dots
    return float(sum(g.element.open_area_m2 * np.sum(g.weight * np.abs(g.weight)) for g in groups))
