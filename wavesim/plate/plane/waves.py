"""Wavelengths for a plate in two dimensions, each with its light and its place between nodes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.light.air import STANDARD, Air, relative_to_standard
from wavesim.plate.bins import nodes_about
from wavesim.plate.photometry import sensitivities

if TYPE_CHECKING:
    import numpy.typing as npt

    from wavesim.light import Spectrum

_MOST = 20_000


@dataclass(frozen=True, eq=False)
class Waves:
    """Wavelengths with their light.

    Attributes
    ----------
    wavelength_m : (b,) [m] centres of power, ascending
    bench_m : (b,) [m] the same in the air along the bench
    power : (b,) [W m-2 sr-1] or [W m-2]
    node_m : (k,) [m] whole nanometres about them
    below : (b,) number of the node below each
    error : estimated relative error of a pixel in smooth light from their finite number
    """

    wavelength_m: Floats
    bench_m: Floats
    power: Floats
    node_m: Floats
    below: npt.NDArray[np.int64]
    error: float

    @property
    def part(self) -> Floats:
        """(b,) share of the light that belongs to the node above, 0 to 1."""
        width = self.node_m[self.below + 1] - self.node_m[self.below]
        return np.clip((self.wavelength_m - self.node_m[self.below]) / width, 0.0, 1.0)

    def weights(self) -> Floats:
        """(b, 4) X, Y, Z [lx] and power [W m-2]: the observer straight between whole nanometres."""
        seen = sensitivities(self.node_m)
        t = self.part[:, None]
        return self.power[:, None] * (seen[self.below] * (1 - t) + seen[self.below + 1] * t)

    def onto_nodes(self) -> Floats:
        """(b, k) light of each wavelength shared between the nodes beside it."""
        out = np.zeros((self.power.size, self.node_m.size))
        b = np.arange(self.power.size)
        out[b, self.below] = self.power * (1 - self.part)
        out[b, self.below + 1] += self.power * self.part
        return out


def choose_waves(
    spectrum: Spectrum, relative: float, *, error: float, air: Air = STANDARD
) -> Waves:
    """Bins of at most `relative` x wavelength (and a nanometre), the spectrum integrated over each.

    Light at its centre of power stands for a bin.
    """
    nodes = nodes_about(spectrum.support_m)
    lo, hi, below = [], [], []
    for k in range(nodes.size - 1):
        for a, b in spectrum.support_m:
            first, last = max(a, nodes[k]), min(b, nodes[k + 1])
            if last <= first:
                continue
            n = max(1, math.ceil((last - first) / (relative * first)))
            edges = np.linspace(first, last, min(n, _MOST) + 1)
            lo.append(edges[:-1])
            hi.append(edges[1:])
            below.append(np.full(edges.size - 1, k))
    power, centre = spectrum.integrate(np.concatenate(lo), np.concatenate(hi))
    lit = power > 0
    stretch = np.asarray(relative_to_standard(centre[lit], air))
    node = np.concatenate(below)[lit]
    return Waves(centre[lit], centre[lit] * stretch, power[lit], nodes, node, error)
