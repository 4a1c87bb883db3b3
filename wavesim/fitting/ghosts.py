"""Periods that a ruling error may have, from where false lines stand beside a line.

A displacement of period P rulings puts false lines at the orders m +- 1/P on both sides of each
order m (Rowland 1893). The fainter side of the photograph, over all its orders, is taken as a
function of the distance in orders; its peaks are candidates.
"""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.fitting.photograph import PhotographPattern
from wavesim.geometry import grating_geometry
from wavesim.light import of_scene
from wavesim.scene import Scene

_MOST = 10  # candidates
_FEWEST_RULINGS = 2.2  # of a period
_SAMPLES = 3000


def error_periods(
    scene: Scene, pattern: PhotographPattern, left_m: float, unit: str
) -> list[float]:
    """Periods in rulings, or [m] where the key's unit is so, the most conspicuous first."""
    geometry = grating_geometry(scene)
    order = geometry.order(pattern.x_m + left_m, brightest_m(scene))
    value = np.asarray(pattern.value.mean(axis=1))
    distance = np.linspace(0.0, 1 / _FEWEST_RULINGS, _SAMPLES)[1:]
    faint = _fainter_side(order, value, distance)
    peaks = [d for d in _peaks(distance, faint) if d > 0]
    scale = geometry.pitch_m if unit == "m" else 1.0
    return [scale / d for d in peaks[:_MOST]]


def brightest_m(scene: Scene) -> float:
    """Wavelength [m] of the source's brightest nanometre."""
    edges = np.arange(360e-9, 830.5e-9, 1e-9)
    power, centre = of_scene(scene).integrate(edges[:-1], edges[1:])
    return float(centre[int(np.argmax(power))])


def _fainter_side(order: Floats, value: Floats, distance: Floats) -> Floats:
    """(n,) the fainter of both sides at a distance from an order; the brightest order's."""
    rising = np.argsort(order)
    order, value = order[rising], value[rising]
    low, high = float(order[0]), float(order[-1])
    found = np.zeros(distance.size)
    for m in range(int(np.ceil(low)), int(np.floor(high)) + 1):
        sides = [
            np.interp(m + sign * distance, order, value, left=0.0, right=0.0) for sign in (-1, 1)
        ]
        found = np.maximum(found, np.minimum(*sides))
    return found


def _peaks(distance: Floats, value: Floats) -> list[float]:
    """Where it has maxima, the highest above what lies about them first."""
    from scipy.signal import find_peaks

    found, told = find_peaks(value, prominence=0.01)
    order = np.argsort(-told["prominences"])
    return [float(distance[k]) for k in found[order]]
