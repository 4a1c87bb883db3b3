"""The modal method for layers with vertical walls, on Fourier series or on piecewise polynomials.

In a layer the fields are sums of modes exp(+-i rho y). With psi continuous and psi' continuous
(phi continuous and phi'/eps continuous) over the walls, classical mounting has

    E along the grooves   rho^2 M psi = (k0^2 M_eps - S) psi            E = psi
    H along the grooves   rho^2 M_1/eps phi = (k0^2 M - S_1/eps) phi    h = phi

and conical mounting the same modes with rho^2 less by q^2, as those with E_x = 0 and with
h_x = 0 (s^2 = rho^2 + q^2; Li 1993, J. Mod. Opt. 40, 553):

    E_z = k0 rho psi,   h_z = i q psi',      h_x = s^2 psi
    h_z = -k0 rho phi,  E_z = i q phi'/eps,  E_x = s^2 phi / eps

Fourier series: S = K^2, S_1/eps = K [eps]^-1 K, M_1/eps = [1/eps], the rules of Lalanne & Morris
and of Granet & Guizal (1996), derived by Li (1996): E converges as N^-3 and H, for metals, as
N^(-2 tau), tau about 0.65. Polynomials with mesh points at the walls, refined to them, are the
remedy: the weak form has the right rules by itself, and both polarisations converge to 1e-8.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wavesim.arrays import Complexes, Floats
from wavesim.grooves.basis import Elements
from wavesim.grooves.coordinate import conductor
from wavesim.grooves.face import Curve, ElementFace, Face, FourierFace
from wavesim.grooves.problem import Kind, Modes, Problem
from wavesim.grooves.recursion import Half, Region, Relation, open_below, through
from wavesim.grooves.waves import IncidentWaves

_SHIFT = 1.0 - 1.0j  # of k0^2: between the exponents of travelling waves, below the real axis
_CUT_OFF = 1e-20  # of k0^2: a mode exactly at cut-off is moved by so much


@dataclass(frozen=True, eq=False)
class Layer:
    """One layer with vertical walls.

    Attributes
    ----------
    thickness : in periods
    wall : (w,) ascending in [0, 1); material k lies between wall k and the next
    material : (w,) index into the list of permittivities
    """

    thickness: float
    wall: tuple[float, ...]
    material: tuple[int, ...]

    def at(self, x: Floats) -> np.ndarray:
        """Material at positions x, in periods."""
        k = np.searchsorted(np.asarray(self.wall), np.mod(x, 1.0), side="right") - 1
        return np.asarray(self.material)[k]


@dataclass(frozen=True, eq=False)
class Matrices:
    """Galerkin matrices (b, n, n) of a layer: see the head of the module."""

    mass: Complexes
    mass_eps: Complexes
    mass_inverse: Complexes
    stiff: Complexes
    stiff_inverse: Complexes
    slope: Complexes
    slope_inverse: Complexes


class Functions(Protocol):
    """A basis along x as the modal method needs it."""

    @property
    def face(self) -> Face:
        """The basis seen from outside."""

    @property
    def size(self) -> int:
        """Number of functions."""

    def matrices(self, waves: IncidentWaves, layer: Layer, eps: list[Complexes]) -> Matrices:
        """Matrices of a layer; `eps` (b,) of each material."""


@dataclass(frozen=True, eq=False)
class Fourier:
    """exp(i alpha_n x), n = -N..N."""

    most: int

    @property
    def size(self) -> int:
        """2 N + 1."""
        return 2 * self.most + 1

    @property
    def face(self) -> Face:
        """Plane waves are the basis itself."""
        return FourierFace(self.size)

    def matrices(self, waves: IncidentWaves, layer: Layer, eps: list[Complexes]) -> Matrices:
        """Toeplitz matrices of eps and 1/eps."""
        n = np.arange(-self.most, self.most + 1)
        k = waves.alpha[:, None] + 2 * np.pi * n
        identity = np.broadcast_to(
            np.eye(self.size, dtype=complex), (k.shape[0], self.size, self.size)
        )
        direct, inverse = self._toeplitz(layer, eps), self._toeplitz(layer, [1 / e for e in eps])
        rule = np.linalg.inv(direct)
        return Matrices(
            mass=identity,
            mass_eps=direct,
            mass_inverse=inverse,
            stiff=identity * (k**2)[:, None, :],
            stiff_inverse=k[:, :, None] * rule * k[:, None, :],
            slope=1j * identity * k[:, None, :],
            slope_inverse=np.asarray(1j * rule * k[:, None, :], dtype=np.complex128),
        )

    def _toeplitz(self, layer: Layer, values: list[Complexes]) -> Complexes:
        ends = (*layer.wall, layer.wall[0] + 1.0)
        g = 2 * np.pi * np.arange(-2 * self.most, 2 * self.most + 1)
        safe = np.where(g == 0, 1.0, g)
        series = np.zeros((values[0].size, g.size), dtype=np.complex128)
        for a, b, material in zip(ends[:-1], ends[1:], layer.material, strict=True):
            part = np.where(g == 0, b - a, (np.exp(-1j * g * a) - np.exp(-1j * g * b)) / 1j / safe)
            series += values[material][:, None] * part
        index = np.arange(self.size)
        return np.asarray(series[:, index[:, None] - index[None, :] + 2 * self.most])


class Polynomials:
    """Piecewise polynomials; `basis` has mesh points at every wall."""

    def __init__(self, basis: Elements) -> None:
        self.basis = basis

        def flat(t: Floats) -> tuple[Floats, Floats, Floats, Floats]:
            return t, np.zeros_like(t), np.ones_like(t), np.zeros_like(t)

        self._face = ElementFace(basis, Curve(flat))

    @property
    def size(self) -> int:
        """Number of functions."""
        return self.basis.size

    @property
    def face(self) -> Face:
        """A flat face."""
        return self._face

    def matrices(self, waves: IncidentWaves, layer: Layer, eps: list[Complexes]) -> Matrices:
        """Sums over the materials, each with its own part of the period."""
        alpha = waves.alpha[:, None, None]
        inside = layer.at(self.basis.point)
        total = {name: np.zeros((alpha.size, self.size, self.size), complex) for name in _PARTS}
        for number, value in enumerate(eps):
            where = (inside == number).astype(float)
            if not where.any():
                continue
            mass, first, both = (
                self.basis.matrix(where, kind) for kind in ((0, 0), (0, 1), (1, 1))
            )
            stiff = both + 1j * alpha * (first.T - first) + alpha**2 * mass
            slope = first + 1j * alpha * mass
            e = value[:, None, None]
            for name, part in (
                ("mass", mass), ("mass_eps", e * mass), ("mass_inverse", mass / e),
                ("stiff", stiff), ("stiff_inverse", stiff / e),
                ("slope", slope), ("slope_inverse", slope / e),
            ):  # fmt: skip
                total[name] += part
        return Matrices(**total)

    def within(self, layer: Layer, material: int) -> np.ndarray:
        """(n,) whether a function belongs to the part of a layer that is of one material."""
        return self.basis.within((layer.at(self.basis.point) == material).all(axis=1))

    def within_matrices(
        self, waves: IncidentWaves, layer: Layer, material: int, chosen: np.ndarray
    ) -> tuple[Complexes, Complexes]:
        """Mass and stiffness (b, n, n) of some functions over one material alone."""
        alpha = waves.alpha[:, None, None]
        where = (layer.at(self.basis.point) == material).astype(float)
        mass, first, both = (self.basis.matrix(where, kind) for kind in ((0, 0), (0, 1), (1, 1)))
        stiff = both + 1j * alpha * (first.T - first) + alpha**2 * mass
        whole = np.broadcast_to(mass + 0j, stiff.shape)
        rows, columns = chosen[:, None], chosen[None, :]
        return np.asarray(whole[:, rows, columns]), np.asarray(stiff[:, rows, columns] + 0j)

    def walls(self, layer: Layer) -> np.ndarray:
        """(n,) whether a function's node lies on a wall."""
        apart = np.abs(self.basis.node[:, None] - np.asarray(layer.wall))
        apart = np.minimum(apart, np.abs(1 - apart))
        return np.asarray(apart.min(axis=1) < 1e-12)


_PARTS = (
    "mass", "mass_eps", "mass_inverse", "stiff", "stiff_inverse", "slope", "slope_inverse",
)  # fmt: skip


class ModalMethod:
    """Modes of a stack of ruled layers.

    Parameters
    ----------
    functions : basis along x
    layers : from the top down
    eps : (b,) permittivity of each material; None in it is a perfect conductor
    """

    def __init__(
        self, functions: Functions, layers: tuple[Layer, ...], eps: list[Complexes | None]
    ) -> None:
        self._functions, self._layers, self._eps = functions, layers, eps
        self.top = self.bottom = functions.face

    @property
    def size(self) -> int:
        """Number of functions."""
        return self._functions.size

    def problem(self, kind: Kind, waves: IncidentWaves) -> Problem:
        """Which fields are coupled."""
        return Problem(kind, waves, self._uniform(waves).slope)

    def region(self, problem: Problem, eps: Complexes) -> Region:
        """A homogeneous half-space: one Hermitian eigenproblem for all media."""
        waves = problem.waves
        m = self._uniform(waves)
        # by way of 1 / (alpha^2 + k0^2), for the reason given at `_modes`
        k2 = (waves.k0**2)[:, None, None]
        lower = np.linalg.inv(np.linalg.cholesky(m.stiff + k2 * m.mass))
        raised = np.conj(np.swapaxes(lower, 1, 2))
        inverse, vector = np.linalg.eigh(lower @ m.mass @ raised)
        phi, value = raised @ vector, 1 / inverse - k2[:, :, 0]
        rho = _root(waves.transverse(eps)[:, None] - value, waves)
        normal = 1j * (m.mass @ phi) * rho[:, None, :]
        up, down = Modes(phi, normal, rho), Modes(phi, -normal, -rho)
        return Region(problem.half(eps, up), problem.half(eps, down))

    def above(self, problem: Problem, eps: Complexes) -> Half:
        """Upward waves of the half-space that the light comes from."""
        return self.region(problem, eps).up

    def layers(self, problem: Problem) -> list[Region]:
        """The ruled layers; none where the material is a perfect conductor (see `below`)."""
        if any(e is None for e in self._eps):
            return []
        return [self._ruled(problem, layer) for layer in self._layers]

    def below(self, problem: Problem, eps: Complexes | None) -> Relation:
        """Relation at the lowest face, or, of a perfect conductor, at the top of its grooves."""
        if eps is None:
            return self._grooved(problem)
        return open_below(self.region(problem, eps).down)

    def _uniform(self, waves: IncidentWaves) -> Matrices:
        identity = np.ones(waves.k0.size, dtype=np.complex128)
        return self._functions.matrices(waves, Layer(0.0, (0.0,), (0,)), [identity])

    def _ruled(self, problem: Problem, layer: Layer) -> Region:
        known = [e for e in self._eps if e is not None]
        m = self._functions.matrices(problem.waves, layer, known)
        k2 = (problem.waves.k0**2)[:, None, None]
        q2 = (problem.waves.q**2)[:, None]
        if problem.kind == "both":
            s_psi, psi = _modes(m.mass, k2 * m.mass_eps - m.stiff, k2)
            s_phi, phi = _modes(m.mass_inverse, k2 * m.mass - m.stiff_inverse, k2)
            pair = _root(s_psi - q2, problem.waves), _root(s_phi - q2, problem.waves)
            up = _both(problem.waves, m, (s_psi, psi, pair[0]), (s_phi, phi, pair[1]))
            down = _both(problem.waves, m, (s_psi, psi, -pair[0]), (s_phi, phi, -pair[1]))
            return Region(up, down, layer.thickness)
        along = problem.kind == "along"
        mass = m.mass if along else m.mass_inverse
        stiffness = k2 * m.mass_eps - m.stiff if along else k2 * m.mass - m.stiff_inverse
        squared, value = _modes(mass, stiffness, k2)
        rho = _root(squared, problem.waves)
        flux = 1j * (mass @ value) * rho[:, None, :]
        return Region(Half(value, flux, rho), Half(value, -flux, -rho), layer.thickness)

    def _grooved(self, problem: Problem) -> Relation:
        """Grooves of one depth between walls of a perfect conductor, as a relation at the top."""
        functions, layer = self._functions, self._layers[0]
        if not isinstance(functions, Polynomials) or len(self._layers) > 1:
            raise TypeError("a perfect conductor needs one layer, and functions that end at walls")
        number = next(k for k, e in enumerate(self._eps) if e is not None)
        eps = self._eps[number]
        assert eps is not None
        inside = functions.within(layer, number)
        if problem.kind == "along":
            inside &= ~functions.walls(layer)
        chosen = np.flatnonzero(inside)
        mass, stiff = functions.within_matrices(problem.waves, layer, number, chosen)
        across = problem.waves.transverse(eps)[:, None, None]
        squared, value = _modes(mass, across * mass - stiff, across.real)
        rho = _root(squared, problem.waves)
        flux = problem.weights(eps)[0 if problem.kind == "along" else 1] * (
            1j * (mass @ value) * rho[:, None, :]
        )
        gap = Region(Half(value, flux, rho), Half(value, -flux, -rho), layer.thickness)
        above = through(gap, conductor(problem, chosen.size))[0]
        return _embedded(problem, above, inside)


def _embedded(problem: Problem, groove: Relation, inside: np.ndarray) -> Relation:
    """The relation at the top of the grooves for all functions: on the ridges a conductor's."""
    size = inside.size
    whole = conductor(problem, size)
    field, flux = whole.field.copy(), whole.flux.copy()
    chosen = np.flatnonzero(inside)
    field[:, chosen], flux[:, chosen] = 0.0, 0.0
    rows, columns = chosen[:, None], chosen[None, :]
    field[:, rows, columns], flux[:, rows, columns] = groove.field, groove.flux
    return Relation(field, flux)


def _modes(mass: Complexes, stiffness: Complexes, k2: Floats) -> tuple[Complexes, Complexes]:
    """Eigenvalues (b, n) and eigenvectors of right phi = s^2 mass phi.

    By way of 1 / (s^2 - shift): rounding is in proportion to the largest eigenvalue, which here
    belongs to the modes of the light's own scale, not to those of the finest element. Nothing
    lies near the shift: losses make Im s^2 > 0.
    """
    shift = _SHIFT * k2
    value, vector = np.linalg.eig(np.linalg.solve(stiffness - shift * mass, mass))
    return np.asarray(shift[:, :, 0] + 1 / value), np.asarray(vector)


def _root(squared: Complexes, waves: IncidentWaves) -> Complexes:
    """rho with Im >= 0, never 0: modes up and down must differ."""
    tiny = _CUT_OFF * (waves.k0**2)[:, None]
    root = np.sqrt(np.where(np.abs(squared) < tiny, tiny, squared) + 0j)
    upside = (root.imag < 0) & (np.abs(root.imag) > 1e-9 * np.abs(root.real))
    return np.where(upside, -root, root)


def _both(
    waves: IncidentWaves,
    m: Matrices,
    electric: tuple[Complexes, Complexes, Complexes],
    magnetic: tuple[Complexes, Complexes, Complexes],
) -> Half:
    """Modes with E_x = 0 and with h_x = 0 as (E, h) and (U_E, U_h) = (i h_x, -i E_x)."""
    k0, q = waves.k0[:, None, None], waves.q[:, None, None]
    (s_psi, psi, rho_psi), (s_phi, phi, rho_phi) = (
        (s[:, None, :], f, r[:, None, :]) for s, f, r in (electric, magnetic)
    )
    field = np.block(
        [
            [k0 * rho_psi * psi, 1j * q * np.linalg.solve(m.mass, m.slope_inverse @ phi)],
            [1j * q * np.linalg.solve(m.mass, m.slope @ psi), -k0 * rho_phi * phi],
        ]
    )
    zero = np.zeros_like(psi)
    flux = np.block(
        [
            [1j * s_psi * (m.mass @ psi), zero],
            [zero, -1j * s_phi * (m.mass_inverse @ phi)],
        ]
    )
    rho = np.concatenate([rho_psi[:, 0], rho_phi[:, 0]], axis=1)
    return Half(field, flux, rho)
