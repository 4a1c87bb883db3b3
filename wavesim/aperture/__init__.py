"""Apertures: a few kinds of element, each at many positions."""

from wavesim.aperture.build import build, build_for_middle_row, needs_strips
from wavesim.aperture.combs import Aperture, Comb
from wavesim.aperture.elements import Element, Rays, Slit

__all__ = [
    "Aperture",
    "Comb",
    "Element",
    "Rays",
    "Slit",
    "build",
    "build_for_middle_row",
    "needs_strips",
]
