"""The summed table of an aperture in the plane, as fine as memory and patience allow."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wavesim.aperture.plane import PlaneAperture
from wavesim.diffraction.planar.pictures import lattice_grid, power_of_lattice
from wavesim.diffraction.planar.sampling import power_of_groups
from wavesim.diffraction.planar.summed import AFTER, BEFORE, Grid, SummedTable, summed

Reach = tuple[float, float, float, float]  # u0, u1, v0, v1 [1/m]

LEAST, MOST = 2.0, 32.0  # samples per 1 / width: what |A|^2 needs, and where error is rounding
_FINE = 4.0  # samples per 1 / width from which quintics gain on cubics
_USUAL = 3_000_000  # samples that cost next to nothing


@dataclass(frozen=True)
class SamplingPlan:
    """How finely an aperture's far field is to be sampled.

    Attributes
    ----------
    cells : samples per 1 / width of the aperture
    reach : frequencies that the table must hold
    samples : their number
    bytes : memory at the peak
    """

    cells: float
    reach: Reach
    samples: int
    bytes: int

    @property
    def fine(self) -> bool:
        """Whether quintics are read."""
        return self.cells >= _FINE

    @property
    def error(self) -> float:
        """Rms error of a pixel's light at one wavelength, of the mean about it, where a pixel is
        as wide as lambda / width: measured on a random picture (tests/test_plane_power.py).

        Wider pixels and more wavelengths lower it: at two samples and pixels twice as wide,
        white light is right to 2e-2 of the mean near the axes' bright bars and 3e-3 off them.
        """
        return 0.4 * (2 / self.cells) ** 6


def plan_table(aperture: PlaneAperture, reach: Reach, *, most: float = MOST) -> SamplingPlan:
    """As many samples per 1 / width as stay within a few million, two at least."""
    width, height = aperture.size_m
    spans_u = width * (reach[1] - reach[0]) + 2
    spans_v = height * (reach[3] - reach[2]) + 2
    cells = min(max(math.sqrt(_USUAL / (spans_u * spans_v)), LEAST), most)
    samples = int((cells * spans_u + BEFORE + AFTER) * (cells * spans_v + BEFORE + AFTER))
    return SamplingPlan(cells, reach, samples, _bytes(aperture, cells, samples))


def _bytes(aperture: PlaneAperture, cells: float, samples: int) -> int:
    lattice = aperture.lattice
    if lattice is None:
        return 8 * samples + 2 * (1 << 21) * 80 + 64 * aperture.elements
    padded = cells * cells * lattice.amplitude.size
    half = 0.5 if lattice.path_m is None else 1.0
    item = 8 if lattice.amplitude.size > 1 << 20 and half == 0.5 else 16
    return int(8 * samples + half * padded * item + 12 * lattice.amplitude.size + (1 << 27))


def plane_table(
    aperture: PlaneAperture, plan: SamplingPlan, *, wavelength_m: float | None = None
) -> SummedTable:
    """Sample |A|^2 once, for all wavelengths, and sum it up."""
    if aperture.lattice is not None:
        grid = lattice_grid(aperture.lattice, plan.cells, plan.reach, (BEFORE, AFTER))
        power = power_of_lattice(aperture.lattice, grid, wavelength_m=wavelength_m)
    else:
        grid = group_grid(aperture, plan)
        power = power_of_groups(aperture, grid)
    return summed(power, grid, fine=plan.fine)


def group_grid(aperture: PlaneAperture, plan: SamplingPlan) -> Grid:
    """An even grid over the plan's reach with its guard samples."""
    width, height = aperture.size_m
    step_u, step_v = 1 / (plan.cells * width), 1 / (plan.cells * height)
    u0, u1, v0, v1 = plan.reach
    return Grid(
        u0 - (BEFORE + 0.5) * step_u,
        step_u,
        math.ceil((u1 - u0) / step_u) + BEFORE + AFTER + 2,
        v0 - (BEFORE + 0.5) * step_v,
        step_v,
        math.ceil((v1 - v0) / step_v) + BEFORE + AFTER + 2,
    )
