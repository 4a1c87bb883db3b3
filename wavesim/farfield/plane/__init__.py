"""Far field of apertures in the plane."""

from wavesim.farfield.plane.amplitude import plane_amplitude
from wavesim.farfield.plane.summed import Grid, SummedTable
from wavesim.farfield.plane.tables import Plan, plan_table, plane_table

__all__ = ["Grid", "Plan", "SummedTable", "plan_table", "plane_amplitude", "plane_table"]
