"""A plate of an aperture in the plane: two directions at once."""

from wavesim.plate.plane.expose import expose_plane

__all__ = ["expose_plane"]
