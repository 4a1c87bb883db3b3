"""Elements over which a Gaussian beam fades, so that no single amplitude stands for one.

Of elements small beside the beam the amplitude is developed in a few waves over the element,

    exp(-((x_j + xi) / a)^2) = sum over m of  c_m(x_j) exp(2 pi i m xi / L),   |xi| <= s,

by least squares, and likewise along y: a wave only displaces the far field, E(u - m/L, v - n/L),
so that elements in a beam that fades are (2 n + 1)^2 groups of displaced envelopes. Larger
elements, and those in the near field, are worked into cells with the beam's amplitude there.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from wavesim.aperture.illumination import BeamProfile, beam_of
from wavesim.aperture.plane.elements import Corners, GaussianBeam, PlaneElement
from wavesim.aperture.plane.groups import Group, PlaneAperture
from wavesim.aperture.plane.raster import rasterised
from wavesim.arrays import Complexes, Floats
from wavesim.constants import VISIBLE_LO_M
from wavesim.errors import LimitError
from wavesim.geometry import grating_geometry
from wavesim.scene import Scene

_SMALL = 0.02  # of a Gaussian beam's radius: half an element's width for one amplitude to do
_WAVES = 0.1  # the same up to which waves serve: they miss the beam's amplitude by 1e-5
_MOST_WAVES, _MISS = 4, 1e-5
_PERIOD = 8.0  # of the waves, in half widths of the element
_CELLS = 1024  # across an aperture over which a beam fades
_PER_DETAIL = 64  # cells to the smallest of its elements
_MOST_CELLS = 4096


def fades_across(groups: list[Group], beam: BeamProfile) -> bool:
    """Whether a Gaussian beam fades over single elements."""
    return _largest(groups, beam) > _SMALL


def _largest(groups: list[Group], beam: BeamProfile) -> float:
    """Largest half width of an element in radii of the beam."""
    a, b = beam.half_axes_m
    halves = [g.element.reach_m for g in groups if not isinstance(g.element, GaussianBeam)]
    return max((max(x / a, y / b) for x, y in halves), default=0.0)


def faded(
    groups: list[Group], opening: list[Group], scene: Scene, limits: tuple[str, ...]
) -> PlaneAperture:
    """Elements, or obstacles in an opening, in a Gaussian beam that fades over them.

    Raises
    ------
    LimitError
        More than 4,096 cells on a side would be needed.
    """
    beam, sign = beam_of(scene.bench), -1.0 if opening else 1.0
    signed = [replace(g, weight=sign * g.weight) for g in groups if g.x_m.size]
    if scene.bench.far_field and _largest([*opening, *groups], beam) <= _WAVES:
        wave_groups = [wave for group in signed for wave in _in_waves(group, beam)]
        return _of_wave_groups([*opening, *wave_groups], [*opening, *signed], limits)
    return _in_cells(signed, opening, scene, limits)


@dataclass(frozen=True)
class Displaced:
    """An element behind a wave exp(2 pi i (u_0 xi + v_0 eta)): its far field, displaced."""

    element: PlaneElement
    u_per_m: float
    v_per_m: float

    @property
    def reach_m(self) -> tuple[float, float]:
        """As the element's [m]."""
        return self.element.reach_m

    @property
    def open_area_m2(self) -> float:
        """As the element's [m2]."""
        return self.element.open_area_m2

    @property
    def smallest_m(self) -> float:
        """As the element's [m]."""
        return self.element.smallest_m

    def amplitude(self, u_per_m: Floats, v_per_m: Floats) -> Complexes | Floats:
        """E(u - u_0, v - v_0) [m2]."""
        return self.element.amplitude(u_per_m - self.u_per_m, v_per_m - self.v_per_m)

    def outline(self) -> Corners | None:
        """As the element's."""
        return self.element.outline()


def _in_waves(group: Group, beam: BeamProfile) -> list[Group]:
    (sx, sy), (a, b) = group.element.reach_m, beam.half_axes_m
    along, across = _waves(group.x_m, sx, a), _waves(group.y_m, sy, b)
    return [
        Group(Displaced(group.element, u, v), group.x_m, group.y_m, group.weight * c * d)
        for u, c in along
        for v, d in across
    ]


def _waves(centre_m: Floats, half_m: float, radius_m: float) -> list[tuple[float, Complexes]]:
    """Frequencies [1/m] and each element's coefficients of exp(-((x_j + xi) / R)^2)."""
    nodes = half_m * np.cos(np.pi * (np.arange(40) + 0.5) / 40)
    wanted = np.exp(-np.square((centre_m[:, None] + nodes) / radius_m))
    for most in range(_MOST_WAVES + 1):
        frequency = np.arange(-most, most + 1) / (_PERIOD * half_m)
        basis = np.exp(2j * np.pi * np.outer(nodes, frequency))
        found = np.linalg.lstsq(basis, wanted.T.astype(np.complex128), rcond=1e-13)[0]
        if np.abs(basis @ found - wanted.T).max() < _MISS:
            break
    return list(zip(frequency.tolist(), found, strict=True))


def _of_wave_groups(
    wave_groups: list[Group], whole: list[Group], limits: tuple[str, ...]
) -> PlaneAperture:
    """The aperture; its open area by quadrature is not asked for, its elements are."""
    count = sum(group.x_m.size for group in whole)
    area = float(sum(g.element.open_area_m2 * g.x_m.size for g in whole))
    return PlaneAperture(tuple(wave_groups), None, area, limits, count, real=True)


def _in_cells(
    signed: list[Group], opening: list[Group], scene: Scene, limits: tuple[str, ...]
) -> PlaneAperture:
    beam = beam_of(scene.bench)
    every = [*opening, *signed]
    half = _half_box(every, beam)
    cell = _cell_m(half, every, scene)
    hard = [g for g in opening if not isinstance(g.element, GaussianBeam)]
    lattice = rasterised(PlaneAperture((*hard, *signed), None, 0.0), cell, half)
    t = lattice.amplitude
    if opening and not hard:
        t += 1.0
    ny, nx = t.shape
    x = (np.arange(nx) - (nx - 1) / 2) * cell
    y = (np.arange(ny) - (ny - 1) / 2) * cell
    fade(t, x, y, beam)
    area = float(np.sum(np.square(t), dtype=np.float64)) * cell**2
    return PlaneAperture((), lattice, area, limits, sum(g.x_m.size for g in every))


def _half_box(groups: list[Group], beam: BeamProfile) -> tuple[float, float]:
    """Half widths about the axis [m], no farther out than the beam reaches."""
    lo_x, hi_x, lo_y, hi_y = PlaneAperture(tuple(groups), None, 0.0).box_m
    rx, ry = beam.reach_m
    return min(max(-lo_x, hi_x), rx), min(max(-lo_y, hi_y), ry)


def _cell_m(half: tuple[float, float], groups: list[Group], scene: Scene) -> float:
    """Side of the cells: many to the aperture and its details, no false orders on the plate."""
    smallest = min(g.element.smallest_m for g in groups)
    most = VISIBLE_LO_M / (2 * _farthest_sine(scene))
    wanted = min(2 * max(half) / _CELLS, smallest / _PER_DETAIL, most / 2)
    cell = max(wanted, 2 * max(half) / _MOST_CELLS)
    if cell > most or cell > smallest / 4:
        raise LimitError(
            f"would need {2 * max(half) / min(most, smallest / 4):,.0f} cells across the "
            f"aperture, because the Gaussian beam varies over its elements", key="bench.beam",
            expected=f"at most {_MOST_CELLS:,}: a smaller plate, a stop, or a uniform beam",
        )  # fmt: skip
    return cell


def _farthest_sine(scene: Scene) -> float:
    """Largest direction cosine from the zero order to the plate's edges."""
    geometry = grating_geometry(scene)
    ends = np.abs(geometry.sine_in + geometry.sine_of_x(np.array(scene.plate.x_range_m)))
    half = scene.plate.height_m / 2
    return max(float(ends.max()), half / math.hypot(half, geometry.focal_m), 1e-6)


def fade(t: npt.NDArray[np.float32], x: Floats, y: Floats, beam: BeamProfile) -> None:
    """Multiply cells (ny, nx) by a Gaussian beam's amplitude, which is separable."""
    if beam.gaussian:
        t *= beam.amplitude(np.zeros(1), y)[:, None].astype(np.float32)
        t *= beam.amplitude(x)[None, :].astype(np.float32)
