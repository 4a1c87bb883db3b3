"""Wavelengths for a plate in two dimensions, each with its light and its position between nodes."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from wavesim.arrays import Floats
from wavesim.light.air import STANDARD, AirLike, relative_to_standard
from wavesim.plate.bins import comb, nodes_about
from wavesim.plate.photometry import sensitivities
from wavesim.plate.spreading import spread

if TYPE_CHECKING:
    import numpy.typing as npt

    from wavesim.light import Recorder, Spectrum

_MOST = 20_000
_FEW = 64  # bins that a band's sharp ends are seen in
_MARGIN_LINES, _RESOLVED_LINE, _SPARE, _NARROW = 3.0, 20.0, 5, 0.02  # as in `plate.bins`


@dataclass(frozen=True, eq=False)
class Wavelengths:
    """Wavelengths with their light.

    Attributes
    ----------
    wavelength_m : (b,) [m] centres of power, ascending
    bench_m : (b,) [m] the same in the air along the bench
    power : (b,) [W m-2 sr-1] or [W m-2]
    node_m : (k,) [m] whole nanometres about them
    below : (b,) number of the node below each
    error : estimated relative error of a pixel in smooth light from their finite number
    recorder : what weighs them in place of the standard observer, if anything does
    """

    wavelength_m: Floats
    bench_m: Floats
    power: Floats
    node_m: Floats
    below: npt.NDArray[np.int64]
    error: float
    recorder: Recorder | None = None

    @property
    def upper_fraction(self) -> Floats:
        """(b,) fraction of the light that belongs to the node above, 0 to 1."""
        width = self.node_m[self.below + 1] - self.node_m[self.below]
        return np.clip((self.wavelength_m - self.node_m[self.below]) / width, 0.0, 1.0)

    def weights(self) -> Floats:
        """(b, 4) X, Y, Z [lx] and power [W m-2]: the observer straight between whole nanometres.

        (b, 7) with a recorder's three [lx].
        """
        curves = sensitivities(self.node_m, self.recorder)
        t = self.upper_fraction[:, None]
        return self.power[:, None] * (curves[self.below] * (1 - t) + curves[self.below + 1] * t)

    def onto_nodes(self) -> Floats:
        """(b, k) light of each wavelength shared between the nodes beside it."""
        out = np.zeros((self.power.size, self.node_m.size))
        b = np.arange(self.power.size)
        out[b, self.below] = self.power * (1 - self.upper_fraction)
        out[b, self.below + 1] += self.power * self.upper_fraction
        return out


@dataclass(frozen=True)
class Steps:
    """How finely a plate in two dimensions takes wavelengths.

    Attributes
    ----------
    inverse_per_m : [1/m] step of 1 / lambda, even over each interval of the spectrum
    error : relative error of a pixel that smooth light may have from it
    resolved : whether it is set by the pattern, not by the blur of pixel or source
    """

    inverse_per_m: float
    error: float
    resolved: bool = True


def choose_wavelengths(
    spectrum: Spectrum, steps: Steps, *, air: AirLike = STANDARD, recorder: Recorder | None = None
) -> Wavelengths:
    """Bins of even steps in 1 / lambda, the spectrum integrated over each.

    Where light has lines that a bin does not resolve, or few bins hold it all, it is shared between
    the wavelengths about it (`plate.spreading`), and bins are as many as that asks; else light at
    its centre of power stands for a bin.
    """
    nodes = nodes_about(spectrum.support_m)
    step = steps.inverse_per_m
    lines = spectrum.features_m < _RESOLVED_LINE * step * 550e-9**2
    whole = sum(1 / a - 1 / b for a, b in spectrum.support_m)
    lines = steps.resolved and (lines or whole < _FEW * step)
    if lines:
        step *= 2.0 / _MARGIN_LINES
    lo, hi = [], []
    for a, b in spectrum.support_m:
        n = (1 / a - 1 / b) / step
        n += _SPARE if lines and n > _NARROW else 0
        t = comb(min(max(1, math.ceil(n)), _MOST))
        edges = 1 / (1 / a + (1 / b - 1 / a) * t)
        edges[0], edges[-1] = a, b
        lo.append(edges[:-1])
        hi.append(edges[1:])
    ends = np.concatenate(lo), np.concatenate(hi)
    power, centre = spread(spectrum, *ends) if lines else spectrum.integrate(*ends)
    nonzero = power != 0
    air_ratio = np.asarray(relative_to_standard(centre[nonzero], air))
    node = np.clip(np.searchsorted(nodes, centre[nonzero], side="right") - 1, 0, nodes.size - 2)
    return Wavelengths(
        centre[nonzero],
        centre[nonzero] * air_ratio,
        power[nonzero],
        nodes,
        node,
        steps.error,
        recorder,
    )
