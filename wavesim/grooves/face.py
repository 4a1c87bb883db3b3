"""A face of the grating: incident waves on it, and the orders that leave it.

By Green's theorem with the wave psi = exp(-i alpha_n x -+ i beta_n y), which runs back along
order n, the amplitude of an order above (below) the face is

    R_n = i / (2 beta_n)  integral (F d_n psi - psi d_n F) ds     (T_n: - i / (2 beta_n))

over one period. It is right wherever the face lies and needs no expansion in plane waves there.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wavesim.arrays import Complexes, Floats, Indices
from wavesim.grooves.basis import Elements
from wavesim.grooves.waves import IncidentWaves


class Face(Protocol):
    """What the far field needs of a face and its functions."""

    def incident(self, waves: IncidentWaves, eps: Complexes) -> tuple[Complexes, Complexes]:
        """Values and weak normal derivatives (b, n) of the unit incident wave."""

    def receivers(
        self, waves: IncidentWaves, eps: Complexes, order: Indices, *, above: bool
    ) -> tuple[Complexes, Complexes]:
        """p, q (b, orders, n): q F - p G is the integral of the module's head."""


@dataclass(frozen=True, eq=False)
class Curve:
    """One period of a profile at any parameter t: (x, y, dx/dt, dy/dt), x(t + 1) = x(t) + 1."""

    at: Callable[[Floats], tuple[Floats, Floats, Floats, Floats]]


@dataclass(frozen=True, eq=False)
class ElementFace:
    """A face described by piecewise polynomials."""

    basis: Elements
    curve: Curve

    def incident(self, waves: IncidentWaves, eps: Complexes) -> tuple[Complexes, Complexes]:
        """exp(i alpha x - i beta y) on the face."""
        beta = waves.beta(eps, np.array([0]))[:, 0]
        alpha = waves.alpha
        value, _ = self._wave(waves, self.basis.node, alpha[:, None], -beta[:, None])
        _, normal = self._wave(waves, self.basis.point, alpha[:, None, None], -beta[:, None, None])
        return value, self.basis.vector(normal)

    def receivers(
        self,
        waves: IncidentWaves,
        eps: Complexes,
        order: Indices,
        *,
        above: bool,
        grazing: bool = False,
    ) -> tuple[Complexes, Complexes]:
        """The waves that run back along the orders; `grazing`: of evanescent ones, too."""
        run = grazing | waves.travelling(eps, order)
        beta = np.where(run, waves.beta(eps, order), 0.0) * (-1.0 if above else 1.0)
        alpha = -(waves.alpha[:, None] + 2 * np.pi * order)
        p, _ = self._wave(waves, self.basis.node, alpha[..., None], beta[..., None], back=True)
        point = self.basis.point
        kx, ky = alpha[..., None, None], beta[..., None, None]
        _, normal = self._wave(waves, point, kx, ky, back=True)
        return p, self.basis.vector(normal)

    def _wave(
        self,
        waves: IncidentWaves,
        t: Floats,
        kx: Floats,
        ky: Floats | Complexes,
        *,
        back: bool = False,
    ) -> tuple[Complexes, Complexes]:
        """exp(i kx x + i ky y) without the phase of the functions, and its normal derivative."""
        x, y, dx, dy = self.curve.at(t)
        own = waves.alpha.reshape(-1, *(1,) * (kx.ndim - 1)) * (1.0 if back else -1.0)
        value = np.exp(1j * (kx * x + own * t + ky * y))
        return np.asarray(value), np.asarray(1j * (ky * dx - kx * dy) * value)


@dataclass(frozen=True, eq=False)
class FourierFace:
    """A flat face described by plane waves exp(i alpha_n x), n = -N..N."""

    size: int

    def incident(self, waves: IncidentWaves, eps: Complexes) -> tuple[Complexes, Complexes]:
        """Wave 0."""
        beta = waves.beta(eps, np.array([0]))
        value = np.zeros((waves.k0.size, self.size), dtype=np.complex128)
        value[:, self.size // 2] = 1.0
        return value, -1j * beta * value

    def receivers(
        self, waves: IncidentWaves, eps: Complexes, order: Indices, *, above: bool
    ) -> tuple[Complexes, Complexes]:
        """One wave for each order; none for orders beyond N."""
        run = waves.travelling(eps, order)
        beta = np.where(run, waves.beta(eps, order), 0.0) * (-1.0 if above else 1.0)
        p = np.zeros((waves.k0.size, order.size, self.size), dtype=np.complex128)
        held = np.flatnonzero(np.abs(order) <= self.size // 2)
        p[:, held, order[held] + self.size // 2] = 1.0
        return p, 1j * beta[..., None] * p
