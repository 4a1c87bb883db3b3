"""What is marked beside a plate: its orders, the minima between them, the angles.

Positions come from the formulas of `study.predict`, for one reference wavelength.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim import light
from wavesim.errors import WavesimError
from wavesim.geometry import grating_geometry
from wavesim.scene import PeriodicDefect, Scene
from wavesim.study.predict.ghosts import ghosts_of, periods_of
from wavesim.study.predict.openings import features_of
from wavesim.study.predict.orders import order_table
from wavesim.study.predict.wavelengths import principal_wavelength, reference_wavelengths
from wavesim.study.ruling import Ruling, defects_of, ruling_seen

_MOST_MINIMA = 400
_MOST_ORDERS = 400
_MOST_BETWEEN = 40  # minima between two orders: more stand closer than they can be marked
_GHOSTS_ABOVE = 1e-6
_ANGLES = 9


@dataclass(frozen=True)
class Marks:
    """Positions on the plate [m] from the camera's axis, for one wavelength.

    Attributes
    ----------
    wavelength_m : in standard air [m]
    orders : (m, x, height over the strongest order) of those on the plate
    minima : (x, what is dark there)
    ghosts : (x, height over the line, its order)
    angles : (diffraction angle [deg], x)
    """

    wavelength_m: float
    orders: tuple[tuple[int, float, float], ...] = ()
    minima: tuple[tuple[float, str], ...] = ()
    ghosts: tuple[tuple[float, float, int], ...] = ()
    angles: tuple[tuple[float, float], ...] = ()


def reference_wavelength(scene: Scene) -> float:
    """The wavelength of a scene's strongest line, or one in the middle of its light [m]."""
    spectrum = light.of_scene(scene)
    try:
        wavelengths = reference_wavelengths(scene, spectrum)
        return principal_wavelength(wavelengths, scene, spectrum)
    except (WavesimError, ValueError):
        return 550e-9


def marks_of(scene: Scene, wavelength_m: float) -> Marks:
    """Orders, minima, ghosts and angles on the scene's plate."""
    angles = _angles(scene)
    ruled = ruling_seen(scene)
    if ruled is None or ruled.count < 2:
        return Marks(wavelength_m, minima=_features(scene, wavelength_m), angles=angles)
    return Marks(
        wavelength_m,
        orders=_orders(scene, ruled, wavelength_m),
        minima=_minima(scene, ruled, wavelength_m),
        ghosts=_ghosts(scene, ruled, wavelength_m),
        angles=angles,
    )


def _orders(
    scene: Scene, ruled: Ruling, wavelength_m: float
) -> tuple[tuple[int, float, float], ...]:
    """Order, position and share of the light of the strongest, of the whole orders on the plate."""
    ends = sorted(float(ruled.geometry.order(x, wavelength_m)) for x in scene.plate.x_range_m)
    orders = np.arange(math.ceil(ends[0]), math.floor(ends[1]) + 1, dtype=np.float64)
    if not 0 < orders.size <= _MOST_ORDERS:
        return ()
    efficiency = ruled.efficiency(orders, wavelength_m)
    positions = ruled.geometry.x_m(orders, wavelength_m)
    top = max(float(efficiency.max()), 1e-300)
    rows = zip(orders, positions, efficiency / top, strict=True)
    return tuple((int(m), float(x), float(part)) for m, x, part in rows)


def _ghosts(
    scene: Scene, ruled: Ruling, wavelength_m: float
) -> tuple[tuple[float, float, int], ...]:
    if not defects_of(scene, PeriodicDefect):
        return ()
    periods = periods_of(scene, ruled)
    ghosts = [
        (ghost.x_m, ghost.observed, ghost.order)
        for line in order_table(scene, ruled, (wavelength_m,))
        if line.on_plate and not line.missing
        for ghost in ghosts_of(line, ruled, periods, above=_GHOSTS_ABOVE)
    ]
    return tuple(ghost for ghost in ghosts if _on_plate(scene, ghost[0]))


def _minima(scene: Scene, ruled: Ruling, wavelength_m: float) -> tuple[tuple[float, str], ...]:
    """Zeros of the interference at m + k / N, as long as they are few enough to be told apart."""
    if not ruled.uniform or ruled.count - 1 > _MOST_BETWEEN:
        return ()
    low, high = (float(ruled.geometry.order(x, wavelength_m)) for x in scene.plate.x_range_m)
    steps = np.arange(math.ceil(low * ruled.count), math.floor(high * ruled.count) + 1)
    steps = steps[steps % ruled.count != 0]
    if steps.size > _MOST_MINIMA:
        return ()
    positions = ruled.geometry.x_m(steps / ruled.count, wavelength_m)
    return tuple(
        (float(x), f"{int(k) / ruled.count:.4g}") for k, x in zip(steps, positions, strict=True)
    )


def _features(scene: Scene, wavelength_m: float) -> tuple[tuple[float, str], ...]:
    dark = [f for f in features_of(scene, (wavelength_m,)) if f.height == 0]
    both = [(side * f.distance_m, f.what) for f in dark for side in (-1, 1)]
    return tuple(sorted(pair for pair in both if _on_plate(scene, pair[0])))


def _on_plate(scene: Scene, x_m: float) -> bool:
    low, high = scene.plate.x_range_m
    return low <= x_m <= high  # False for NaN


def _angles(scene: Scene) -> tuple[tuple[float, float], ...]:
    """Round angles and their positions: x = f tan(beta - axis)."""
    geometry = grating_geometry(scene)
    low, high = (math.degrees(geometry.beta_rad(x)) for x in scene.plate.x_range_m)
    step = _round_step((high - low) / _ANGLES)
    first, last = math.ceil(low / step), math.floor(high / step)
    sines = np.sin(np.radians(np.arange(first, last + 1) * step))
    positions = geometry.x_of_sine(sines)
    return tuple(
        (k * step, float(x)) for k, x in zip(range(first, last + 1), positions, strict=True)
    )


def _round_step(least: float) -> float:
    """1, 2 or 5 times a power of ten, not below `least`."""
    power = 10.0 ** math.floor(math.log10(max(least, 1e-12)))
    return next(power * digit for digit in (1, 2, 5, 10) if power * digit >= least * (1 - 1e-9))
