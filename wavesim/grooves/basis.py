"""Functions along one period of a grating: piecewise polynomials, or Fourier's.

Lengths are in periods. A field is F = exp(i alpha t) sum_j F_j N_j(t), N_j of period 1, and its
Galerkin matrices are sums of integrals of c(t) times N_i, N_j and their derivatives.

Elements    polynomials on a mesh that is refined geometrically towards the edges of the profile,
            continuous at the mesh points (Babuska & Guo 1992: such meshes converge exponentially
            although the field is singular at an edge). Nodes are Gauss-Lobatto points.
Fourier     exp(2 pi i n t), n = -N..N, with the factorisation rules of Li (1996), J. Opt. Soc. Am.
            A 13, 1870: products of two jumping functions whose product does not jump take the
            inverse of the matrix of the reciprocal.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.polynomial import legendre

from wavesim.arrays import Complexes, Flags, Floats, Indices

_EXTRA_POINTS = 8  # of quadrature beyond the degree: plane waves within an element are integrated


def lobatto(degree: int) -> Floats:
    """(degree + 1,) Gauss-Lobatto points on [-1, 1]."""
    series = np.zeros(degree + 1)
    series[degree] = 1.0
    inner = np.sort(np.real(legendre.legroots(legendre.legder(series))))
    return np.concatenate([[-1.0], inner, [1.0]])


def _lagrange(node: Floats, x: Floats) -> tuple[Floats, Floats]:
    """Values and derivatives (x, node) of the polynomials that are 1 at one node, 0 at others."""
    size = node.size
    inverse = np.linalg.inv(legendre.legvander(node, size - 1))
    slopes = np.zeros((x.size, size))
    for k in range(1, size):
        slopes[:, k] = legendre.legval(x, legendre.legder(np.eye(size)[k]))
    return legendre.legvander(x, size - 1) @ inverse, slopes @ inverse


@dataclass(frozen=True, eq=False)
class Elements:
    """Periodic piecewise polynomials.

    Attributes
    ----------
    edge : (elements + 1,) mesh points, ascending over one period
    degree : (elements,) of the polynomials, at least 2
    """

    edge: Floats
    degree: Indices

    @property
    def size(self) -> int:
        """Number of functions."""
        return int(self.degree.sum())

    @cached_property
    def _first(self) -> Indices:
        """(elements,) the function of an element's left end."""
        return np.asarray(np.cumsum(self.degree) - self.degree, dtype=np.intp)

    @cached_property
    def _rule(self) -> tuple[Floats, Floats]:
        """Points on [-1, 1] and weights."""
        return legendre.leggauss(int(self.degree.max()) + _EXTRA_POINTS)

    @cached_property
    def _groups(self) -> list[_Group]:
        """Elements of equal degree."""
        groups = []
        for degree in np.unique(self.degree):
            element = np.flatnonzero(self.degree == degree)
            index = (self._first[element, None] + np.arange(degree + 1)) % self.size
            groups.append(_Group(element, index, *_lagrange(lobatto(int(degree)), self._rule[0])))
        return groups

    @cached_property
    def length(self) -> Floats:
        """(elements, 1) their lengths."""
        return np.asarray(np.diff(self.edge)[:, None])

    @cached_property
    def node(self) -> Floats:
        """(size,) where one function is 1 and the others 0."""
        node = np.empty(self.size)
        for group in self._groups:
            local = (lobatto(group.index.shape[1] - 1)[:-1] + 1) / 2
            left = self.edge[:-1, None][group.element]
            node[group.index[:, :-1]] = left + self.length[group.element] * local
        return node

    @cached_property
    def point(self) -> Floats:
        """(elements, points) of quadrature."""
        return np.asarray(self.edge[:-1, None] + self.length * (self._rule[0] + 1) / 2)

    def within(self, element: Flags) -> Flags:
        """(size,) whether a function belongs to any of some elements."""
        chosen = np.zeros(self.size, dtype=np.bool_)
        for group in self._groups:
            chosen[group.index[element[group.element]]] = True
        return chosen

    def matrix(self, weight: Floats, derivatives: tuple[int, int]) -> Floats:
        """(size, size) integral of weight N_i^(a) N_j^(b); the weight is given at `point`."""
        scale = self.length / 2 * (2 / self.length) ** sum(derivatives)
        scaled = weight * self._rule[1] * scale
        total = np.zeros((self.size, self.size))
        for group in self._groups:
            left, right = (group.slope if d else group.value for d in derivatives)
            local = (scaled[group.element][:, None, :] * left.T) @ right
            np.add.at(total, (group.index[:, :, None], group.index[:, None, :]), local)
        return total

    def vector(self, values: Complexes) -> Complexes:
        """(..., size) integral of f N_j, with f given at `point` (..., elements, points)."""
        scaled = values * (self._rule[1] * self.length / 2)
        total = np.zeros((*values.shape[:-2], self.size), dtype=np.complex128)
        for group in self._groups:
            local = scaled[..., group.element, :] @ group.value
            # neither the left ends and inner nodes nor the right ends hold a function twice
            total[..., group.index[:, :-1]] += local[..., :-1]
            total[..., group.index[:, -1]] += local[..., -1]
        return total


@dataclass(frozen=True, eq=False)
class _Group:
    """Elements of one degree, their functions (elements, degree + 1) and the tables (points,
    degree + 1) of values and slopes."""

    element: Indices
    index: Indices
    value: Floats
    slope: Floats


def graded(point: Floats, sharp: Flags, levels: int, ratio: float, longest: float) -> Floats:
    """Mesh over one period through given points, refined `levels` times to the sharp ones.

    Parameters
    ----------
    point : (k,) ascending within one period; none: an even mesh
    sharp : (k,) which of them are edges of the profile
    ratio : of the lengths of neighbouring elements towards an edge
    longest : no element is longer
    """
    if point.size == 0:
        return np.linspace(0.0, 1.0, max(2, int(np.ceil(1 / longest - 1e-9))) + 1)
    ends, edge = np.append(point, point[0] + 1.0), np.append(sharp, sharp[0])
    mesh: list[float] = [float(ends[0])]
    for k, (a, b) in enumerate(pairwise(ends)):
        part = _element_ends(levels if edge[k] else 0, levels if edge[k + 1] else 0, ratio)
        for left, right in pairwise(part):
            pieces = max(1, int(np.ceil((right - left) * (b - a) / longest - 1e-9)))
            mesh += list(a + (b - a) * np.linspace(left, right, pieces + 1)[1:])
    return np.array(mesh)


def _element_ends(first: int, last: int, ratio: float) -> Floats:
    """Mesh of [0, 1] refined so many times to either end."""
    if first == 0 and last == 0:
        return np.array([0.0, 1.0])
    left = 0.5 * ratio ** np.arange(first, -1, -1.0)
    right = 1 - 0.5 * ratio ** np.arange(0, last + 1, 1.0)
    return np.unique(np.concatenate([[0.0], left, right, [1.0]]))


def degrees(mesh: Floats, degree: int, drop: float, ratio: float) -> Indices:
    """(elements,) degrees: that given for the longest, less by `drop` for each `ratio` shorter.

    Near an edge the field's detail is as large as the element, whatever its length, and shrinks
    with it: shorter elements need lower degrees (Gui & Babuska 1986), of 2 at least.
    """
    length = np.diff(mesh)
    steps = np.floor(np.log(length / length.max()) / np.log(ratio) + 0.3)
    return np.asarray(np.maximum(np.round(degree - drop * steps), 2), dtype=np.intp)
