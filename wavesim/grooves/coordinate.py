"""The coordinate-transformation method, on piecewise polynomials.

The profile (x(t), y(t)) is moved along the direction (s, 1), which must cross it once: in the
coordinates t, v with position = (x(t) + s v, y(t) + v) every face is a line v = const
(Chandezon, Dupuis, Cornet & Maystre 1982, J. Opt. Soc. Am. 72, 839; s = 0 there). With
J = x' - s y', the equation of Helmholtz reads, weakly in t and for exp(i rho v),

    rho^2 B F + i rho A F - (kappa^2 M - S) F = 0
    M = <J>,  B = <(x'^2 + y'^2) / J>,  S = <(1 + s^2) / J>' ,  A = <c d_t> - <d_t c>,
    c = (s x' + y') / J

whose solutions that run or fall away from the face are kept. The normal derivative on a face is
i rho B F - <c d_t> F. Where Chandezon's Fourier series loses itself in the jumps of the slope,
the functions here have their mesh points at the edges and are refined towards them, so that
blazed metal converges exponentially. One quadratic eigenproblem per medium and wavelength serves
both polarisations and conical mounting.

Cost: one eigenproblem of size 2 n per medium. Limit: deep grooves of many wavelengths, whose
evanescent waves differ by many powers of ten over the depth; the second truncation shows it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Complexes, Floats
from wavesim.grooves.basis import Elements
from wavesim.grooves.face import Curve, ElementFace
from wavesim.grooves.half_space import falling, known_orders, without_incoming
from wavesim.grooves.problem import Kind, Modes, Problem
from wavesim.grooves.recursion import Half, Region, Relation, open_below
from wavesim.grooves.waves import IncidentWaves

_SHIFT = 0.37 + 0.43j  # of k0: among the exponents of waves, and none itself
_REAL = 1e-7  # of k: smaller imaginary parts of an exponent are rounding


@dataclass(frozen=True, eq=False)
class _Geometry:
    """Matrices of the profile alone. The first six are in the functions in which B is 1.

    With F = exp(i alpha t) f, a derivative is d_t + i alpha: S and A are polynomials of alpha.
    """

    mass: Floats
    stiff: tuple[Floats, Floats, Floats]
    cross: tuple[Floats, Floats]
    back: Floats
    b: Floats
    along: tuple[Floats, Floats]
    slope: tuple[Floats, Floats]


def _geometry(curve: Curve, basis: Elements, shear: float) -> _Geometry:
    _, _, dx, dy = curve.at(basis.point)
    jacobian = dx - shear * dy
    c = (shear * dx + dy) / jacobian
    steep = np.broadcast_to((1 + shear**2) / jacobian, jacobian.shape)
    b = basis.matrix((dx**2 + dy**2) / jacobian, (0, 0))
    lower = np.linalg.inv(np.linalg.cholesky(b))

    def turned(matrix: Floats) -> Floats:
        return np.asarray(lower @ matrix @ lower.T)

    first, c_first, c_mass = (
        basis.matrix(steep, (0, 1)), basis.matrix(c, (0, 1)), basis.matrix(c, (0, 0))
    )  # fmt: skip
    stiff = basis.matrix(steep, (1, 1)), first.T - first, basis.matrix(steep, (0, 0))
    identity = np.ones_like(jacobian)
    return _Geometry(
        mass=turned(basis.matrix(jacobian, (0, 0))),
        stiff=(turned(stiff[0]), turned(stiff[1]), turned(stiff[2])),
        cross=(turned(c_first - c_first.T), turned(2 * c_mass)),
        back=lower.T,
        b=b,
        along=(c_first, c_mass),
        slope=(basis.matrix(identity, (0, 1)), basis.matrix(identity, (0, 0))),
    )


class CoordinateMethod:
    """Modes of homogeneous media in the coordinates of a profile.

    Parameters
    ----------
    curve : the profile, in periods
    basis : functions of t with mesh points at the edges of the profile
    shear : s, of the direction along which the profile is moved
    """

    def __init__(self, curve: Curve, basis: Elements, shear: float) -> None:
        self.top = self.bottom = ElementFace(basis, curve)
        self._g = _geometry(curve, basis, shear)
        self._shear = shear
        self._known: dict[tuple[int, bytes], tuple[Modes, Modes]] = {}
        self._half_spaces: dict[tuple[int, bool, bytes], Modes] = {}

    @property
    def size(self) -> int:
        """Number of functions."""
        return self.top.basis.size

    def problem(self, kind: Kind, waves: IncidentWaves) -> Problem:
        """Which fields are coupled, with the derivative along the face."""
        return Problem(kind, waves, _sloped(self._g.slope, waves))

    def region(self, problem: Problem, eps: Complexes, thickness: float = 0.0) -> Region:
        """A homogeneous layer between two such faces, or a half-space."""
        up, down = self._modes(problem.waves, eps)
        return Region(problem.half(eps, up), problem.half(eps, down), thickness)

    def layers(self, problem: Problem) -> list[Region]:
        """None: a lone face."""
        del problem
        return []

    def below(self, problem: Problem, eps: Complexes | None) -> Relation:
        """Relation of the substrate; None is a perfect conductor."""
        if eps is None:
            return conductor(problem, self.size)
        return open_below(problem.half(eps, self._open(problem.waves, eps, up=False)))

    def above(self, problem: Problem, eps: Complexes) -> Half:
        """Upward waves of the half-space that the light comes from."""
        return problem.half(eps, self._open(problem.waves, eps, up=True))

    def _open(self, waves: IncidentWaves, eps: Complexes, *, up: bool) -> Modes:
        """Fields that span those leaving upwards, or downwards."""
        key = (id(waves), up, np.asarray(eps).tobytes())
        if key not in self._half_spaces:
            self._half_spaces = {k: v for k, v in self._half_spaces.items() if k[0] == key[0]}
            matrix, shift = _inverted(waves, self._matrix(waves, eps))
            found = [
                self._leaving(
                    waves.part(slice(k, k + 1)), eps[k : k + 1], identity, shift[k], up=up
                )
                for k, identity in enumerate(matrix)
            ]
            value, normal = (np.stack(part) for part in zip(*found, strict=True))
            self._half_spaces[key] = Modes(value, normal, np.zeros(value.shape[:2], complex))
        return self._half_spaces[key]

    def _leaving(
        self, wave: IncidentWaves, eps: Complexes, matrix: Complexes, shift: complex, *, up: bool
    ) -> tuple[Complexes, Complexes]:
        """Values and normal derivatives (n, n) of one wave's fields."""
        order = known_orders(wave, eps)
        along = self._shear * (wave.alpha[0] + 2 * np.pi * order)
        beta = wave.beta(eps, order)[0]
        vector = falling(matrix, shift, along + beta, along - beta, rising=up)
        value, normal = self._fields(wave, vector)
        if order.size == 0:
            return value, normal
        p, q = self.top.receivers(wave, eps, order, above=not up, grazing=True)
        left = without_incoming(q[0] @ value - p[0] @ normal)
        return value @ left, normal @ left

    def _fields(self, wave: IncidentWaves, vector: Complexes) -> tuple[Complexes, Complexes]:
        """Values and normal derivatives (n, m) of vectors (F, rho F / k0) (2 n, m)."""
        g, n = self._g, self.size
        value = g.back @ vector[:n]
        slope = g.b @ (g.back @ vector[n:]) * wave.k0[0]
        return value, 1j * slope - (g.along[0] + 1j * wave.alpha[0] * g.along[1]) @ value

    def _modes(self, waves: IncidentWaves, eps: Complexes) -> tuple[Modes, Modes]:
        key = (id(waves), np.asarray(eps).tobytes())
        if key not in self._known:
            self._known = {k: v for k, v in self._known.items() if k[0] == key[0]}
            self._known[key] = self._solved(waves, eps)
        return self._known[key]

    def _matrix(self, waves: IncidentWaves, eps: Complexes) -> Complexes:
        """(b, 2 n, 2 n) whose eigenvalues are rho and eigenvectors (F, rho F)."""
        g, n = self._g, self.size
        alpha = waves.alpha[:, None, None]
        squared = waves.transverse(eps)[:, None, None]
        stiff = g.stiff[0] + 1j * alpha * g.stiff[1] + alpha**2 * g.stiff[2]
        matrix = np.zeros((waves.k0.size, 2 * n, 2 * n), dtype=np.complex128)
        matrix[:, :n, n:] = np.eye(n)
        matrix[:, n:, :n] = squared * g.mass - stiff
        matrix[:, n:, n:] = -1j * _sloped(g.cross, waves)
        return matrix

    def _solved(self, waves: IncidentWaves, eps: Complexes) -> tuple[Modes, Modes]:
        n, mixed = self.size, _sloped(self._g.cross, waves)
        scale = np.sqrt(np.abs(waves.transverse(eps)))[:, None]
        matrix, shift = _inverted(waves, self._matrix(waves, eps))
        inverse, both = np.linalg.eig(matrix)
        rho, vector = shift[:, None] + 1 / inverse, both[:, :n]
        score = _upward(rho, vector, mixed, scale)
        ranked = np.argsort(-score, axis=1, kind="stable")
        up, down = ranked[:, :n], ranked[:, n:]
        return self._half(waves, rho, vector, up), self._half(waves, rho, vector, down)

    def _half(
        self, waves: IncidentWaves, rho: Complexes, vector: Complexes, chosen: NDArray[np.intp]
    ) -> Modes:
        """Values and normal derivatives of one half of the modes."""
        g = self._g
        rho = np.take_along_axis(rho, chosen, axis=1)
        value = g.back @ np.take_along_axis(vector, chosen[:, None, :], axis=2)
        normal = 1j * (g.b @ value) * rho[:, None, :] - _sloped(g.along, waves) @ value
        return Modes(value, normal, rho)


def _inverted(waves: IncidentWaves, matrix: Complexes) -> tuple[Complexes, Complexes]:
    """(b, 2 n, 2 n) with eigenvalues 1 / (rho - shift) and eigenvectors (F, rho F / k0), shift.

    Rounding is in proportion to the largest eigenvalue, which belongs to the waves so, and
    not to the finest element.
    """
    n, k0 = matrix.shape[1] // 2, waves.k0[:, None, None]
    balanced = matrix.copy()
    balanced[:, :n, n:] *= k0
    balanced[:, n:, :n] /= k0
    shift = np.asarray(_SHIFT * waves.k0, dtype=np.complex128)
    inverse = np.linalg.inv(balanced - shift[:, None, None] * np.eye(2 * n))
    return np.asarray(inverse, dtype=np.complex128), shift


def _sloped(parts: tuple[Floats, Floats], waves: IncidentWaves) -> Complexes:
    """A matrix with a derivative in it, d_t + i alpha."""
    return np.asarray(parts[0] + 1j * waves.alpha[:, None, None] * parts[1])


def _upward(rho: Complexes, vector: Complexes, mixed: Complexes, scale: Floats) -> Floats:
    """(b, 2 n) positive where a mode falls away, or carries power, upwards.

    The power of a mode of real exponent is f* (2 rho + i A) f.
    """
    carried = np.einsum("bim,bim->bm", vector.conj(), 2 * rho[:, None] * vector)
    carried += 1j * np.einsum("bim,bim->bm", vector.conj(), mixed @ vector)
    small = _REAL * scale
    # in proportion to the power, so that of the two modes of an order at grazing, which carry
    # none, one is counted up and one down, and no other mode gives way
    fraction = carried.real / np.abs(carried.real).max(axis=1, keepdims=True)
    return np.where(np.abs(rho.imag) < small, fraction * small, rho.imag)


def conductor(problem: Problem, size: int) -> Relation:
    """E = 0 and no normal derivative of h: the fields of a perfect conductor are never coupled."""
    shape = (problem.waves.k0.size, size, size)
    identity = np.broadcast_to(np.eye(size, dtype=np.complex128), shape)
    zero = np.zeros(shape, dtype=np.complex128)
    return Relation(identity, zero) if problem.kind == "along" else Relation(zero, identity)
