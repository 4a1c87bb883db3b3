"""A plate that does not stand at right angles to the camera's axis: its focus runs over it.

A point of the plate at the distance z along the axis is out of focus by z - f, and its light is
that of an upright plate there: a path of curvature 1 / z more. As z runs over the plate, patterns
are computed for as many curvatures as differ at the aperture's edge by `_STEP_RAD`, each for the
pixels next to it, and are straight in between. Lines of different height and their positions on the
plate follow from its geometry (`plate.geometry`).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.diffraction.fresnel import Wavefront
from wavesim.errors import LimitError
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import bend_rows
from wavesim.scene import Bench
from wavesim.threads import in_threads

_STEP_RAD = 0.6  # phase at the aperture's edge from one curvature to the next, at 400 nm
_SHORT_M = 400e-9
_ERROR = 1e-3  # of the brightest pixel by straight lines between them; measured: 4e-4
_MOST = 2000  # curvatures


@dataclass(frozen=True, eq=False)
class PlateTurns:
    """Curvatures that a plate's points ask for, and which pixels take them.

    Attributes
    ----------
    vergence_per_m : (v,) [m-1] 1 / z less 1 / (its value on the axis), rising; one zero where the
        plate stands upright
    position : (ny, nx + 2 margin) of each pixel in units of their step from the first
    """

    vergence_per_m: Floats
    position: Floats

    @property
    def upright(self) -> bool:
        """Whether there is one curvature for all."""
        return self.vergence_per_m.size == 1

    @property
    def parts(self) -> Iterator[tuple[float, Floats]]:
        """Each curvature, and its weight (ny, nx + 2 margin) in each pixel."""
        for k, vergence in enumerate(self.vergence_per_m):
            weight = np.maximum(1 - np.abs(self.position - k), 0.0)
            if weight.any():
                yield float(vergence), weight

    @property
    def error(self) -> float:
        """Of a pixel, of the brightest, by what is straight between curvatures."""
        return _ERROR if self.vergence_per_m.size > 1 else 0.0

    @property
    def notes(self) -> tuple[str, ...]:
        """What was done, where the plate is turned."""
        count = self.vergence_per_m.size
        return (f"the turned plate is computed at {count} distances",) if count > 1 else ()

    def most_defocused(self, front: Wavefront) -> Wavefront:
        """The wavefront at the end of the plate that is farther out of focus."""
        ends = (front.bent_by(float(v), 1.0) for v in self.vergence_per_m[[0, -1]])
        return max(ends, key=lambda end: end.fresnel_number(1.0, 550e-9))

    def straightened(self, power: Floats, geometry: Geometry) -> Floats:
        """Light (ny, nx, c) of rows at heights as in the plate's middle, put where they stand.

        The nearer end of a tilted plate sees the same height under a larger angle.
        """
        if geometry.tilt_rad == 0:
            return power
        edges = geometry.height_sine(0.0, geometry.y_edges_m)
        wanted = np.stack(
            [geometry.height_sine(float(x), geometry.y_edges_m) for x in geometry.x_m]
        )
        columns = np.ascontiguousarray(power.transpose(1, 0, 2))
        out = np.empty_like(columns)
        in_threads(lambda some: bend_rows(columns[some], edges, wanted[some], out[some]),
                   columns.shape[0])  # fmt: skip
        return np.ascontiguousarray(out.transpose(1, 0, 2))


def turns_of(geometry: Geometry, bench: Bench, half_m: float) -> PlateTurns:
    """Curvatures of a plate behind an aperture of that half width [m].

    Raises
    ------
    LimitError
        More than 2,000: a plate that is turned far, or a very wide aperture.
    """
    x = geometry.x_of_sine(geometry.sine_edges)
    middle = (x[1:] + x[:-1]) / 2
    if not bench.plate_turned:
        return PlateTurns(np.zeros(1), np.broadcast_to(0.0, (geometry.rows, middle.size)))
    _, _, z = geometry.in_space(middle, geometry.y_m[:, None])
    vergence = 1 / np.asarray(z) - 1 / geometry.focal_m
    low, high = float(vergence.min()), float(vergence.max())
    count = 2 + math.ceil(math.pi * half_m**2 * (high - low) / _SHORT_M / _STEP_RAD)
    if count > _MOST:
        raise LimitError(
            f"would need {count:,} distances, because the defocus varies so much across the plate",
            key="bench.plate_tilt" if bench.plate_tilt_rad else "bench.plate_tip",
            expected=f"at most {_MOST:,}: a smaller angle, a smaller plate or a narrower aperture",
        )
    knots = np.linspace(low, high, count)
    return PlateTurns(knots, (vergence - low) / (knots[1] - knots[0]))
