"""The summed table of an aperture in the plane, as fine as memory and patience allow."""

from __future__ import annotations

import math
from dataclasses import dataclass

from wavesim.aperture.plane import PlaneAperture
from wavesim.farfield.plane.pictures import lattice_grid, power_of_lattice
from wavesim.farfield.plane.sampling import power_of_groups
from wavesim.farfield.plane.summed import AFTER, BEFORE, Grid, SummedTable, summed

Reach = tuple[float, float, float, float]  # u0, u1, v0, v1 [1/m]

LEAST, MOST = 2.0, 32.0  # samples per 1 / width: what |A|^2 needs, and where error is rounding
_FINE = 5.0  # samples per 1 / width from which quintics gain on straight lines
_USUAL = 3_000_000  # samples that cost next to nothing


@dataclass(frozen=True)
class Plan:
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
        """Error of a pixel that is one 1 / width wide, of the local peak, at one wavelength.

        Measured for discs, polygons, meshes and random pictures (tests/test_plane_power.py):
        with quintics 1.5 (2 / cells)^6, with straight lines 0.6 (2 / cells)^2. A pixel n times as
        wide has 1/n of it, and the wavelengths of white light average it out further.
        """
        c = 2 / self.cells
        return 1.5 * c**6 if self.fine else 0.6 * c**2


def plan_table(aperture: PlaneAperture, reach: Reach) -> Plan:
    """As many samples per 1 / width as stay within a few million, two at least."""
    width, height = aperture.size_m
    spans_u = width * (reach[1] - reach[0]) + 2
    spans_v = height * (reach[3] - reach[2]) + 2
    cells = min(max(math.sqrt(_USUAL / (spans_u * spans_v)), LEAST), MOST)
    samples = int((cells * spans_u + BEFORE + AFTER) * (cells * spans_v + BEFORE + AFTER))
    return Plan(cells, reach, samples, _bytes(aperture, cells, samples))


def _bytes(aperture: PlaneAperture, cells: float, samples: int) -> int:
    lattice = aperture.lattice
    if lattice is None:
        return 8 * samples + 2 * (1 << 21) * 80 + 64 * aperture.elements
    padded = cells * cells * lattice.amplitude.size
    half = 0.5 if lattice.path_m is None else 1.0
    item = 8 if lattice.amplitude.size > 1 << 20 and half == 0.5 else 16
    return int(8 * samples + half * padded * item + 12 * lattice.amplitude.size + (1 << 27))


def plane_table(
    aperture: PlaneAperture, plan: Plan, *, wavelength_m: float | None = None
) -> SummedTable:
    """Sample |A|^2 once, for all wavelengths, and sum it up."""
    if aperture.lattice is not None:
        grid = lattice_grid(aperture.lattice, plan.cells, plan.reach, (BEFORE, AFTER))
        power = power_of_lattice(aperture.lattice, grid, wavelength_m=wavelength_m)
    else:
        grid = group_grid(aperture, plan)
        power = power_of_groups(aperture, grid)
    return summed(power, grid, fine=plan.fine)


def group_grid(aperture: PlaneAperture, plan: Plan) -> Grid:
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
