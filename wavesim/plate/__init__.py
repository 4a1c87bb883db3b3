"""The plate: bench geometry, all wavelengths in one pass, source slit, photometry."""

from wavesim.plate.accuracy import measured_error
from wavesim.plate.bins import Bins, choose
from wavesim.plate.compose import Light, compose
from wavesim.plate.costs import Smoothing
from wavesim.plate.develop import develop, level
from wavesim.plate.geometry import Geometry, geometry
from wavesim.plate.memory import check as check_memory
from wavesim.plate.result import Plate, Report
from wavesim.plate.rows import Rows, rows
from wavesim.plate.sweep import Columns, reach_per_m, sweep

__all__ = [
    "Bins",
    "Columns",
    "Geometry",
    "Light",
    "Plate",
    "Report",
    "Rows",
    "Smoothing",
    "check_memory",
    "choose",
    "compose",
    "develop",
    "geometry",
    "level",
    "measured_error",
    "reach_per_m",
    "rows",
    "sweep",
]
