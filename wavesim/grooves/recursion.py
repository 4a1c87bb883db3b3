"""Fields at the faces of a stack of layers, by a recursion of decaying exponentials alone.

In every region the field at a face is (f, U): coefficients of the tangential components and of
the weak fluxes that are continuous there. Modes run up, f_u exp(i rho_u (y - bottom)), and down,
f_d exp(i rho_d (y - top)), so that no exponential grows. What lies below a face is the relation
P f + Q U = 0; carried through a layer of thickness H,

    b = -(P f_u + Q U_u)^-1 (P f_d + Q U_d) X_d a

gives the upward amplitudes b by the downward ones a (cf. the scattering recursion of Li 1996,
J. Opt. Soc. Am. A 13, 1024). All arrays carry a batch of wavelengths in front.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Complexes


@dataclass(frozen=True, eq=False)
class Half:
    """Modes of one direction: fields and fluxes (b, n, n) by column, exponents (b, n)."""

    field: Complexes
    flux: Complexes
    rho: Complexes


@dataclass(frozen=True, eq=False)
class Region:
    """A homogeneous or ruled medium; thickness in periods, 0 for a half-space."""

    up: Half
    down: Half
    thickness: float = 0.0


@dataclass(frozen=True, eq=False)
class Relation:
    """P f + Q U = 0 at a face, (b, n, n) each."""

    field: Complexes
    flux: Complexes

    def at(self, half: Half) -> Complexes:
        """P f + Q U of some modes."""
        return self.field @ half.field + self.flux @ half.flux


@dataclass(frozen=True, eq=False)
class Faces:
    """Total fields of the incident waves (b, n, incident) at the top and the bottom face."""

    top: tuple[Complexes, Complexes]
    bottom: tuple[Complexes, Complexes]


def open_below(down: Half) -> Relation:
    """Relation of a half-space into which all waves run."""
    swapped = np.linalg.solve(np.swapaxes(down.field, 1, 2), np.swapaxes(down.flux, 1, 2))
    size = down.field.shape[-1]
    minus = np.broadcast_to(-np.eye(size, dtype=np.complex128), down.field.shape)
    return Relation(np.swapaxes(swapped, 1, 2), minus)


@dataclass(frozen=True, eq=False)
class Passed:
    """A layer gone through: fields at its faces by the downward amplitudes at its top."""

    top_field: Complexes
    bottom_field: Complexes
    bottom_flux: Complexes


def through(layer: Region, below: Relation) -> tuple[Relation, Passed]:
    """The relation at the top of a layer, and the layer's fields, from that at its bottom."""
    up, down, size = layer.up, layer.down, layer.up.field.shape[-1]
    fall = np.exp(-1j * down.rho * layer.thickness)[:, None, :]
    rise = np.exp(1j * up.rho * layer.thickness)[:, None, :]
    returned = -np.linalg.solve(below.at(up), below.at(down) * fall)
    top_field = (up.field * rise) @ returned + down.field
    top_flux = (up.flux * rise) @ returned + down.flux
    passed = Passed(
        top_field, up.field @ returned + down.field * fall, up.flux @ returned + down.flux * fall
    )
    swapped = np.linalg.solve(np.swapaxes(top_field, 1, 2), np.swapaxes(top_flux, 1, 2))
    minus = np.broadcast_to(-np.eye(size, dtype=np.complex128), top_field.shape)
    return Relation(np.swapaxes(swapped, 1, 2), minus), passed


def faces(
    above: Half, layers: list[Region], below: Relation, incident: tuple[Complexes, Complexes]
) -> Faces:
    """Fields at the faces of a stack.

    Parameters
    ----------
    above : upward modes of the half-space that the light comes from
    layers : from the top down, all of the same number of functions
    below : relation at the lowest face
    incident : field and flux (b, n, incident) of the incident waves at the top face
    """
    gone: list[Passed] = []
    relation = below
    for layer in reversed(layers):
        relation, passed = through(layer, relation)
        gone.append(passed)
    wanted = relation.field @ incident[0] + relation.flux @ incident[1]
    scattered = -np.linalg.solve(relation.at(above), wanted)
    field = incident[0] + above.field @ scattered
    flux = incident[1] + above.flux @ scattered
    top = (field, flux)
    for passed in reversed(gone):
        amplitude = np.linalg.solve(passed.top_field, field)
        field, flux = passed.bottom_field @ amplitude, passed.bottom_flux @ amplitude
    return Faces(top, (field, flux))
