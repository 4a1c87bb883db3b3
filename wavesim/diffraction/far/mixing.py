"""Fewer kinds of element for rulings whose grooves all differ.

Grooves that vary are a sum of R kinds, sum_r E_r B_r (aperture/spread.py), and the power of a
plate would need R^2 running integrals. But the R envelopes look alike: over all rays they span
a few directions only. With the singular values of a sample of them, E = U S V,

    sum_r E_r B_r = sum_k e_k b_k,   e_k = sum_r V_kr E_r,   b_k = sum_r V_kr B_r,

and the strengths S_k fall fast: products below `DROPPED` are left out.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.aperture.elements import Element, Rays
from wavesim.arrays import Complexes, Floats
from wavesim.constants import VISIBLE_HI_M, VISIBLE_LO_M

DROPPED = 1e-7  # of the strongest product of two envelopes


@dataclass(frozen=True, eq=False)
class Blend:
    """A weighted sum of elements that stand at the same positions."""

    elements: tuple[Element, ...]
    weight: Floats

    @property
    def width_m(self) -> float:
        """Width of the widest [m]."""
        return max(element.width_m for element in self.elements)

    @property
    def open_width_m(self) -> float:
        """Not a transmitting element by itself: the width of its support [m]."""
        return self.width_m

    @property
    def of_u_alone(self) -> bool:
        """As its parts."""
        return all(element.of_u_alone for element in self.elements)

    def amplitude(self, rays: Rays) -> Complexes:
        """E [m] at those rays."""
        parts = zip(self.weight, self.elements, strict=True)
        return np.asarray(sum(weight * element.amplitude(rays) for weight, element in parts))


@dataclass(frozen=True, eq=False)
class Mixing:
    """How many kinds become few.

    Attributes
    ----------
    matrix : (k, r) real V; its rows are orthonormal
    strength : (k,) largest first, the first is 1
    """

    matrix: Floats
    strength: Floats

    def blends(self, elements: tuple[Element, ...]) -> tuple[Blend, ...]:
        """The envelopes e_k."""
        return tuple(Blend(elements, row) for row in self.matrix)

    def counts(self, k: int, other: int) -> bool:
        """Whether the product of two envelopes is strong enough to be kept."""
        return bool(self.strength[k] * self.strength[other] >= DROPPED)


def mixing(elements: tuple[Element, ...]) -> Mixing:
    """Directions that the envelopes span over visible wavelengths and all angles.

    The matrix is real, so that a ruling of real weights keeps |b(-u)| = |b(u)|.
    """
    sine = np.linspace(-0.95, 0.95, 39)[:, None]
    wavelength = np.linspace(VISIBLE_LO_M, VISIBLE_HI_M, 12)
    rays = [Rays(sine_in, sine - sine_in, wavelength) for sine_in in (0.0, 0.4)]
    rays = [Rays(r.sine_in, np.clip(r.sine_out, -0.95, 0.95), r.wavelength_m) for r in rays]
    sampled = np.stack(
        [np.concatenate([np.ravel(e.amplitude(r)) for r in rays]) for e in elements], axis=1
    )
    both = np.vstack([sampled.real, sampled.imag])
    _, strength, matrix = np.linalg.svd(both, full_matrices=False)
    strong = strength >= DROPPED * strength[0]
    return Mixing(np.asarray(matrix[strong]), np.asarray(strength[strong] / strength[0]))
