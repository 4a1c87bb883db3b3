"""Groove efficiency by rigorous theory."""

from wavesim.grooves.efficiency import Efficiencies, efficiencies
from wavesim.grooves.materials import SHIPPED, Material, constant, read, shipped
from wavesim.grooves.profiles import Blazed, Lamellar, Sinusoidal, Staircase, Table, Trapezoidal
from wavesim.grooves.surface import Surface

__all__ = [
    "SHIPPED",
    "Blazed",
    "Efficiencies",
    "Lamellar",
    "Material",
    "Sinusoidal",
    "Staircase",
    "Surface",
    "Table",
    "Trapezoidal",
    "constant",
    "efficiencies",
    "read",
    "shipped",
]
