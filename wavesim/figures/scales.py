"""What a position on the plate means: an angle, or a wavelength in an order."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from wavesim.figures.marks import guide_wavelength, orders_on
from wavesim.figures.strips import MM
from wavesim.plate import Plate
from wavesim.plate.geometry import geometry

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Scale:
    """A second scale for the position on the plate [mm]: its name, its unit, there and back."""

    name: str
    unit: str
    there: Callable[[ArrayLike], Array]
    back: Callable[[ArrayLike], Array]
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
    place = geometry(plate.scene)

    def there(x_mm: ArrayLike) -> Array:
        x_m = np.asarray(x_mm, dtype=np.float64) / MM
        return np.degrees(place.axis_rad + np.arctan(x_m / place.focal_m))

    def back(degrees: ArrayLike) -> Array:
        beta = np.radians(np.asarray(degrees, dtype=np.float64))
        return np.asarray(np.tan(beta - place.axis_rad) * place.focal_m * MM)

    return Scale("diffraction angle", "°", there, back)


def wavelength_scale(plate: Plate, order: int) -> Scale:
    """Wavelength in air that an order brings to x: lambda = d (sin alpha + sin beta) / m."""
    place, pitch = geometry(plate.scene), plate.scene.aperture.mean_pitch_m or 0.0
    per_order = pitch / order * 1e9

    def there(x_mm: ArrayLike) -> Array:
        x_m = np.asarray(x_mm, dtype=np.float64) / MM
        beta = place.axis_rad + np.arctan(x_m / place.focal_m)
        return np.asarray((np.sin(beta) + place.sine_in) * per_order)

    def back(nm: ArrayLike) -> Array:
        sine = np.asarray(nm, dtype=np.float64) / per_order - place.sine_in
        return np.asarray(place.x_of_sine(np.clip(sine, -1.0, 1.0)) * MM)

    written = f"{order}".replace("-", "−")
    return Scale(f"wavelength in order {written} (nm)", "", there, back, of_wavelengths=True)
