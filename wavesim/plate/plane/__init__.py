"""Plates in two dimensions: apertures in the plane, near field, all wavelengths in one pass."""

from wavesim.plate.plane.expose import expose_plane
from wavesim.plate.plane.near import expose_near, in_focus

__all__ = ["expose_near", "expose_plane", "in_focus"]
