"""Spectra of a plate, ready to be drawn."""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.plate import Plate

_WIDE = 1.5  # times the smallest step: nodes farther apart than this have a gap between them
_GONE = 0.03


def bridged(wavelength_m: Floats, values: Floats) -> tuple[Floats, Floats]:
    """The same spectra (k, ...) with zeros one step off each side of every gap between nodes.

    A lamp's spectrum is given at nodes around its lines only; straight lines from one group of
    nodes to the next would show light where there is none. A lone node becomes a triangle.
    """
    steps = np.diff(wavelength_m)
    step = float(steps.min()) if steps.size else 1e-9
    gaps = np.flatnonzero(steps > _WIDE * step)
    where = np.concatenate([[0], gaps + 1, gaps + 1, [wavelength_m.size]])
    added = np.concatenate(
        [
            [wavelength_m[0] - step],
            wavelength_m[gaps] + step,
            wavelength_m[gaps + 1] - step,
            [wavelength_m[-1] + step],
        ]
    )
    order = np.argsort(np.concatenate([wavelength_m, added]), kind="stable")
    zeros = np.zeros((where.size, *values.shape[1:]))
    return (
        np.concatenate([wavelength_m, added])[order],
        np.concatenate([values, zeros])[order],
    )


def resampled(wavelength_m: Floats, values: Floats, grid_m: Floats) -> Floats:
    """Spectra (k, ...) read at other wavelengths, straight between nodes, nothing in gaps."""
    nodes, filled = bridged(wavelength_m, values)
    above = np.clip(np.searchsorted(nodes, grid_m), 1, nodes.size - 1)
    span = nodes[above] - nodes[above - 1]
    part = np.clip((grid_m - nodes[above - 1]) / np.where(span > 0, span, 1.0), 0.0, 1.0)
    part = part.reshape(-1, *[1] * (values.ndim - 1))
    return np.asarray(filled[above - 1] * (1 - part) + filled[above] * part)


def missing_wavelengths(plate: Plate, column: int) -> Floats:
    """Wavelengths [m] from 400 to 700 nm at which the light here passes through nearly nothing.

    Light here over the mean along the plate, relative to its best wavelength: minima below 3 %.
    Only steady light has any; between the lines of a lamp nothing was there to be extinguished.
    """
    wavelength_m = plate.profile_wavelength_m
    steps = np.diff(wavelength_m)
    if steps.size < 2 or steps.max() > _WIDE * steps.min():
        return np.empty(0)
    mean = plate.profile_spectrum.mean(axis=1)
    bright = mean > 0.01 * mean.max()
    part = np.where(bright, plate.profile_spectrum[:, column] / np.where(bright, mean, 1.0), np.inf)
    best = part[np.isfinite(part)].max(initial=0.0)
    inner = part[1:-1]
    low = (inner <= part[:-2]) & (inner < part[2:]) & (inner < _GONE * best)
    found = wavelength_m[1:-1][low]
    return np.asarray(found[(found > 400e-9) & (found < 700e-9)])
