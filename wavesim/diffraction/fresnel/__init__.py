"""The near field: a path over the aperture in front of the far field's sums.

Every plate asks for its wavefront; waves themselves stand in `edges`, `exact`, `rulings`, `plane`
and `spectrum`, which only near fields import.
"""

from wavesim.diffraction.fresnel.wavefront import (
    HOLDS,
    Wavefront,
    judged,
    lens_error_m,
    steepest,
    wavefront,
)

__all__ = ["HOLDS", "Wavefront", "judged", "lens_error_m", "steepest", "wavefront"]
