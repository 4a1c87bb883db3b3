"""Marks along a plate: orders, ghosts, lines."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np

from wavesim.arrays import Floats
from wavesim.figures.lettering import width_of
from wavesim.figures.spectra import resampled
from wavesim.geometry import bench_wavelength, grating_geometry
from wavesim.plate import Plate
from wavesim.plate.geometry import geometry_of
from wavesim.scene import Scene

_MOST_ORDERS = 10_000
_GREEN_M = 550e-9


class Mark(NamedTuple):
    """A position on the plate [m], what to write there, what it is, and how strong it should be.

    `kind` is "order", "ghost" or "line"; `level` is a predicted height on the figure's own axis.
    """

    position_m: float
    label: str
    kind: str = "order"
    level: float | None = None


Pairs = Iterable[tuple[float, str] | Mark]


def marks_from(pairs: Pairs) -> tuple[Mark, ...]:
    """Marks from marks or from (position [m], label) pairs."""
    return tuple(Mark(*pair) for pair in pairs)


def legible(marks: Sequence[Mark], scale_in_per_m: float, points: float) -> tuple[Mark, ...]:
    """The marks whose labels can stand side by side; earlier ones go first."""
    placed: list[Mark] = []
    for mark in marks:
        room = 0.6 * points / 72 + width_of(mark.label, points) / 2
        if all(
            abs(mark.position_m - other.position_m) * scale_in_per_m
            > room + width_of(other.label, points) / 2
            for other in placed
        ):
            placed.append(mark)
    return tuple(placed)


def order_positions(scene: Scene, order: Floats | int, wavelength_m: Floats | float) -> Floats:
    """x [m] of orders at wavelengths (broadcast); NaN where an order does not leave the aperture.

    Wavelengths are in standard air; the bench's air shifts the orders.
    """
    return grating_geometry(scene).x_m(order, wavelength_m)


def orders_on(scene: Scene, wavelength_m: Floats) -> range:
    """Orders that any of these wavelengths brings onto the plate."""
    pitch = scene.aperture.mean_pitch_m
    if pitch is None:
        return range(0)
    bench_m = bench_wavelength(scene.bench.air, wavelength_m)
    reach = [edge * pitch / lam for edge in geometry_of(scene).reach for lam in bench_m]
    lo, hi = math.ceil(min(reach)), math.floor(max(reach))
    return range(max(lo, -_MOST_ORDERS), min(hi, _MOST_ORDERS) + 1)


def order_marks(plate: Plate, wavelength_m: float | None = None) -> tuple[Mark, ...]:
    """Orders of one wavelength on a plate, the lowest first.

    None for a single slit, and none out of focus or without a camera, where they have no place.
    The wavelength is `guide_wavelength` unless given.
    """
    if not plate.scene.bench.far_field:
        return ()
    guide_m = guide_wavelength(plate) if wavelength_m is None else wavelength_m
    orders = sorted(orders_on(plate.scene, np.array([guide_m])), key=lambda m: (abs(m), m))
    positions = order_positions(plate.scene, np.array(orders, dtype=float), guide_m)
    return tuple(
        Mark(float(x), f"{order}".replace("-", "−"))
        for order, x in zip(orders, positions, strict=True)
        if plate.x_m[0] <= x <= plate.x_m[-1]
    )


def guide_wavelength(plate: Plate) -> float:
    """550 nm where the plate has such light, else its strongest visible wavelength [m]."""
    wavelength_m, power = plate.profile_wavelength_m, plate.profile_spectrum.sum(axis=1)
    if resampled(wavelength_m, power, np.array([_GREEN_M]))[0] > 0.05 * power.max():
        return _GREEN_M
    visible = (wavelength_m > 400e-9) & (wavelength_m < 700e-9)
    return float(
        wavelength_m[np.argmax(np.where(visible, power, -1.0) if visible.any() else power)]
    )
