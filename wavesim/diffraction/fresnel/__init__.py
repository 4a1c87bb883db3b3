"""The near field: a path over the aperture in front of the far field's sums."""

from wavesim.diffraction.fresnel.edges import slit_near
from wavesim.diffraction.fresnel.exact import ExactRulings
from wavesim.diffraction.fresnel.rulings import NearRulings, near_rulings
from wavesim.diffraction.fresnel.wavefront import (
    HOLDS,
    Wavefront,
    judged,
    lens_error_m,
    steepest,
    wavefront,
)

__all__ = [
    "HOLDS",
    "ExactRulings",
    "NearRulings",
    "Wavefront",
    "judged",
    "lens_error_m",
    "near_rulings",
    "slit_near",
    "steepest",
    "wavefront",
]
