"""Plane waves above and below a grating, and the amplitudes of its orders.

Conventions: time factor exp(-i omega t), index n + i k with k > 0 for loss; x along the grating
vector, y up, z along the grooves; all lengths in periods. Light comes from above:

    alpha_n = alpha_0 + 2 pi n,   beta_n = sqrt(k0^2 eps - q^2 - alpha_n^2),   q = k_z

E and h = Z0 H stand for the z components. Order n here is order -m of the grating equation
d (sin alpha + sin beta) = m lambda.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Complexes, Floats, Indices

_GRAZING = 1e-9  # of k^2: an order this near to grazing carries no power


@dataclass(frozen=True, eq=False)
class IncidentWaves:
    """A batch of incident waves, all lengths in periods.

    Attributes
    ----------
    k0 : (b,) 2 pi over the wavelength in vacuum
    alpha : (b,) k_x of the incident wave
    q : (b,) k_z, along the grooves; 0 in classical mounting
    """

    k0: Floats
    alpha: Floats
    q: Floats

    @property
    def conical(self) -> bool:
        """Whether any wave runs along the grooves too."""
        return bool(np.any(self.q != 0))

    def part(self, chosen: slice | Indices) -> IncidentWaves:
        """Some of the batch."""
        return IncidentWaves(self.k0[chosen], self.alpha[chosen], self.q[chosen])

    def transverse(self, eps: Complexes) -> Complexes:
        """(b,) kappa^2 = k0^2 eps - q^2."""
        return np.asarray(self.k0**2 * eps - self.q**2)

    def beta(self, eps: Complexes, order: Indices) -> Complexes:
        """(b, orders) k_y with Im >= 0."""
        alpha = self.alpha[:, None] + 2 * np.pi * order
        root: Complexes = np.sqrt(self.transverse(eps)[:, None] - alpha**2 + 0j)
        return np.where(root.imag < 0, -root, root)

    def travelling(self, eps: Complexes, order: Indices) -> NDArray[np.bool_]:
        """(b, orders) whether an order leaves as a wave; in a lossy medium none does."""
        alpha = self.alpha[:, None] + 2 * np.pi * order
        squared = self.transverse(eps)[:, None]
        scale = (self.k0**2 * np.abs(eps))[:, None]
        lossless = np.abs(squared.imag) <= _GRAZING * scale
        return np.asarray(lossless & (squared.real - alpha**2 > _GRAZING * scale))

    def orders(self, eps: Complexes) -> Indices:
        """All orders that leave as waves anywhere in the batch (and 0)."""
        reach = np.sqrt(np.maximum(self.transverse(eps).real, 0.0))
        lo = min(0, int(np.ceil(np.min((-reach - self.alpha) / (2 * np.pi)) - 1e-9)))
        hi = max(0, int(np.floor(np.max((reach - self.alpha) / (2 * np.pi)) + 1e-9)))
        return np.arange(lo, hi + 1)


@dataclass(frozen=True, eq=False)
class Amplitudes:
    """Amplitudes of all orders, scaled so that the square is the fraction of the incident power.

    Attributes
    ----------
    order : (orders,) n
    reflected, transmitted : (2, 2, b, orders) complex [out, in]; 0 is E along the grooves
        (h_z = 0), 1 is H along the grooves (E_z = 0); 0 where an order does not leave
    absorbed : (2, b) fraction of the power absorbed below the surface, from the field there
    """

    order: Indices
    reflected: Complexes
    transmitted: Complexes
    absorbed: Floats

    @property
    def reflected_power(self) -> Floats:
        """(2, b, orders) of incident E along, and across, the grooves."""
        return np.asarray(np.sum(np.abs(self.reflected) ** 2, axis=0))

    @property
    def transmitted_power(self) -> Floats:
        """(2, b, orders)"""
        return np.asarray(np.sum(np.abs(self.transmitted) ** 2, axis=0))

    @property
    def balance(self) -> Floats:
        """(2, b) reflected + transmitted + absorbed - 1."""
        out = self.reflected_power.sum(axis=-1) + self.transmitted_power.sum(axis=-1)
        return np.asarray(out + self.absorbed - 1.0)
