"""Near field of apertures in the plane: phases on positions, or on the cells of a raster."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from wavesim.aperture.plane import Group, Lattice, PlaneAperture
from wavesim.aperture.plane.raster import rasterised
from wavesim.diffraction.fresnel.wavefront import Wavefront
from wavesim.errors import LimitError

PHASE_RAD = 0.2  # half the phase across an element that one phase may stand for
CELL_RAD = 0.35  # the same for the cells of a raster: 2 % of the light of its outermost cells
_MOST_CELLS = 4096  # on a side
_SHORT_M = 400e-9
_FEWEST = 256  # cells across the aperture, so that round edges are round


@dataclass(frozen=True, eq=False)
class NearPlane:
    """An aperture in the plane with the path of the waves over it.

    Attributes
    ----------
    aperture : elements whose positions carry the phase, or a lattice with paths, or one that gets
        them at each wavelength where lenses have colours
    front : path over the aperture
    text : how the path was worked in
    """

    aperture: PlaneAperture
    front: Wavefront
    text: str

    def at(self, wavelength_m: float) -> PlaneAperture:
        """The aperture with its phases at a wavelength; a lattice keeps its paths."""
        lattice = self.aperture.lattice
        if lattice is not None:
            if not self.front.colours:
                return self.aperture
            return _with_paths(self.aperture, lattice, self.front.at(wavelength_m))
        groups = tuple(self._turned(g, wavelength_m) for g in self.aperture.groups)
        return replace(self.aperture, groups=groups)

    def _turned(self, group: Group, wavelength_m: float) -> Group:
        phase = (
            2 * math.pi / wavelength_m * self.front.at(wavelength_m).path_m(group.x_m, group.y_m)
        )
        return replace(group, weight=group.weight * np.exp(1j * phase))


def near_plane(aperture: PlaneAperture, front: Wavefront, farthest_sine: float) -> NearPlane:
    """Choose between one phase for each element and a raster.

    One phase is enough where half the phase across the largest element, from the steepest part
    of the path at 400 nm, stays below `PHASE_RAD`: the light of an element at the aperture's rim
    is then right to phase^2 / 6, under 1 %. Else elements are worked into square cells so small
    that the same holds for a cell within `CELL_RAD`, and that twice the plate's directions fit.

    Raises
    ------
    LimitError
        The raster would need more than 4,096 cells on a side.
    """
    lo_x, hi_x, lo_y, hi_y = aperture.box_m
    half = max(-lo_x, hi_x), max(-lo_y, hi_y)
    slope = front.slope(*half)
    if aperture.lattice is not None:
        return NearPlane(_with_paths(aperture, aperture.lattice, front), front, "picture cells")
    largest = max(max(g.element.reach_m) for g in aperture.groups)
    if 2 * math.pi / _SHORT_M * slope * largest < PHASE_RAD:
        return NearPlane(aperture, front, "one phase for each element")
    cell = min(
        CELL_RAD * _SHORT_M / (math.pi * max(slope, 1e-12)),
        _SHORT_M / (4 * max(farthest_sine, 1e-9)),
        2 * max(half) / _FEWEST,
    )
    smallest = min(g.element.smallest_m for g in aperture.groups)
    cell = min(cell, max(smallest / 8, 2 * max(half) / _MOST_CELLS))
    if 2 * max(half) / cell > _MOST_CELLS:
        raise LimitError(
            f"would need {2 * max(half) / cell:,.0f} cells across the aperture at so short a "
            "distance",
            key="bench",
            expected=f"at most {_MOST_CELLS:,}: a plate farther away, a smaller aperture or plate",
        )
    lattice = rasterised(aperture, cell)
    text = f"cells of {cell * 1e6:.3g} um, one phase for each"
    return NearPlane(_with_paths(aperture, lattice, front), front, text)


def _with_paths(aperture: PlaneAperture, lattice: Lattice, front: Wavefront) -> PlaneAperture:
    """The lattice alone, with the path over it where that is the same at all wavelengths."""
    if front.colours:
        return PlaneAperture((), lattice, aperture.open_area_m2, aperture.limits)
    ny, nx = lattice.amplitude.shape
    x = lattice.first_m[0] + lattice.cell_m * np.arange(nx, dtype=np.float64)
    y = lattice.first_m[1] + lattice.cell_m * np.arange(ny, dtype=np.float64)
    path = front.path_m(x[None, :], y[:, None])
    if lattice.path_m is not None:
        path = path + lattice.path_m
    with_path = replace(lattice, path_m=path.astype(np.float32))
    return PlaneAperture((), with_path, aperture.open_area_m2, aperture.limits)
