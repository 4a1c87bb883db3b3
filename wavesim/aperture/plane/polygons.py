"""Polygons: the transform of one as a sum over its sides, area, clipping."""

from __future__ import annotations

import math

import numpy as np

from wavesim.aperture.elements import Complexes, Floats
from wavesim.compiled import compiled

Corners = tuple[tuple[float, float], ...]
_SMALL = 0.05  # k R below which the sum over sides would cancel to worse than 1e-14
_GAUSS = 7  # points each way of a triangle: exact to the 13th power of k R


def signed_area(corners: Corners) -> float:
    """Area [m2], positive where the corners run anticlockwise."""
    ahead = corners[1:] + corners[:1]
    parts = (x0 * y1 - x1 * y0 for (x0, y0), (x1, y1) in zip(corners, ahead, strict=True))
    return math.fsum(parts) / 2


def corner_radius(corners: Corners) -> float:
    """Largest distance of a corner from the origin [m]."""
    return max(math.hypot(x, y) for x, y in corners)


def edge_sum(corners: Corners, u_per_m: Floats, v_per_m: Floats) -> Complexes:
    """Transform of a polygon [m2] at frequencies of any shapes that broadcast."""
    u, v = np.broadcast_arrays(np.asarray(u_per_m, dtype=np.float64), v_per_m)
    out = np.empty(u.shape, dtype=np.complex128)
    radius = corner_radius(corners)
    xy = np.ascontiguousarray(np.array(corners, dtype=np.float64))
    points = _triangle_points(xy)
    flat_u, flat_v = np.ascontiguousarray(u).ravel(), np.ascontiguousarray(v).ravel()
    near = (_SMALL / (2 * math.pi * radius)) ** 2
    _edge_sum(xy, points, near, flat_u, flat_v, out.reshape(-1))
    return out


def _triangle_points(xy: Floats) -> Floats:
    """(3, n) x, y and weight [m2] of Gauss points over the triangles origin-corner-corner."""
    t, w = np.polynomial.legendre.leggauss(_GAUSS)
    t, w = (t + 1) / 2, w / 2
    ahead = np.roll(xy, -1, axis=0)
    twice = xy[:, 0] * ahead[:, 1] - ahead[:, 0] * xy[:, 1]
    r, s = np.meshgrid(t, t, indexing="ij")
    on_side = xy[:, None, None] * (1 - s)[..., None] + ahead[:, None, None] * s[..., None]
    place = on_side * r[..., None]
    weight = twice[:, None, None] * np.outer(w * t, w)
    return np.stack([place[..., 0].ravel(), place[..., 1].ravel(), weight.ravel()])


@compiled()
def _edge_sum(xy, points, near, u, v, out):  # type: ignore[no-untyped-def]
    n = xy.shape[0]
    for i in range(u.size):
        rho2 = u[i] * u[i] + v[i] * v[i]
        re = 0.0
        im = 0.0
        if rho2 < near:
            for j in range(points.shape[1]):
                a = -2 * math.pi * (u[i] * points[0, j] + v[i] * points[1, j])
                re += points[2, j] * math.cos(a)
                im += points[2, j] * math.sin(a)
            out[i] = complex(re, im)
            continue
        for j in range(n):
            k = j + 1 if j + 1 < n else 0
            dx = xy[k, 0] - xy[j, 0]
            dy = xy[k, 1] - xy[j, 1]
            half = math.pi * (u[i] * dx + v[i] * dy)
            across = u[i] * dy - v[i] * dx
            if abs(half) > 1e-4:
                across *= math.sin(half) / half
            else:
                across *= 1 - half * half / 6
            a = -math.pi * (u[i] * (xy[k, 0] + xy[j, 0]) + v[i] * (xy[k, 1] + xy[j, 1]))
            re += across * math.cos(a)
            im += across * math.sin(a)
        scale = 1.0 / (2 * math.pi * rho2)
        out[i] = complex(-im * scale, re * scale)


def clip(corners: Corners, stop: Corners) -> Corners:
    """Part of a polygon inside a convex one (Sutherland & Hodgman 1974, Commun. ACM 17, 32).

    Where the part falls into several pieces, they come joined by sides along the stop that are
    passed to and fro: area and transform are right all the same.
    """
    kept = list(corners)
    for a, b in zip(stop, stop[1:] + stop[:1], strict=True):
        kept = _inside(kept, a, b)
        if not kept:
            break
    return tuple(kept)


def _inside(
    corners: list[tuple[float, float]], a: tuple[float, float], b: tuple[float, float]
) -> list[tuple[float, float]]:
    """What lies to the left of the line from a to b."""

    def height(p: tuple[float, float]) -> float:
        return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])

    kept: list[tuple[float, float]] = []
    for p, q in zip(corners, corners[1:] + corners[:1], strict=True):
        here, there = height(p), height(q)
        if here >= 0:
            kept.append(p)
        if (here >= 0) != (there >= 0):
            t = here / (here - there)
            kept.append((p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])))
    return kept
