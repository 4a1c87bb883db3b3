"""Apertures in the plane: kinds of element with closed forms, their places, pictures."""

from wavesim.aperture.plane.build import build_plane, element_of
from wavesim.aperture.plane.elements import (
    Annulus,
    Ellipse,
    GaussianBeam,
    PlaneElement,
    Polygon,
    Rectangle,
    disc,
)
from wavesim.aperture.plane.groups import Group, Lattice, PlaneAperture

__all__ = [
    "Annulus",
    "Ellipse",
    "GaussianBeam",
    "Group",
    "Lattice",
    "PlaneAperture",
    "PlaneElement",
    "Polygon",
    "Rectangle",
    "build_plane",
    "disc",
    "element_of",
]
