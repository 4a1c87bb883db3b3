"""Groove efficiency by rigorous theory."""

from wavesim.grooves.efficiency import Efficiencies, efficiencies
from wavesim.grooves.materials import SHIPPED, OpticalMaterial, constant, read, shipped
from wavesim.grooves.profiles import (
    Blazed,
    Lamellar,
    MeasuredProfile,
    Sinusoidal,
    Staircase,
    Trapezoidal,
)
from wavesim.grooves.surface import Surface

__all__ = [
    "SHIPPED",
    "Blazed",
    "Efficiencies",
    "Lamellar",
    "MeasuredProfile",
    "OpticalMaterial",
    "Sinusoidal",
    "Staircase",
    "Surface",
    "Trapezoidal",
    "constant",
    "efficiencies",
    "read",
    "shipped",
]
