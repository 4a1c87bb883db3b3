"""The near field: a path over the aperture in front of the far field's sums.

Every plate asks for its wavefront; waves themselves stand in `edges`, `exact`, `rulings`, `plane`
and `spectrum`, which only near fields import.
"""

from wavesim.diffraction.fresnel.wavefront import (
    HOLDS,
    Wavefront,
    far_field_note,
    largest_slope,
    lens_error_m,
    wavefront,
)

__all__ = ["HOLDS", "Wavefront", "far_field_note", "largest_slope", "lens_error_m", "wavefront"]
