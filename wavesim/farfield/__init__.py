"""Far field: envelope times interference. Nothing here knows of plates or colour."""

from wavesim.farfield.amplitude import amplitude, interference
from wavesim.farfield.running import RunningIntegral
from wavesim.farfield.tables import FarField, Term, far_field, table_bytes

__all__ = [
    "FarField",
    "RunningIntegral",
    "Term",
    "amplitude",
    "far_field",
    "interference",
    "table_bytes",
]
