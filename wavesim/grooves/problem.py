"""Polarisations: which fields are solved for together, and what is continuous.

With q = 0 (or a perfect conductor) E and h = Z0 H along the grooves part into two problems of one
field each; else they are coupled by the face (Maystre & Petit 1974). With D the derivative along
the face and G the normal derivative, both weak,

    U_E = (k0 eps G_E - q D h) / kappa^2,   U_h = (k0 G_h + q D E) / kappa^2

are continuous together with E and h (U_E = i H_t, U_h = -i E_t). With q = 0, times k0, they are
G_E and G_h / eps.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from wavesim.arrays import Complexes
from wavesim.grooves.recursion import Half
from wavesim.grooves.waves import IncidentWaves

Kind = Literal["along", "across", "both"]


@dataclass(frozen=True, eq=False)
class Modes:
    """Modes of one field in a homogeneous medium: values, weak normal derivative, exponents."""

    value: Complexes
    normal: Complexes
    rho: Complexes


@dataclass(frozen=True, eq=False)
class Problem:
    """One or both fields of a batch of waves.

    Attributes
    ----------
    kind : E along the grooves, H along them ("across": E across), or both coupled
    waves : the batch
    slope : (b, n, n) weak derivative along the face; needed if coupled
    """

    kind: Kind
    waves: IncidentWaves
    slope: Complexes

    def weights(self, eps: Complexes) -> tuple[Complexes, Complexes, Complexes]:
        """Factors (b, 1, 1) of G_E, G_h and of D in the fluxes."""
        if self.kind != "both":
            unity = np.ones_like(eps)
            return unity[:, None, None], (1 / eps)[:, None, None], (0 * unity)[:, None, None]
        squared = self.waves.transverse(eps)
        k0, q = self.waves.k0, self.waves.q
        parts = (k0 * eps / squared, k0 / squared, q / squared + 0j)
        first, second, third = (np.asarray(part)[:, None, None] for part in parts)
        return first, second, third

    def fluxes(
        self, eps: Complexes, value: list[Complexes], normal: list[Complexes]
    ) -> list[Complexes]:
        """Continuous fluxes from values and normal derivatives of the field or both fields."""
        of_e, of_h, mixed = self.weights(eps)
        if self.kind == "along":
            return [of_e * normal[0]]
        if self.kind == "across":
            return [of_h * normal[0]]
        along = of_e * normal[0] - mixed * (self.slope @ value[1])
        across = of_h * normal[1] + mixed * (self.slope @ value[0])
        return [along, across]

    def normals(self, eps: Complexes, value: Complexes, flux: Complexes) -> Complexes:
        """Normal derivatives back from values and fluxes (b, n or 2 n, k)."""
        of_e, of_h, mixed = self.weights(eps)
        if self.kind != "both":
            return np.asarray(flux / (of_e if self.kind == "along" else of_h))
        half = value.shape[1] // 2
        e, h = value[:, :half], value[:, half:]
        along = (flux[:, :half] + mixed * (self.slope @ h)) / of_e
        across = (flux[:, half:] - mixed * (self.slope @ e)) / of_h
        return np.concatenate([along, across], axis=1)

    def half(self, eps: Complexes, modes: Modes) -> Half:
        """Modes of one or both fields in a homogeneous medium."""
        if self.kind != "both":
            return Half(modes.value, self.fluxes(eps, [modes.value], [modes.normal])[0], modes.rho)
        zero = np.zeros_like(modes.value)
        from_e = self.fluxes(eps, [modes.value, zero], [modes.normal, zero])
        from_h = self.fluxes(eps, [zero, modes.value], [zero, modes.normal])
        field = np.block([[modes.value, zero], [zero, modes.value]])
        flux = np.block([[from_e[0], from_h[0]], [from_e[1], from_h[1]]])
        return Half(field, flux, np.concatenate([modes.rho, modes.rho], axis=1))

    def incident(
        self, eps: Complexes, value: Complexes, normal: Complexes
    ) -> tuple[Complexes, Complexes]:
        """Field and flux (b, n or 2 n, incident) of plane waves of E, of h, or of either."""
        v, g = value[:, :, None], normal[:, :, None]
        if self.kind != "both":
            return v, self.fluxes(eps, [v], [g])[0]
        zero = np.zeros_like(v)
        of_e = self.fluxes(eps, [v, zero], [g, zero])
        of_h = self.fluxes(eps, [zero, v], [zero, g])
        field = np.concatenate([np.concatenate([v, zero], 1), np.concatenate([zero, v], 1)], 2)
        flux = np.concatenate([np.concatenate(of_e, 1), np.concatenate(of_h, 1)], 2)
        return field, flux

    def power(self, eps: Complexes, beta: Complexes) -> Complexes:
        """(2, b, orders) power of unit E and of unit h in a wave with that k_y, same scale.

        Down through a face Im(E* U_E + h* U_h) is on this scale too.
        """
        of_e, of_h, _ = self.weights(eps)
        return np.stack([of_e[:, :, 0] * beta, of_h[:, :, 0] * beta])
