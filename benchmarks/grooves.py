"""Efficiencies of a blazed aluminium grating over the visible, against a plain loop.

Both use the coordinate-transformation method with the same number of functions. The plain loop
computes every one of 401 wavelengths; the curve computes where it bends and interpolates. A part
of the loop is timed and its time multiplied, since it takes long. The error is the largest
difference of any efficiency from 33 wavelengths computed with finer functions.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterator

import numpy as np

from benchmarks.row import Row
from wavesim.grooves import Blazed, Surface, shipped
from wavesim.grooves.curves import Path, curve
from wavesim.grooves.efficiency import amplitudes, waves_for

_WAVELENGTHS, _PART = 401, 20
_PITCH_M = 1e-3 / 1200
_SINE_IN = math.sin(math.radians(10.0))


def _surface() -> Surface:
    blaze = math.asin(0.3)  # 500 nm in order 1, Littrow
    return Surface(Blazed(blaze, math.pi / 2 - blaze, _PITCH_M), _PITCH_M, shipped("aluminium"))


def rows() -> Iterator[Row]:
    """One row: seconds, and the ratio to the plain loop."""
    surface = _surface()
    path = Path(lambda x: x, lambda x: np.full_like(x, _SINE_IN))
    x = np.linspace(380e-9, 780e-9, _WAVELENGTHS)
    passing = [_PITCH_M * (1 + _SINE_IN) / 2, _PITCH_M * (1 - _SINE_IN)]
    breaks = np.array([x[0], *passing, x[-1]])
    curve(surface, path, breaks[:2], tolerance=1e-1)  # warm
    begin = time.perf_counter()
    found = curve(surface, path, breaks, tolerance=1e-3)
    up = found.at(x)[0]
    seconds = time.perf_counter() - begin
    begin = time.perf_counter()
    for wavelength in x[:: _WAVELENGTHS // _PART]:
        single = np.array([wavelength])
        amplitudes(surface, single, waves_for(surface, single, np.array([_SINE_IN])), "auto", 0)
    plain = (time.perf_counter() - begin) * _WAVELENGTHS / len(x[:: _WAVELENGTHS // _PART])
    indices = np.arange(0, _WAVELENGTHS, 12)
    waves = waves_for(surface, x[indices], np.full(indices.size, _SINE_IN))
    fine, _ = amplitudes(surface, x[indices], waves, "auto", 2, -found.order)
    error = float(np.abs(up[:, indices] - fine.reflected_power).max())
    yield Row(
        f"rigorous efficiencies, 401 wavelengths, both polarisations ({found.computed} computed)",
        f"{seconds:.2f} s, error {error:.0e}",
        f"plain loop {plain:.1f} s: {plain / seconds:.1f} x",
        "4 s, error 1e-3, 10 x",
        seconds < 4 and error < 1e-3 and plain / seconds > 10,
    )
