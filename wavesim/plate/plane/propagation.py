"""The far field's table of one wavelength in the near field: exact, or with Fresnel's path."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wavesim.aperture.plane import PlaneAperture
from wavesim.arrays import Floats
from wavesim.diffraction.fresnel import Wavefront
from wavesim.diffraction.fresnel.plane import NearPlane, near_plane
from wavesim.diffraction.fresnel.spectrum import MOST_SIDE, ExactPlane
from wavesim.diffraction.planar import SamplingPlan, SummedTable, plan_table, plane_table
from wavesim.plate.plane.costs import exact_s, table_s
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.sweep import reach_of
from wavesim.scene import Bench

_ENOUGH = 8.0  # samples per 1 / width of tables computed apart: 6e-5 of the brightest pixel
_FINER = 12.0  # the same of few tables: 2e-6
_FEW = 4  # wavelengths
_FIELD_BYTES = 72  # of a sample of the field at the peak


class Propagation(Protocol):
    """What gives the light of one wavelength after another."""

    @property
    def text(self) -> str:
        """How the waves were propagated."""

    @property
    def sine_in(self) -> float:
        """What a frame's cells are to be read with."""

    def plan(self, wavelength_m: Floats) -> SamplingPlan:
        """Samples and memory."""

    def seconds(self, wavelength_m: Floats) -> float:
        """Time of one core for the tables of all wavelengths [s]."""

    def table(self, wavelength_m: float) -> SummedTable:
        """Light at a wavelength."""


def flatness(bench: Bench) -> tuple[bool, bool]:
    """Whether the plate stands parallel to the aperture, illuminated at normal incidence or by
    plane waves, without lens, so that cells are positions; and whether propagation may be exact."""
    parallel = bench.plate_distance_m is not None and bench.camera_axis_rad == 0.0
    even = bench.source_distance_m is None and bench.collimator_lens is None
    exact = parallel and even and bench.lens_errors is None
    return parallel and (exact or bench.alpha_rad == 0.0), exact


def propagation(
    aperture: PlaneAperture,
    front: Wavefront,
    sine_in: float,
    frame: Frame,
    wavelength_m: Floats,
    *,
    distance_m: float | None,
) -> Propagation:
    """Exact where a distance is given and the field is not too large; else by Fresnel's path."""
    if distance_m is not None:
        reach = tuple(float(np.abs(edges).max()) * distance_m for edges in (frame.p, frame.q))
        exact = ExactPlane(aperture, distance_m, (reach[0], reach[1]))
        if max(exact.side(float(wavelength_m.min()))) <= MOST_SIDE:
            return _Exact(exact, sine_in)
    farthest = max(abs(sine_in + frame.p[0]), abs(sine_in + frame.p[-1]), abs(frame.q[0]))
    cells = _FINER if wavelength_m.size <= _FEW else _ENOUGH
    return _Fresnel(near_plane(aperture, front, farthest), frame, sine_in, cells)


@dataclass(frozen=True, eq=False)
class _Exact:
    near: ExactPlane
    incidence: float
    text: str = "exact, by the angular spectrum of plane waves"
    sine_in: float = 0.0

    def plan(self, wavelength_m: Floats) -> SamplingPlan:
        nx, ny = self.near.side(float(wavelength_m.min()))
        return SamplingPlan(16.0, (0.0, 0.0, 0.0, 0.0), nx * ny, _FIELD_BYTES * nx * ny)

    def seconds(self, wavelength_m: Floats) -> float:
        shortest = float(wavelength_m.min())
        directions = math.prod(self.near.directions(shortest))
        samples = math.prod(self.near.side(shortest))
        return wavelength_m.size * exact_s(self.near.aperture, directions, samples)

    def table(self, wavelength_m: float) -> SummedTable:
        return self.near.table(wavelength_m, self.incidence)


@dataclass(frozen=True, eq=False)
class _Fresnel:
    near: NearPlane
    frame: Frame
    sine_in: float
    cells: float

    @property
    def text(self) -> str:
        """How the path was worked in, and what Fresnel's fourth-order term leaves out."""
        aside = max(abs(float(edge)) for edge in (*self.frame.p[[0, -1]], *self.frame.q[[0, -1]]))
        half = max(abs(edge) for edge in self.near.aperture.box_m)
        missed = aside**3 * half / 2 / 550e-9
        return (
            f"{self.near.text}, in the Fresnel approximation; without a lens its path "
            f"differences are in error by {missed:.2g} wavelengths at the edge of the plate"
        )

    def plan(self, wavelength_m: Floats) -> SamplingPlan:
        reach = reach_of(self.frame, wavelength_m, self.sine_in)
        return plan_table(self.near.aperture, reach, most=self.cells)

    def seconds(self, wavelength_m: Floats) -> float:
        middle = wavelength_m[wavelength_m.size // 2 :][:1]
        return wavelength_m.size * table_s(self.near.aperture, self.plan(middle))

    def table(self, wavelength_m: float) -> SummedTable:
        plan = self.plan(np.array([wavelength_m]))
        return plane_table(self.near.at(wavelength_m), plan, wavelength_m=wavelength_m)
