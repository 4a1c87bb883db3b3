"""Far field: envelope times interference. Nothing here knows of plates or colour."""

from wavesim.diffraction.far.amplitude import amplitude, amplitude_in_round_beam, interference
from wavesim.diffraction.far.running import RunningIntegral
from wavesim.diffraction.far.tables import (
    FarField,
    Term,
    far_field,
    smoothed_far_field,
    table_bytes,
)

__all__ = [
    "FarField",
    "RunningIntegral",
    "Term",
    "amplitude",
    "amplitude_in_round_beam",
    "far_field",
    "interference",
    "smoothed_far_field",
    "table_bytes",
]
