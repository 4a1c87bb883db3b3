"""The near field: a path over the aperture in front of the far field's sums."""

from wavesim.farfield.near.edges import slit_near
from wavesim.farfield.near.rulings import NearRulings, near_rulings
from wavesim.farfield.near.wavefront import (
    HOLDS,
    Wavefront,
    judged,
    lens_error_m,
    steepest,
    wavefront,
)

__all__ = [
    "HOLDS",
    "NearRulings",
    "Wavefront",
    "judged",
    "lens_error_m",
    "near_rulings",
    "slit_near",
    "steepest",
    "wavefront",
]
