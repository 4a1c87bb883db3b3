"""The plate: bench geometry, all wavelengths in one pass, source slit, photometry."""

from wavesim.plate.accuracy import LEAST_ERROR, leaning_error, measured_error
from wavesim.plate.bins import Bins, Structure, choose, choose_for
from wavesim.plate.channels import Channels, Nodes, channels_of, compose_channels, sweep_channels
from wavesim.plate.compose import Light, compose
from wavesim.plate.computed import Computed, Stage
from wavesim.plate.costs import Smoothing
from wavesim.plate.develop import develop, level, level_of
from wavesim.plate.geometry import Geometry, geometry_of, with_bow_resolved
from wavesim.plate.memory import check as check_memory
from wavesim.plate.memory import check_time
from wavesim.plate.result import Plate, Report, require_plate, with_light
from wavesim.plate.rows import Rows, rows
from wavesim.plate.sweep import Columns, first_column, reach_per_m, sweep
from wavesim.plate.wide import wide_light

__all__ = [
    "LEAST_ERROR",
    "Bins",
    "Channels",
    "Columns",
    "Computed",
    "Geometry",
    "Light",
    "Nodes",
    "Plate",
    "Report",
    "Rows",
    "Smoothing",
    "Stage",
    "Structure",
    "channels_of",
    "check_memory",
    "check_time",
    "choose",
    "choose_for",
    "compose",
    "compose_channels",
    "develop",
    "first_column",
    "geometry_of",
    "leaning_error",
    "level",
    "level_of",
    "measured_error",
    "reach_per_m",
    "require_plate",
    "rows",
    "sweep",
    "sweep_channels",
    "wide_light",
    "with_bow_resolved",
    "with_light",
]
