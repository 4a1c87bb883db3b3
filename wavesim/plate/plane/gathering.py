"""Light gathered in the cells of a frame, of a whole plate or of a window of it."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from wavesim.aperture.elements import Element, Rays
from wavesim.aperture.plane import PlaneAperture
from wavesim.arrays import Floats
from wavesim.diffraction.fresnel import Wavefront
from wavesim.diffraction.planar import SummedTable, plan_table, plane_table
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.source import Extent
from wavesim.plate.plane.sweep import reach_of, sweep_plane

if TYPE_CHECKING:
    from wavesim.light import Recorder
    from wavesim.scene import Air


@dataclass(frozen=True, eq=False)
class Setting:
    """What surrounds an aperture: plate and frame, source, path of the waves, its groove."""

    geometry: Geometry
    frame: Frame
    source: Extent
    front: Wavefront
    groove: Element | None
    air: Air
    flat: bool = False  # cells are positions on a parallel plate without lens
    exact: bool = False  # plane waves, propagated exactly
    recorder: Recorder | None = None

    def factor(self, wavelength_m: float) -> Floats:
        """(np,) |E|^2 of the groove at the middles of the frame's columns; 1 without one."""
        p = (self.frame.p[1:] + self.frame.p[:-1]) / 2
        if self.groove is None:
            return np.ones(p.size)
        field = np.asarray(self.groove.amplitude(Rays(self.geometry.sine_in, p, wavelength_m)))
        return np.asarray(field.real**2 + field.imag**2)


def gathered(table: SummedTable, setting: Setting, wavelength_m: Floats, weight: Floats) -> Floats:
    """(nq, np, c) light in the frame's cells, weight (b, c) at each wavelength; a groove's factor
    is taken at their middles."""
    frame, sine_in = setting.frame, setting.geometry.sine_in
    if setting.groove is None:
        swept = sweep_plane(table, frame, sine_in, wavelength_m, weight)
        return np.ascontiguousarray(np.moveaxis(swept, 0, 2))
    out = np.zeros((frame.q.size - 1, frame.p.size - 1, weight.shape[1]))
    for b, wavelength in enumerate(wavelength_m):
        light = sweep_plane(table, frame, sine_in, wavelength_m[b : b + 1], np.ones((1, 1)))[0]
        light *= setting.factor(float(wavelength))
        out += light[:, :, None] * weight[b]
    return out


@dataclass(frozen=True, eq=False)
class Gathering:
    """What gathers the light of any window of a plate from the plate's own table.

    Attributes
    ----------
    table : of the aperture's power; `half`: of its upper half alone, |A(-u, -v)| being |A(u, v)|
    setting : of the plate; a window's frame takes the place of its own
    """

    aperture: PlaneAperture
    table: SummedTable
    setting: Setting
    half: bool

    def cells(self, window: Frame, wavelength_m: Floats, weight: Floats) -> Floats:
        """(nq, np, c) light in a window's cells."""
        cut = int(np.searchsorted(window.q, -1e-9 * window.cell[1]))
        if not self.half or cut == 0:
            return self._upper(window, wavelength_m, weight)
        lower = Frame(-window.p[::-1], -window.q[: cut + 1][::-1], (0, 0), straight=True)
        cells = self._upper(lower, wavelength_m, weight)[::-1, ::-1]
        if cut >= window.q.size - 1:
            return cells
        upper = Frame(window.p, window.q[cut:], (0, 0), straight=True)
        return np.concatenate([cells, self._upper(upper, wavelength_m, weight)])

    def _upper(self, window: Frame, wavelength_m: Floats, weight: Floats) -> Floats:
        table = self._covering(window, wavelength_m)
        return gathered(table, replace(self.setting, frame=window), wavelength_m, weight)

    def _covering(self, window: Frame, wavelength_m: Floats) -> SummedTable:
        """The table; one of its own for a window whose wide cells reach beyond the plate's."""
        reach = reach_of(window, wavelength_m, self.setting.geometry.sine_in)
        if self.table.covers(reach):
            return self.table
        return plane_table(self.aperture, plan_table(self.aperture, reach))
