"""Why a point on the plate has its colour: what is extinguished there, what remains.

found = explain(wavesim.open_plate("five.h5"), x_m=12e-3)
print(found)
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import ClassVar

import numpy as np

from wavesim import light
from wavesim.arrays import Floats
from wavesim.errors import InputError
from wavesim.geometry import grating_geometry, x_of_beta
from wavesim.plate import Plate
from wavesim.results import Result, Sentence
from wavesim.scene import Scene
from wavesim.study.point.bands import Extinguished, Remaining, Zero, extinguished, remaining
from wavesim.study.point.colour import Colour, colour_at
from wavesim.study.point.report import record, report
from wavesim.study.point.spectrum import PointSpectrum, point_spectrum
from wavesim.study.ruling import Ruling, ruling_seen, source_angle_rad

__all__ = [
    "Colour",
    "Extinguished",
    "PlatePoint",
    "PointSpectrum",
    "Remaining",
    "Zero",
    "column_of",
    "explain",
    "position_of_angle",
]


@dataclass(frozen=True, eq=False, repr=False)
class PlatePoint(Result):
    """One point of a plate, explained.

    Attributes
    ----------
    scene : of the plate
    x_m : [m] middle of the pixel
    beta_rad : diffraction angle there
    colour : name, wavelength, purity, exposure
    spectrum : of the light there
    remaining : bands that reach the point, from violet to red
    extinguished : stretches between 400 and 700 nm of which nothing does
    ruling : that diffracts the light; None where there are no orders
    sent : (n,) light of the source at the wavelengths of `spectrum`, over the most
    half_width : of an order there, in waves of path difference, source slit and pixel included
    """

    scene: Scene
    x_m: float
    beta_rad: float
    colour: Colour
    spectrum: PointSpectrum
    remaining: tuple[Remaining, ...]
    extinguished: tuple[Extinguished, ...]
    ruling: Ruling | None
    sent: Floats
    half_width: float
    kind: ClassVar[str] = "place on the plate"

    @property
    def title(self) -> str:
        """Of the scene."""
        return self.scene.title

    def report(self) -> Iterable[Sentence]:
        """The cause of the colour first, then what it rests on."""
        return report(self)

    def record(self) -> dict[str, object]:
        """Plain values, SI; the spectrum in full where more than 1 % passes, else every nm."""
        return record(self)


def explain(plate: Plate, x_m: float) -> PlatePoint:
    """Explain the colour of the pixel at x, in the middle of the plate's height.

    The spectrum is computed anew at full resolution (`point_spectrum`); the colour is the
    plate's own. A band remains where more than 5 % passes of what passes at the best wavelength.

    Raises
    ------
    InputError
        The point is not on the plate.
    LimitError
        Not enough memory for the far field of that point.
    """
    column = column_of(plate, x_m)
    x_plate_m = float(plate.x_m[column])
    beta = float(grating_geometry(plate.scene).beta_rad(x_plate_m))
    ruled = ruling_seen(plate.scene)
    spectrum = point_spectrum(plate, column)
    path_difference = _waves(x_plate_m, ruled, spectrum.wavelength_m)
    width = _half_width(plate, ruled, spectrum)
    bands = remaining(spectrum, path_difference, width)
    sent = _sent(plate, spectrum)
    dark = extinguished(spectrum, path_difference, ruled, sent)
    colour = colour_at(plate, column)
    return PlatePoint(
        plate.scene, x_plate_m, beta, colour, spectrum, bands, dark, ruled, sent, width
    )


def _sent(plate: Plate, spectrum: PointSpectrum) -> Floats:
    """(n,) light of the source, filters included, in the steps of a spectrum, over the most."""
    half = spectrum.step_m / 2
    power, _ = light.of_scene(plate.scene).integrate(
        spectrum.wavelength_m - half, spectrum.wavelength_m + half
    )
    return np.asarray(power / max(float(power.max()), 1e-300))


def column_of(plate: Plate, x_m: float) -> int:
    """Column of the pixel that holds x.

    Raises
    ------
    InputError
        The point is not on the plate.
    """
    half = plate.scene.plate.pixel_m / 2
    first, last = float(plate.x_m[0]) - half, float(plate.x_m[-1]) + half
    if not first <= x_m <= last:
        raise InputError(
            "is not on the plate",
            key="x",
            value=f"{x_m * 1e3:g} mm",
            expected=f"{first * 1e3:g} mm to {last * 1e3:g} mm",
        )
    return int(np.argmin(np.abs(plate.x_m - x_m)))


def position_of_angle(plate: Plate, beta_rad: float) -> float:
    """x [m] of a diffraction angle: f tan(beta - camera axis).

    Raises
    ------
    InputError
        The angle does not reach the plate.
    """
    bench = plate.scene.bench
    turned = beta_rad - bench.camera_axis_rad
    if abs(turned) >= math.pi / 2:
        raise InputError(
            "does not reach the plate",
            key="angle",
            value=f"{math.degrees(beta_rad):g} deg",
            expected=f"angles about {math.degrees(bench.camera_axis_rad):g} deg",
        )
    return float(x_of_beta(beta_rad, bench.camera_axis_rad, bench.camera_focal_m))


def _waves(x_m: float, ruled: Ruling | None, wavelength_m: Floats) -> Floats:
    """Continuous order at x; of a lone slit, its width stands for the pitch."""
    if ruled is None:
        return np.full(wavelength_m.size, math.nan)
    return ruled.geometry.order(x_m, wavelength_m)


def _half_width(plate: Plate, ruled: Ruling | None, spectrum: PointSpectrum) -> float:
    """Half-width of an order in waves of path difference: 1/N, half of source slit and pixel."""
    if ruled is None:
        return 0.0
    blur = plate.scene.plate.pixel_m / plate.scene.bench.camera_focal_m
    blur += source_angle_rad(plate.scene)
    return 1.0 / ruled.count + 0.5 * blur * ruled.pitch_m / float(spectrum.wavelength_m[0])
