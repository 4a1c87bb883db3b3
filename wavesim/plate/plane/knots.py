"""Wavelengths at which patterns are computed, fewer than those that carry the light.

A pattern changes smoothly with the wavelength, however sharp the lines of the light are. What it
is at a wavelength follows from those beside it, and the light is shared out between them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.diffraction.fresnel import Wavefront
from wavesim.plate.plane.frame import PER_FRINGE
from wavesim.plate.plane.interpolation import TAPS, cardinal
from wavesim.plate.plane.wavelengths import Wavelengths

_MOST_NEAR = 160  # beyond, white light shows no Fresnel zones any more
_LEAST = 24  # of the far field: the power of a cell is no power of 1 / lambda over the spectrum
_FEWER = 0.7  # knots for each wavelength from which they save nothing


@dataclass(frozen=True, eq=False)
class Knots:
    """Wavelengths at which patterns are computed.

    Attributes
    ----------
    wavelength_m : (k,) [m] ascending, in the air along the bench
    weight : (b, k) part of each wavelength's light that each knot stands for; None where the
        knots are the wavelengths themselves
    """

    wavelength_m: Floats
    weight: Floats | None = None

    def shared(self, light: Floats) -> Floats:
        """(k, c) from (b, c), light of the wavelengths."""
        return light if self.weight is None else np.asarray(self.weight.T @ light)


def far_knots(wavelengths: Wavelengths, path_m: float) -> Knots:
    """Knots even in 1 / lambda, so close that four stand for the finest oscillation.

    At (p, q) the far field's power oscillates over 1 / lambda with periods no shorter than
    1 / path, path = width |sin alpha + p| + height |q|. The polynomial of degree eleven through
    the twelve knots about a wavelength is right to 1e-5 there, as it is between a frame's cells.
    Some knots lie beyond the spectrum. Where they would save nothing the wavelengths are taken.
    """
    inverse = 1 / wavelengths.bench_m
    first, last = float(inverse.min()), float(inverse.max())
    within = max(math.ceil(PER_FRINGE * path_m * (last - first)), _LEAST) + 1
    step, beyond = (last - first) / (within - 1), TAPS // 2
    if within + 2 * beyond > _FEWER * wavelengths.power.size or first <= beyond * step:
        return Knots(wavelengths.bench_m)
    k = np.arange(-beyond, within + beyond, dtype=np.float64)
    weight = cardinal((inverse[:, None] - first) / step - k)
    return Knots(1 / (first + step * k[::-1]), np.ascontiguousarray(weight[:, ::-1]))


def near_knots(
    wavelengths: Wavelengths, size_m: tuple[float, float], far: float, front: Wavefront
) -> Knots:
    """Knots as close as the far field's step asks, and six to a Fresnel zone, but 160 at most.

    Patterns are straight between them. Where fewer wavelengths carry light, they are the knots.
    """
    w, step = wavelengths.bench_m, min(far, front.zone_step(max(size_m) / 2))
    n = min(math.ceil(math.log(w[-1] / w[0]) / step) + 1, _MOST_NEAR)
    if n >= w.size or w.size < 3:
        return Knots(w)
    knots = np.geomspace(w[0], w[-1], max(n, 3))
    weight = np.stack([np.interp(w, knots, row) for row in np.eye(knots.size)], axis=1)
    used = weight.any(axis=0)
    return Knots(knots[used], weight[:, used])
