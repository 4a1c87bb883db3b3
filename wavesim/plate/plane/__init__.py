"""Plates in two dimensions: apertures in the plane, all wavelengths in one pass."""

from wavesim.plate.plane.expose import expose_plane

__all__ = ["expose_plane"]
