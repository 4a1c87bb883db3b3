"""Far field: envelope times interference. Nothing here knows of plates or colour."""

from wavesim.farfield.amplitude import amplitude
from wavesim.farfield.running import RunningIntegral
from wavesim.farfield.tables import power_table, table_bytes

__all__ = ["RunningIntegral", "amplitude", "power_table", "table_bytes"]
