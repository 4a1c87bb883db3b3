"""Openings that overlap: refused where they are listed, reported where they are drawn at random.

The field behind overlapping openings is that of their union; elements that are added up would
count the shared part twice, and send more light than they get.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from wavesim.aperture.plane import elements as el
from wavesim.aperture.plane.groups import Group, radius_of
from wavesim.arrays import Floats, Indices
from wavesim.errors import LimitError
from wavesim.scene import planar as sh
from wavesim.text import counted

_SLACK = 1e-9  # of an element: touching is not overlapping
_COVER = 0.01  # fraction of the stop that dots cover from which overlaps are reported
_FEW = 1000  # positions whose pairs are all looked at
_MOST_PAIRS = 2_000_000


def refuse_overlaps(groups: list[Group], aperture: object) -> list[str]:
    """Sentences about elements that overlap by chance; those placed by hand must not.

    Raises
    ------
    LimitError
        Listed elements, or the holes of an even mesh, overlap.
    """
    if isinstance(aperture, sh.Dots):
        return _dots(aperture)
    if not groups or groups[0].x_m.size < 2:
        return []
    if isinstance(aperture, sh.Mesh):
        return _mesh(groups[0], aperture)
    found = overlapping(groups[0])
    if found:
        first, second = found[0]
        x, y = groups[0].x_m, groups[0].y_m
        raise LimitError(
            f"overlaps the one at x = {_mm(x[first])}, y = {_mm(y[first])}",
            key=f"aperture.places[{second}]",
            value=f"x = {_mm(x[second])}, y = {_mm(y[second])}",
            expected="positions farther apart",
        )
    return []


def _mesh(group: Group, mesh: sh.Mesh) -> list[str]:
    if mesh.jitter_m > 0:
        found = len(overlapping(group))
        text = (
            f"{counted(found, 'pair')} of holes overlapping because of the jitter: where they "
            "overlap, light counts twice"
        )
        return [text] if found else []
    i, j = np.meshgrid(np.arange(3.0), np.arange(-2.0, 3.0))
    i, j = i.ravel(), j.ravel()
    inside = (np.abs(i) < mesh.count_x) & (np.abs(j) < mesh.count_y) & ((i > 0) | (j > 0))
    slant, pitch_y = mesh.angle_rad, mesh.resolved_pitch_y_m
    x, y = i * mesh.pitch_x_m + j * pitch_y * math.cos(slant), j * pitch_y * math.sin(slant)
    c, s = math.cos(mesh.turn_rad), math.sin(mesh.turn_rad)
    if np.any(_meet(group.element, c * x - s * y, s * x + c * y) & inside):
        raise LimitError(
            "overlaps its neighbours", key="aperture.hole",
            expected="a hole narrower than the distance to the next, along rows and columns",
        )  # fmt: skip
    return []


def _mm(length_m: float) -> str:
    return f"{length_m * 1e3:.6g} mm"


def _dots(dots: sh.Dots) -> list[str]:
    cover = dots.count * math.pi / 4 * dots.diameter_m**2 / dots.stop.area_m2
    if dots.min_distance_m >= dots.diameter_m or cover < _COVER:
        return []
    return [
        f"the dots cover {cover:.2g} of the area of the stop and may overlap; where they do, "
        "light counts twice. min_distance keeps them apart"
    ]


def overlapping(group: Group) -> list[tuple[int, int]]:
    """Pairs (first, second) of equal elements that overlap, two million at most.

    Cost: a tree of the positions, and every pair nearer than an element's diameter.
    """
    points = np.column_stack([group.x_m, group.y_m])
    reach = 2 * radius_of(group.element) * (1 - _SLACK)
    pairs = _close(points, reach)
    shift = points[pairs[:, 1]] - points[pairs[:, 0]]
    hit = pairs[_meet(group.element, shift[:, 0], shift[:, 1])]
    order = np.lexsort((hit[:, 0], hit[:, 1]))
    return [(int(a), int(b)) for a, b in hit[order]]


def _close(points: Floats, reach: float) -> Indices:
    """(n, 2) pairs of points (m, 2) nearer than `reach`, by a tree where there are many."""
    if points.shape[0] <= _FEW:
        first, second = np.triu_indices(points.shape[0], 1)
        near = np.hypot(*(points[second] - points[first]).T) < reach
        return np.column_stack([first[near], second[near]])
    order = np.lexsort((points[:, 1], points[:, 0]))
    same = np.flatnonzero((np.diff(points[order], axis=0) == 0).all(axis=1))
    if same.size:  # a tree of equal points is slow, and one pair is enough
        return np.sort([[order[same[0]], order[same[0] + 1]]], axis=1)
    from scipy.spatial import cKDTree

    tree = cKDTree(points)
    away, neighbour = tree.query(points, k=2, distance_upper_bound=reach)
    close = np.flatnonzero(np.isfinite(away[:, 1]))
    if close.size and int(tree.count_neighbors(tree, reach)) - points.shape[0] > 2 * _MOST_PAIRS:
        pairs = np.column_stack([close, neighbour[close, 1]])  # crowded: the nearest will do
    else:
        pairs = tree.query_pairs(reach, output_type="ndarray")
    return np.asarray(np.sort(pairs, axis=1), dtype=np.intp).reshape(-1, 2)


def _meet(element: el.PlaneElement, dx: Floats, dy: Floats) -> npt.NDArray[np.bool_]:
    """Whether an element and itself displaced share an area."""
    less = 1 - _SLACK
    if isinstance(element, el.AnnulusElement):
        return np.asarray(np.hypot(dx, dy) < element.outer_m * less)
    if isinstance(element, el.EllipseElement | el.RectangleElement):
        along, across = el.turned(dx, dy, element.turn_rad)
        a, b = np.abs(along) / element.width_m, np.abs(across) / element.height_m
        if isinstance(element, el.EllipseElement):
            return np.asarray(np.hypot(a, b) < less)
        return np.asarray(np.maximum(a, b) < less)
    corners = np.array(element.outline() or ())
    return _outlines_meet(corners, np.column_stack([dx, dy]))


def _outlines_meet(corners: Floats, shift: Floats) -> npt.NDArray[np.bool_]:
    """The same for polygons, one after the other; nearer than their inner circle they must."""
    inner = 2 * _inner_radius(corners)
    found = np.hypot(*shift.T) < inner * (1 - _SLACK)
    for k in np.flatnonzero(~found) if not found.any() else ():
        found[k] = _overlap(corners, corners + shift[k])
    return np.asarray(found)


def _inner_radius(corners: Floats) -> float:
    """Radius of the circle about an outline's origin within it; 0 where the origin lies outside."""
    if not _holds(corners, np.zeros((1, 2)), 0.0):
        return 0.0
    side = np.roll(corners, -1, axis=0) - corners
    along = np.clip(-np.sum(corners * side, axis=1) / np.sum(side**2, axis=1), 0.0, 1.0)
    return float(np.hypot(*(corners + along[:, None] * side).T).min())


def _overlap(first: Floats, second: Floats) -> bool:
    """Whether two outlines of equal area cross, or one holds the middle of a side of the other."""
    a, b = first[:, None], np.roll(first, -1, axis=0)[:, None]
    c, d = second[None], np.roll(second, -1, axis=0)[None]
    slack = _SLACK * float(np.ptp(first)) ** 2
    apart = _left(a, b, c, slack) * _left(a, b, d, slack) < 0
    if np.any(apart & (_left(c, d, a, slack) * _left(c, d, b, slack) < 0)):
        return True
    return _holds(first, (c + d)[0] / 2, slack) or _holds(second, (a + b)[:, 0] / 2, slack)


def _holds(outline: Floats, points: Floats, slack: float) -> bool:
    """Whether any point (n, 2) lies inside the outline and not on its sides."""
    a, b, p = outline[:, None], np.roll(outline, -1, axis=0)[:, None], points[None]
    side = _left(a, b, p, slack)
    between = (a[..., 1] <= p[..., 1]) != (b[..., 1] <= p[..., 1])
    along = np.sum((p - a) * (b - a), axis=-1)
    on_side = (side == 0) & (along >= 0) & (along <= np.sum((b - a) ** 2, axis=-1))
    crossings = between & (side * np.sign(b[..., 1] - a[..., 1]) < 0)
    inside = (np.count_nonzero(crossings, axis=0) % 2 == 1) & ~on_side.any(axis=0)
    return bool(inside.any())


def _left(a: Floats, b: Floats, p: Floats, slack: float) -> Floats:
    """Sign of the side of a-b on which p lies; 0 within rounding."""
    cross = (b[..., 0] - a[..., 0]) * (p[..., 1] - a[..., 1]) - (b[..., 1] - a[..., 1]) * (
        p[..., 0] - a[..., 0]
    )
    return np.asarray(np.sign(np.where(np.abs(cross) <= slack, 0.0, cross)))
