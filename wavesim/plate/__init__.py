"""The plate: bench geometry, all wavelengths in one pass, source slit, photometry."""

from wavesim.plate.accuracy import leaning_error, measured_error
from wavesim.plate.bins import Bins, choose
from wavesim.plate.compose import Light, compose
from wavesim.plate.computed import Computed, Stage
from wavesim.plate.costs import Smoothing
from wavesim.plate.develop import develop, level, level_of
from wavesim.plate.geometry import Geometry, geometry_of
from wavesim.plate.memory import check as check_memory
from wavesim.plate.result import Plate, Report
from wavesim.plate.rows import Rows, rows
from wavesim.plate.sweep import Columns, reach_per_m, sweep

__all__ = [
    "Bins",
    "Columns",
    "Computed",
    "Geometry",
    "Light",
    "Plate",
    "Report",
    "Rows",
    "Smoothing",
    "Stage",
    "check_memory",
    "choose",
    "compose",
    "develop",
    "geometry_of",
    "leaning_error",
    "level",
    "level_of",
    "measured_error",
    "reach_per_m",
    "rows",
    "sweep",
]
