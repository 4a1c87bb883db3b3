"""From a scene's aperture in the plane to elements and positions."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from wavesim.aperture.illumination import BeamProfile, beam_of
from wavesim.aperture.limits import FARTHEST_M, of_small_elements
from wavesim.aperture.plane import elements as el
from wavesim.aperture.plane.fading import fade, faded, fades_across
from wavesim.aperture.plane.groups import Group, PlaneAperture, radius_of
from wavesim.aperture.plane.overlaps import refuse_overlaps
from wavesim.aperture.plane.picture import lattice_of
from wavesim.aperture.plane.polygons import clip, signed_area
from wavesim.aperture.plane.positions import dot_diameters, mesh_positions, scattered
from wavesim.aperture.spread import chebyshev
from wavesim.arrays import Flags, Floats
from wavesim.errors import LimitError
from wavesim.scene import Scene
from wavesim.scene import planar as sh

_HOLDS = "positions and shapes"
_MOST_CUT = 24  # elements cut exactly at a stop's edge; beyond, their middles decide
_SIZES = 7  # Chebyshev diameters: 1e-6 of the peak for a spread of 5 %, three rings out
_NO_LIGHT = "a wider beam or stop, or elements nearer to the axis"


def build_plane(scene: Scene) -> PlaneAperture:
    """Elements at their positions, behind the stop, with the illumination of the beam as weights.

    Raises
    ------
    LimitError
        No light gets through, or it reaches farther than any bench.
    TableError
        The picture cannot be read.
    """
    built = _built(scene)
    if not max(map(abs, built.box_m)) <= FARTHEST_M:  # nor NaN
        raise LimitError(
            f"has holes as far as {max(map(abs, built.box_m)):.3g} m from the axis",
            key="aperture",
            expected=f"holes within {FARTHEST_M:g} m; check the units of sizes and places",
        )
    return built


def _built(scene: Scene) -> PlaneAperture:
    aperture, beam = scene.aperture, beam_of(scene.bench)
    if isinstance(aperture, sh.Picture):
        return _from_picture(aperture, scene)
    groups = _groups(aperture)
    notes = refuse_overlaps(groups, aperture)
    for stop in _stops(None if isinstance(aperture, sh.Dots) else aperture, beam):
        groups = _stopped(groups, stop, notes)  # dots keep to their own stop
    obstacle = isinstance(aperture, sh.Plane) and aperture.obstacle
    opening = _open_beam(aperture, beam) if obstacle else []
    if not groups and not opening:
        raise LimitError("lets no light through", key="aperture", expected=_NO_LIGHT)
    smallest = min(g.element.smallest_m for g in [*opening, *groups])
    limits = (*notes, *of_small_elements(smallest, _HOLDS))
    if beam.gaussian and fades_across([*opening, *groups], beam):
        return faded(groups, opening, scene, limits)
    groups = [_weighted(g, beam) for g in groups]
    groups = [*opening, *(replace(g, weight=-g.weight) for g in groups)] if obstacle else groups
    return PlaneAperture(tuple(groups), None, _open_area(groups, aperture), limits)


def _from_picture(picture: sh.Picture, scene: Scene) -> PlaneAperture:
    """The lattice, with stop, beam and obstacle worked into its cells by their middles."""
    lattice = lattice_of(picture, Path(scene.folder))
    t = lattice.amplitude
    ny, nx = t.shape
    x = (np.arange(nx) - (nx - 1) / 2) * lattice.cell_m
    y = (np.arange(ny) - (ny - 1) / 2) * lattice.cell_m
    if picture.obstacle:
        np.subtract(1.0, t, out=t)
    beam = beam_of(scene.bench)
    for stop in _stops(picture, beam):
        t *= stop.contains(x[None, :], y[:, None])
    fade(t, x, y, beam)
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
            return el.AnnulusElement(shape.outer_m, shape.inner_m)
        case sh.EllipseShape():
            return el.EllipseElement(shape.width_m, shape.height_m, shape.turn_rad)
        case sh.RectangleShape():
            return el.RectangleElement(shape.width_m, shape.height_m, shape.turn_rad)
        case sh.PolygonShape():
            return el.PolygonElement(tuple(shape.corners_m))


def _groups(aperture: object) -> list[Group]:
    if isinstance(aperture, sh.Mesh):
        turned = aperture.hole
        if hasattr(turned, "turn_rad"):
            turned = turned.model_copy(update={"turn_rad": turned.turn_rad + aperture.turn_rad})
        x, y = mesh_positions(aperture)
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
    node, weight = chebyshev(dot_diameters(dots), _SIZES)
    return [Group(el.disc(float(d)), x, y, w) for d, w in zip(node, weight, strict=True)]


class _Edge:
    """A stop: round or rectangular, as an outline and a test."""

    half: tuple[float, ...]

    def __init__(self, element: el.EllipseElement | el.RectangleElement) -> None:
        self.element: el.PlaneElement = element
        self.half = element.reach_m
        self.round = isinstance(element, el.EllipseElement)

    def contains(self, x: Floats, y: Floats) -> Flags:
        """Whether positions lie within."""
        return self._scaled(self.half, x, y)

    def away(self, x: Floats, y: Floats, reach: float) -> tuple[Flags, Flags]:
        """Whether elements of that radius lie wholly within, and wholly without."""
        without = ~self._scaled(tuple(h + reach for h in self.half), x, y)
        if min(self.half) <= reach:
            return np.zeros(x.shape, dtype=np.bool_), without
        return self._scaled(tuple(h - reach for h in self.half), x, y), without

    def _scaled(self, half: tuple[float, ...], x: Floats, y: Floats) -> Flags:
        a, b = x / half[0], y / half[1]
        inside = np.square(a) + np.square(b) <= 1 if self.round else np.maximum(abs(a), abs(b)) <= 1
        return np.asarray(inside)


def _stops(aperture: object, beam: BeamProfile) -> list[_Edge]:
    stops = []
    stop: sh.Stop | None = getattr(aperture, "stop", None)
    if stop is not None and stop.diameter_m is not None:
        stops.append(_Edge(el.disc(stop.diameter_m)))
    elif stop is not None:
        stops.append(_Edge(el.RectangleElement(stop.width_m or 0.0, stop.height_m or 0.0)))
    if beam.round_edge:
        a, b = beam.half_axes_m
        stops.append(_Edge(el.EllipseElement(2 * a, 2 * b)))
    return stops


def _stopped(groups: list[Group], stop: _Edge, notes: list[str]) -> list[Group]:
    """Elements within the stop; those on its edge cut as polygons, or by their middles."""
    left: list[Group] = []
    for group in groups:
        reach = radius_of(group.element)
        within, without = stop.away(group.x_m, group.y_m, reach)
        edge = ~within & ~without
        if np.count_nonzero(edge) > _MOST_CUT:
            left += _part(group, stop.contains(group.x_m, group.y_m))
            notes.append(
                f"{np.count_nonzero(edge):,} elements lie across the edge of the stop: each is "
                "kept whole if its centre is inside and omitted if not"
            )
            continue
        left += _part(group, within)
        for j in np.flatnonzero(edge):
            left += _cut(_part(group, np.arange(group.x_m.size) == j)[0], stop)
    return left


def _part(group: Group, chosen: Flags) -> list[Group]:
    if not chosen.any():
        return []
    return [Group(group.element, group.x_m[chosen], group.y_m[chosen], group.weight[chosen])]


def _cut(single: Group, stop: _Edge) -> list[Group]:
    """What the stop leaves of one element: itself, a polygon, or nothing."""
    if isinstance(single.element, el.AnnulusElement):
        outer, inner = el.disc(single.element.outer_m), el.disc(single.element.inner_m)
        hole = (
            Group(inner, single.x_m, single.y_m, -single.weight) if single.element.inner_m else None
        )
        whole = Group(outer, single.x_m, single.y_m, single.weight)
        return [part for g in (whole, hole) if g is not None for part in _cut(g, stop)]
    outline = single.element.outline() or ()
    x, y = float(single.x_m[0]), float(single.y_m[0])
    edge = tuple((a - x, b - y) for a, b in stop.element.outline() or ())
    left = clip(outline, edge)
    area = signed_area(left) if len(left) > 2 else 0.0
    if area < 1e-12 * single.element.open_area_m2:
        return []
    if area > (1 - 1e-12) * signed_area(outline):
        return [single]
    if area > (1 - 1e-12) * signed_area(edge):
        origin = np.zeros(1)
        return [Group(stop.element, origin, origin, single.weight)]
    return [Group(el.PolygonElement(left), single.x_m, single.y_m, single.weight)]


def _weighted(group: Group, beam: BeamProfile) -> Group:
    """Amplitude of a Gaussian beam at each element's middle."""
    if not beam.gaussian:
        return group
    return replace(group, weight=group.weight * beam.amplitude(group.x_m, group.y_m))


def _open_beam(aperture: object, beam: BeamProfile) -> list[Group]:
    """The open beam in which obstacles stand (Babinet): within stops and a round edge, or Gaussian
    without a stop."""
    origin = np.zeros(1)
    edges = [edge.element for edge in _stops(aperture, beam)]
    if not edges:
        a, b = beam.half_axes_m
        return [Group(el.GaussianBeam(2 * a, 2 * b), origin, origin, np.ones(1))]
    opening = edges[0]
    for other in edges[1:]:
        opening = _common(opening, other)
    return [Group(opening, origin, origin, np.ones(1))]


def _common(first: el.PlaneElement, second: el.PlaneElement) -> el.PlaneElement:
    """What two convex openings about the axis share."""
    a, b = first.outline() or (), second.outline() or ()
    shared = clip(a, b)
    for whole, corners in ((first, a), (second, b)):
        if signed_area(shared) > (1 - 1e-12) * signed_area(corners):
            return whole
    return el.PolygonElement(shared)


def _open_area(groups: list[Group], aperture: object) -> float:
    if isinstance(aperture, sh.Dots) and aperture.spread > 0:
        dots = float(np.sum(np.pi / 4 * dot_diameters(aperture) ** 2))
        return groups[0].element.open_area_m2 - dots if aperture.obstacle else dots
    return float(sum(g.element.open_area_m2 * np.sum(g.weight * np.abs(g.weight)) for g in groups))
