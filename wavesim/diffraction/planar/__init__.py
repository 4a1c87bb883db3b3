"""Far field of apertures in the plane."""

from wavesim.diffraction.planar.amplitude import plane_amplitude
from wavesim.diffraction.planar.summed import Grid, SummedTable
from wavesim.diffraction.planar.tables import SamplingPlan, plan_table, plane_table

__all__ = ["Grid", "SamplingPlan", "SummedTable", "plan_table", "plane_amplitude", "plane_table"]
