"""Apertures in the plane: kinds of element with closed forms, their positions, pictures."""

from wavesim.aperture.plane.build import build_plane, element_of
from wavesim.aperture.plane.elements import (
    AnnulusElement,
    EllipseElement,
    GaussianBeam,
    PlaneElement,
    PolygonElement,
    RectangleElement,
    disc,
)
from wavesim.aperture.plane.groups import Group, Lattice, PlaneAperture

__all__ = [
    "AnnulusElement",
    "EllipseElement",
    "GaussianBeam",
    "Group",
    "Lattice",
    "PlaneAperture",
    "PlaneElement",
    "PolygonElement",
    "RectangleElement",
    "build_plane",
    "disc",
    "element_of",
]
