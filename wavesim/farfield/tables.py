"""The aperture's far-field power as running integrals over u, ready for any wavelength."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.combs import Aperture
from wavesim.aperture.elements import Complexes, Floats, Rays
from wavesim.farfield.running import (
    CELLS,
    RunningIntegral,
    cells_for,
    guarded,
    integrate,
    integrate_again,
)
from wavesim.farfield.sampling import in_blocks, sampled

Envelope = Callable[[Rays], Complexes | Floats]


@dataclass(frozen=True, eq=False)
class PowerTable:
    """|A|^2 of an aperture whose elements depend on u alone, integrated over u.

    Attributes
    ----------
    integral : running integral of |A|^2 per unit height squared [m]
    """

    integral: RunningIntegral


def table_bytes(aperture_width_m: float, first_per_m: float, last_per_m: float) -> int:
    """Memory that the table and its making need [bytes], before anything is allocated."""
    cells = CELLS * aperture_width_m * (last_per_m - first_per_m) + 64
    return int(cells * (40 + 48 + 16 + 8 + 8))


def power_table(
    aperture: Aperture, first_per_m: float, last_per_m: float, *, again: bool = False
) -> PowerTable:
    """Tabulate T(u) between two frequencies [1/m]; with its own integral if `again`.

    Cost: one non-uniform FFT of CELLS * W * (last - first) samples per kind of element.
    """
    width = aperture.width_m
    step = 1.0 / (cells_for(width, first_per_m, last_per_m) * width)
    start, count = guarded(first_per_m, last_per_m, step)
    amplitude = np.zeros(count, dtype=np.complex128)
    for comb in aperture.combs:
        part = sampled(comb, aperture.centre_m, start, step, count)
        _envelope(part, comb.element.amplitude, start, step)
        amplitude += part
    samples = amplitude.real**2 + amplitude.imag**2
    table = integrate(samples, start, step)
    return PowerTable(integrate_again(table) if again else table)


def _envelope(part: Complexes, amplitude: Envelope, start: float, step: float) -> None:
    def multiply(first: int, last: int) -> None:
        u: Floats = start + step * np.arange(first, last, dtype=np.float64)
        part[first:last] *= amplitude(Rays(0.0, u, 1.0))

    in_blocks(multiply, part.size)
