"""What a position on the plate means: an angle, or a wavelength in an order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.figures.marks import guide_wavelength, orders_on
from wavesim.figures.strips import MM
from wavesim.geometry import grating_geometry, x_of_beta
from wavesim.plate import Plate

_NM = 1e9


@dataclass(frozen=True)
class Scale:
    """A second scale for the position on the plate [mm]: its name, its unit, there and back."""

    name: str
    unit: str
    forward: Callable[[ArrayLike], Floats]
    back: Callable[[ArrayLike], Floats]
    of_wavelengths: bool = False


def shared_scale(plates: Sequence[Plate]) -> Scale | None:
    """The scale that all these plates have in common; None if they have none.

    Wavelength where only one order, not the zero order, falls on every plate; else the angle.
    """
    benches = {(p.scene.bench.camera_focal_m, p.scene.bench.camera_axis_rad) for p in plates}
    if len(benches) != 1:
        return None
    gratings = {(p.scene.bench.alpha_rad, p.scene.aperture.mean_pitch_m) for p in plates}
    orders = {m for p in plates for m in orders_on(p.scene, np.array([guide_wavelength(p)]))}
    if len(gratings) == 1 and len(orders) == 1 and orders != {0}:
        return wavelength_scale(plates[0], orders.pop())
    return angle_scale(plates[0])


def angle_scale(plate: Plate) -> Scale:
    """Diffraction angle beta = axis + atan(x / f)."""
    grating = grating_geometry(plate.scene)

    def forward(x_mm: ArrayLike) -> Floats:
        return np.degrees(grating.beta_rad(np.asarray(x_mm, dtype=np.float64) / MM))

    def back(degrees: ArrayLike) -> Floats:
        beta = np.radians(np.asarray(degrees, dtype=np.float64))
        return x_of_beta(beta, grating.axis_rad, grating.focal_m) * MM

    return Scale("diffraction angle", "°", forward, back)


def wavelength_scale(plate: Plate, order: int) -> Scale:
    """Wavelength in standard air that an order brings to x: lambda = d (sin alpha + sin beta) / m.

    Beyond grazing directions the scale stays at its end, so that an axis can be drawn with it.
    """
    grating = grating_geometry(plate.scene)

    def forward(x_mm: ArrayLike) -> Floats:
        x_m = np.asarray(x_mm, dtype=np.float64) / MM
        return grating.wavelength_m(x_m, order) * _NM

    def back(nm: ArrayLike) -> Floats:
        sine = grating.sine_of_order(order, np.asarray(nm, dtype=np.float64) / _NM)
        beta = np.arcsin(np.clip(sine, -1.0, 1.0))
        return x_of_beta(beta, grating.axis_rad, grating.focal_m) * MM

    written = f"{order}".replace("-", "−")
    return Scale(f"wavelength in order {written} (nm)", "", forward, back, of_wavelengths=True)
