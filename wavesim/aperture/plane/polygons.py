"""Polygons: the transform of one as a sum over its sides, area, clipping."""

from __future__ import annotations

import math

import numpy as np

from wavesim.arrays import Complexes, Floats
from wavesim.compiled import compiled

Corners = tuple[tuple[float, float], ...]
_SMALL = 0.05  # k R below which the sum over sides would cancel to worse than 1e-14
_CLOSE = 0.1  # half the phase along a side below which its ends would cancel
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
    """Transform of a polygon [m2] at frequencies of any shapes that broadcast.

    On a grid, u (1, n) and v (m, 1), a corner's phase is that of its column and that of its row.
    """
    u, v = np.asarray(u_per_m, dtype=np.float64), np.asarray(v_per_m, dtype=np.float64)
    grid = u.ndim == v.ndim == 2 and u.shape[0] == v.shape[1] == 1
    if not grid:
        u, v = np.broadcast_arrays(u, v)
    shape = np.broadcast_shapes(u.shape, v.shape)
    columns = np.ascontiguousarray(u).reshape(1, -1) if grid else u.reshape(-1, 1)
    rows = np.ascontiguousarray(v).reshape(-1)
    xy = np.ascontiguousarray(np.array(corners, dtype=np.float64))
    near = (_SMALL / (2 * math.pi * corner_radius(corners))) ** 2
    out = np.empty((rows.size, columns.shape[1]), dtype=np.complex128)
    turn = -2j * math.pi
    across = np.exp(turn * xy[:, 0, None, None] * columns)
    along = np.exp(turn * xy[:, 1, None] * rows)
    _edge_sum(xy, _triangle_points(xy), near, columns, rows, across, along, out)
    return out.reshape(shape)


def _triangle_points(xy: Floats) -> Floats:
    """(3, n) x, y and weight [m2] of Gauss points over the triangles origin-corner-corner."""
    t, w = np.polynomial.legendre.leggauss(_GAUSS)
    t, w = (t + 1) / 2, w / 2
    ahead = np.roll(xy, -1, axis=0)
    twice = xy[:, 0] * ahead[:, 1] - ahead[:, 0] * xy[:, 1]
    r, s = np.meshgrid(t, t, indexing="ij")
    on_side = xy[:, None, None] * (1 - s)[..., None] + ahead[:, None, None] * s[..., None]
    position = on_side * r[..., None]
    weight = twice[:, None, None] * np.outer(w * t, w)
    return np.stack([position[..., 0].ravel(), position[..., 1].ravel(), weight.ravel()])


@compiled()
def _edge_sum(xy, points, near, columns, rows, across, along, out):  # type: ignore[no-untyped-def]
    """out (m, n) at rows v (m,) and columns u (m or 1, n), with the corners' phases along each."""
    n = xy.shape[0]
    for r in range(rows.size):
        v = rows[r]
        line = r if columns.shape[0] > 1 else 0
        for i in range(columns.shape[1]):
            u = columns[line, i]
            rho2 = u * u + v * v
            re = 0.0
            im = 0.0
            if rho2 < near:
                for j in range(points.shape[1]):
                    a = -2 * math.pi * (u * points[0, j] + v * points[1, j])
                    re += points[2, j] * math.cos(a)
                    im += points[2, j] * math.sin(a)
                out[r, i] = complex(re, im)
                continue
            x1 = xy[n - 1, 0]
            y1 = xy[n - 1, 1]
            e1 = across[n - 1, line, i] * along[n - 1, r]
            for j in range(n):  # the side that ends in corner j
                x0 = x1
                y0 = y1
                e0 = e1
                x1 = xy[j, 0]
                y1 = xy[j, 1]
                e1 = across[j, line, i] * along[j, r]
                dx = x1 - x0
                dy = y1 - y0
                half = math.pi * (u * dx + v * dy)
                lean = u * dy - v * dx
                if abs(half) > _CLOSE:  # sinc(half) exp(-i k . m) = (e0 - e1) / (2 i half)
                    lean /= 2 * half
                    re += lean * (e0.imag - e1.imag)
                    im -= lean * (e0.real - e1.real)
                else:
                    square = half * half
                    lean *= 1 - square / 6 * (1 - square / 20 * (1 - square / 42))
                    a = -math.pi * (u * (x1 + x0) + v * (y1 + y0))
                    re += lean * math.cos(a)
                    im += lean * math.sin(a)
            scale = 1.0 / (2 * math.pi * rho2)
            out[r, i] = complex(-im * scale, re * scale)


def clip(corners: Corners, stop: Corners) -> Corners:
    """Part of a polygon inside a convex one (Sutherland & Hodgman 1974, Commun. ACM 17, 32).

    Where the part falls into several pieces, they come joined by sides along the stop that are
    passed to and fro: area and transform are right all the same.
    """
    left = list(corners)
    for a, b in zip(stop, stop[1:] + stop[:1], strict=True):
        left = _inside(left, a, b)
        if not left:
            break
    return tuple(left)


def _inside(
    corners: list[tuple[float, float]], a: tuple[float, float], b: tuple[float, float]
) -> list[tuple[float, float]]:
    """What lies to the left of the line from a to b."""

    def height(p: tuple[float, float]) -> float:
        return (b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])

    left: list[tuple[float, float]] = []
    for p, q in zip(corners, corners[1:] + corners[:1], strict=True):
        height_p, height_q = height(p), height(q)
        if height_p >= 0:
            left.append(p)
        if (height_p >= 0) != (height_q >= 0):
            t = height_p / (height_p - height_q)
            left.append((p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1])))
    return left
