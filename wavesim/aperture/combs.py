"""Positions: each kind of element repeated at its places, and the aperture made of them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from wavesim.aperture.elements import Complexes, Element, Floats


@dataclass(frozen=True, eq=False)
class Comb:
    """One kind of element at many positions.

    Attributes
    ----------
    element : the envelope
    position_m : (n,) [m] centres, ascending within rounding, along the direction of dispersion
    weight : (n,) complex amplitude of each element relative to the open beam
    """

    element: Element
    position_m: Floats
    weight: Complexes


@dataclass(frozen=True, eq=False)
class Aperture:
    """Everything the far field needs to know of the plate in the parallel beam.

    Attributes
    ----------
    combs : the kinds of element with their positions
    height_m : [m] height of the rulings (a rectangle along y)
    pitch_m : [m] mean distance between neighbours; the width of a lone element
    limits : sentences about where the theory stops for this aperture
    """

    combs: tuple[Comb, ...]
    height_m: float
    pitch_m: float
    limits: tuple[str, ...] = ()

    @cached_property
    def span_m(self) -> tuple[float, float]:
        """Left and right edge of the whole aperture [m]."""
        lo = min(float(c.position_m.min()) - c.element.width_m / 2 for c in self.combs)
        hi = max(float(c.position_m.max()) + c.element.width_m / 2 for c in self.combs)
        return lo, hi

    @property
    def width_m(self) -> float:
        """Full width [m]: |A(u)|^2 holds no frequency above it."""
        return self.span_m[1] - self.span_m[0]

    @property
    def centre_m(self) -> float:
        """Middle of the aperture [m]."""
        return (self.span_m[0] + self.span_m[1]) / 2

    @property
    def elements(self) -> int:
        """How many elements there are in all; several combs at the same places are one."""
        places = {(c.position_m.size, c.position_m[0], c.position_m[-1]) for c in self.combs}
        return sum(size for size, _, _ in places)

    @property
    def open_width_m(self) -> float:
        """Sum of |w|^2 times the element's open width [m]; times the height, the open area."""
        return float(
            sum(np.sum(np.abs(c.weight) ** 2) * c.element.open_width_m for c in self.combs)
        )

    @property
    def in_phase(self) -> bool:
        """Whether all weights are real, so that |A(-u)| = |A(u)|."""
        return all(not np.any(c.weight.imag) for c in self.combs)

    @property
    def of_u_alone(self) -> bool:
        """Whether every element depends on u alone, so that one table serves all wavelengths."""
        return all(c.element.of_u_alone for c in self.combs)
