"""The transmission of a table of the Sun's lines, integrated over bins like any spectrum."""

from __future__ import annotations

import numpy as np

from wavesim.light import pieces, sun

_GRID_M, _FEATURES_M = 1e-12, 5e-12  # `sun.transmission` gives values every 1 pm


def transmission_spectrum(table: np.ndarray) -> pieces.Spectrum:
    """The transmission as a "spectrum" of density 1 between the lines."""
    start_m, values = sun.transmission(table)
    return pieces.from_grid(start_m, _GRID_M, values, _FEATURES_M)
