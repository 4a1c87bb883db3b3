"""How far out of focus a line stands on its plate, and what the camera lens leaves of its beam.

Defocus, lenses whose focus changes with the colour and a tilted plate are one thing to a line: a
curvature of its waves at the plate, V = 1 / z - 1 / f(lambda) plus what the collimator adds. A beam
W cos(beta) wide is then blurred to W cos(beta) |V| z (geometrical optics).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.diffraction.fresnel import wavefront
from wavesim.plate.vignetting import rim_of
from wavesim.scene import Bench, Scene

_LEAST = 1e-7  # [1/m] below which a line counts as in focus


@dataclass(frozen=True)
class LineFocus:
    """A line on its plate.

    Attributes
    ----------
    vergence_per_m : [1/m] V, of the waves along the dispersion; above zero the plate stands before
        the focus
    distance_m : [m] z, of the plate behind the lens there
    """

    vergence_per_m: float
    distance_m: float

    @property
    def sharp(self) -> bool:
        """Whether it is in focus."""
        return abs(self.vergence_per_m) < _LEAST

    @property
    def defocus_m(self) -> float:
        """Distance of the plate behind the line's focus [m]: z^2 V with its sign turned."""
        return -self.vergence_per_m * self.distance_m**2

    def blur_m(self, beam_m: float) -> float:
        """Width [m] to which a beam of that width [m] behind the rulings is blurred."""
        return beam_m * abs(self.vergence_per_m) * self.distance_m


def line_focus(bench: Bench, x_m: float, wavelength_m: float) -> LineFocus:
    """Of a line at x on the plate [m], its wavelength [m] as in standard air."""
    z = bench.image_distance_m + x_m * math.sin(bench.plate_tilt_rad)
    if bench.camera_m is None:
        return LineFocus(0.0, z)  # near fields have no focus to miss
    squeezed = math.cos(bench.camera_axis_rad) ** 2
    front = wavefront(bench.model_copy(update={"source_distance_m": None}), 1.0).at(wavelength_m)
    return LineFocus(front.curvature_x_per_m / squeezed + 1 / z - 1 / bench.image_distance_m, z)


def rulings_through_lens(scene: Scene, beta_rad: float, span_m: tuple[float, float]) -> float:
    """Fraction of the rulings' width that gets through the camera lens at an angle, on its level
    diameter; 1 where its rim is far enough."""
    low, high = through_lens_m(scene, beta_rad, span_m)
    return (high - low) / (span_m[1] - span_m[0])


def through_lens_m(
    scene: Scene, beta_rad: float, span_m: tuple[float, float]
) -> tuple[float, float]:
    """Ends [m] of the rulings that get through the camera lens at an angle."""
    rim = rim_of(scene.bench.camera_lens, scene.bench.camera_axis_rad)
    if rim is None:
        return span_m
    ends = rim.window(np.asarray(math.sin(beta_rad)), 0.0)
    low, high = (min(max(float(end), span_m[0]), span_m[1]) for end in ends)
    return low, max(high, low)
