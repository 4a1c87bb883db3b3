"""A second method for blazed metal: finite elements in the plane, with exact radiation.

One period of the grating between two lines is cut into quadrilaterals with straight sides, drawn
out geometrically to the crest and the valley. On each, E or H along the grooves is a polynomial;
the weak form of  div (1/q grad u) + k0^2 (eps/q) u = 0  (q = 1 for E, eps for H) needs no
continuity of slopes. On the lines above and below, the Rayleigh series gives the normal
derivative of each order exactly. Functions within an element are eliminated before the sparse
factorisation. Nothing is shared with the coordinate-transformation method but the profile.

    python -m tests.groove_pairs      the table of random cases
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.polynomial import legendre
from scipy.sparse import coo_matrix
from scipy.sparse.linalg import splu

ORDERS = 30  # on either side of order 0 in the Rayleigh series


@dataclass(frozen=True)
class Echelette:
    """Period 1: the large facet rises by `facet` [rad], the other falls by `back`; light in air."""

    facet: float
    back: float
    index: complex
    wavelength: float
    sine: float

    @property
    def crest(self) -> tuple[float, float]:
        """Place and height of the crest."""
        depth = 1 / (1 / math.tan(self.facet) + 1 / math.tan(self.back))
        return depth / math.tan(self.facet), depth


def reflected(case: Echelette, *, across: bool, levels: int = 6, degree: int = 8) -> np.ndarray:
    """(2 ORDERS + 1,) efficiencies of the orders n."""
    x, depth = case.crest
    k = 2 * math.pi / case.wavelength
    # no element is longer than 4 rad of a wave
    columns = np.concatenate([_graded(0.0, x, levels, levels, 4 / k)[:-1],
                              _graded(x, 1.0, levels, levels, 4 / k)])  # fmt: skip
    profile = np.interp(columns, [0.0, x, 1.0], [0.0, depth, 0.0])
    skin = 1 / (k * abs(case.index.imag))
    above = _graded(0.0, 1.0, levels, 0, 4 / k)
    below = _graded(0.0, 1.0, levels + 1, 0, 4 / k)
    top, bottom = depth + 0.35, -max(0.15, 6 * skin)
    up = profile + above[:, None] * (top - profile)
    down = profile + below[1:, None] * (bottom - profile)
    rows = np.concatenate([down[::-1], up])  # (rows, columns) heights of the mesh's points
    return _solved(case, columns, rows, below.size - 1, degree, across=across)


def _graded(a: float, b: float, first: int, last: int, longest: float) -> np.ndarray:
    """Points from a to b, drawn out to either end so many times, no stretch too long."""
    ratio, whole = 0.3, b - a
    left = 0.5 * ratio ** np.arange(first, -1.0, -1.0)
    right = 1 - 0.5 * ratio ** np.arange(0.0, last + 1.0)
    points = np.unique(np.concatenate([[0.0], left if first else [], right if last else [], [1.0]]))
    fine = [0.0]
    for p, q in pairwise(points):
        pieces = max(1, math.ceil((q - p) * whole / longest))
        fine += list(p + (q - p) * np.arange(1, pieces + 1) / pieces)
    return a + whole * np.array(fine)


def _functions(degree: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
    """Quadrature on [-1, 1]; values and slopes there of two hats and integrated Legendres."""
    point, weight = legendre.leggauss(degree + 6)
    value, slope = np.empty((degree + 1, point.size)), np.empty((degree + 1, point.size))
    value[0], value[1], slope[0], slope[1] = (1 - point) / 2, (1 + point) / 2, -0.5, 0.5
    for n in range(2, degree + 1):
        root = math.sqrt((2 * n - 1) / 2)
        value[n] = (_p(n, point) - _p(n - 2, point)) / (2 * n - 1) * root
        slope[n] = _p(n - 1, point) * root
    return point, weight, value, slope


def _p(n: int, x: np.ndarray) -> np.ndarray:
    return legendre.legval(x, np.eye(n + 1)[n])


def _numbers(columns: int, rows: int, degree: int) -> tuple[np.ndarray, int]:
    """(rows, columns, degree + 1 [y], degree + 1 [x]) number of each function; -1 within."""
    inner = degree - 1
    vertex = np.arange((rows + 1) * columns).reshape(rows + 1, columns)
    along = vertex.size + np.arange((rows + 1) * columns * inner).reshape(rows + 1, columns, inner)
    start = vertex.size + along.size
    upright = start + np.arange(rows * columns * inner).reshape(rows, columns, inner)
    number = np.full((rows, columns, degree + 1, degree + 1), -1)
    following = np.roll(np.arange(columns), -1)
    for j in (0, 1):
        level = slice(j, rows + j)
        number[:, :, j, 0], number[:, :, j, 1] = vertex[level], vertex[level][:, following]
        number[:, :, j, 2:] = along[level]
    number[:, :, 2:, 0], number[:, :, 2:, 1] = upright, upright[:, following]
    return number, start + upright.size


def _solved(
    case: Echelette, columns: np.ndarray, rows: np.ndarray, metal: int, degree: int, *, across: bool
) -> np.ndarray:
    k = 2 * math.pi / case.wavelength
    alpha = k * case.sine
    eps = case.index**2
    number, total = _numbers(columns.size - 1, rows.shape[0] - 1, degree)
    local = _element_matrices(columns, rows, degree, alpha)
    inside = (np.arange(number.shape[0]) < metal)[:, None, None, None]
    q = np.where(inside, eps if across else 1.0, 1.0)
    matrix = local[0] / q - k**2 * np.where(inside, eps, 1.0) / q * local[1]
    cells = number.shape[0] * number.shape[1]
    matrix = matrix.reshape(cells, (degree + 1) ** 2, -1)
    number = number.reshape(cells, -1)
    edge = np.flatnonzero(number[0] >= 0)
    within = np.flatnonzero(number[0] < 0)
    mixed = matrix[:, within[:, None], edge]
    eliminated = np.linalg.solve(matrix[:, within[:, None], within], mixed)
    condensed = matrix[:, edge[:, None], edge] - matrix[:, edge[:, None], within] @ eliminated
    number = number[:, edge]
    row = np.broadcast_to(number[:, :, None], condensed.shape)
    column = np.broadcast_to(number[:, None, :], condensed.shape)
    orders = np.arange(-ORDERS, ORDERS + 1)
    whole = [(condensed.ravel(), row.ravel(), column.ravel())]
    series = {}
    for side, medium, weight in (("top", 1.0, 1.0), ("bottom", eps, 1 / eps if across else 1.0)):
        beta = np.sqrt(k**2 * medium - (alpha + 2 * math.pi * orders) ** 2 + 0j)
        beta = np.where(beta.imag < 0, -beta, beta)
        test, where = _line(columns, rows.shape[0] - 1, degree, orders, top=side == "top")
        block = -weight * (np.conj(test) * (1j * beta)[:, None]).T @ test
        grid = np.meshgrid(where, where, indexing="ij")
        whole.append((block.ravel(), grid[0].ravel(), grid[1].ravel()))
        series[side] = beta, test, where
    data, i, j = (np.concatenate(part) for part in zip(*whole, strict=True))
    system = coo_matrix((data, (i, j)), shape=(total, total)).tocsc()
    beta, test, where = series["top"]
    height = rows[-1, 0]
    source = np.zeros(total, dtype=complex)
    start = beta[ORDERS]
    source[where] = np.conj(test[ORDERS]) * (-2j * start * np.exp(-1j * start * height))
    field = splu(system).solve(source)
    scattered = test @ field[where]
    scattered[ORDERS] -= np.exp(-1j * start * height)
    return np.where(beta.real > 1e-9, beta.real / start.real * np.abs(scattered) ** 2, 0.0)


def _element_matrices(
    columns: np.ndarray, rows: np.ndarray, degree: int, alpha: float
) -> tuple[np.ndarray, np.ndarray]:
    """Stiffness and mass (rows, columns, n, n) over quadrilaterals, of exp(-i alpha x) u."""
    point, weight, value, slope = _functions(degree)
    s = (1 + point) / 2
    width = np.diff(columns)
    left, right = rows[:, :-1], rows[:, 1:]
    low = left[:-1, :, None] + (right - left)[:-1, :, None] * s  # (rows, columns, x points)
    high = left[1:, :, None] + (right - left)[1:, :, None] * s
    rise = (high - low) / 2  # dy / d eta
    lean = (
        (right - left)[:-1, :, None, None] * (1 - s)[:, None]
        + (right - left)[1:, :, None, None] * s[:, None]
    ) / 2  # dy / d xi
    # physical derivatives: d_y = d_eta / rise, d_x = (d_xi - lean d_eta / rise) / (width / 2)
    half = (width / 2)[None, :, None, None]
    value_x, slope_x = value[None, :, None, :], slope[None, :, None, :]
    value_y, slope_y = value[:, None, :, None], slope[:, None, :, None]
    u = value_y * value_x  # (ny, nx, y points, x points)
    size, points = (degree + 1) ** 2, point.size**2
    u, u_xi, u_eta = (
        np.broadcast_to(f, (degree + 1, degree + 1, point.size, point.size)).reshape(size, points)
        for f in (u, value_y * slope_x, slope_y * value_x)
    )
    shape = (*left[:-1].shape, point.size, point.size)
    up = np.broadcast_to(rise[:, :, None, :], shape).reshape(*shape[:2], points)
    tilt = (np.broadcast_to(lean, shape) / np.broadcast_to(rise[:, :, None, :], shape)).reshape(
        *shape[:2], points
    )
    step = np.broadcast_to(half, shape).reshape(*shape[:2], points)
    area = (weight[:, None] * weight).ravel() * up * step
    d_x = (u_xi - tilt[:, :, None, :] * u_eta) / step[:, :, None, :] + 1j * alpha * u
    d_y = u_eta / up[:, :, None, :]
    weighted = area[:, :, None, :]
    stiff = (np.conj(d_x) * weighted) @ np.swapaxes(d_x, 2, 3)
    stiff += (d_y * weighted) @ np.swapaxes(d_y, 2, 3)
    mass = (u * weighted) @ u.T
    return stiff, mass


def _line(
    columns: np.ndarray, rows: int, degree: int, orders: np.ndarray, *, top: bool
) -> tuple[np.ndarray, np.ndarray]:
    """(orders, functions) Fourier coefficients of the functions on a line, and their numbers."""
    number, _ = _numbers(columns.size - 1, rows, degree)
    mine = number[-1, :, 1] if top else number[0, :, 0]  # (columns, degree + 1)
    point, weight = legendre.leggauss(degree + 24)
    value = np.empty((degree + 1, point.size))
    value[0], value[1] = (1 - point) / 2, (1 + point) / 2
    for n in range(2, degree + 1):
        value[n] = (_p(n, point) - _p(n - 2, point)) / (2 * n - 1) * math.sqrt((2 * n - 1) / 2)
    width = np.diff(columns)
    x = columns[:-1, None] + width[:, None] * (1 + point) / 2
    wave = np.exp(-2j * math.pi * orders[:, None, None] * x)
    overlap = np.einsum("ocq,dq,q,c->ocd", wave, value, weight, width / 2, optimize=True)
    where, back = np.unique(mine.ravel(), return_inverse=True)
    test = np.zeros((orders.size, where.size), dtype=complex)
    np.add.at(test.T, back, overlap.reshape(orders.size, -1).T)
    return test, where
