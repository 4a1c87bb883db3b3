"""Elements: the single slit, groove or gap that is repeated at many positions.

An element knows its amplitude transform along x, the direction of dispersion,

    E(u) = integral t(x) exp(-2 pi i u x) dx   [m],      u = (sin alpha + sin beta) / lambda,

with x from the element's centre. An opaque-and-clear element depends on u alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol, runtime_checkable

import numpy as np

from wavesim.arrays import Complexes as Complexes
from wavesim.arrays import Floats as Floats


@dataclass(frozen=True)
class Rays:
    """Directions and wavelengths at which an element is asked for its amplitude.

    `sine_in` is sin(alpha), `sine_out` sin(beta) (any shapes that broadcast), `wavelength_m`
    the wavelength in the air of the bench.
    """

    sine_in: float
    sine_out: Floats
    wavelength_m: Floats | float

    @property
    def u(self) -> Floats:
        """Spatial frequency (sin alpha + sin beta) / lambda [1/m]."""
        return np.asarray((self.sine_in + self.sine_out) / self.wavelength_m)


@runtime_checkable
class Element(Protocol):
    """What the far field needs of an element."""

    @property
    def width_m(self) -> float:
        """Full width of the element's support along x [m]."""

    @property
    def open_width_m(self) -> float:
        """Integral of |t|^2 over the element [m]: the width that lets power through."""

    @property
    def of_u_alone(self) -> bool:
        """Whether the amplitude depends on u alone (opaque and clear)."""

    def amplitude(self, rays: Rays) -> Complexes | Floats:
        """E [m] at those rays; shape of the broadcast rays."""


@dataclass(frozen=True)
class Slit:
    """A clear slit: E(u) = w sinc(w u), sinc(t) = sin(pi t) / (pi t).

    Born & Wolf, Principles of Optics, section 8.5.1. Scalar theory: for a width below a few
    wavelengths the positions of maxima hold and the absolute transmission does not.
    """

    width_m: float

    @property
    def open_width_m(self) -> float:
        """The width itself [m]."""
        return self.width_m

    @property
    def of_u_alone(self) -> bool:
        """Always: a slit changes no phase."""
        return True

    def amplitude(self, rays: Rays) -> Floats:
        """w sinc(w u) [m]."""
        return np.asarray(self.width_m * np.sinc(self.width_m * rays.u))
