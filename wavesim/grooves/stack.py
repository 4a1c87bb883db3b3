"""Layers with vertical walls: ridges, and coatings that follow them.

A profile of steps is a height for each stretch between walls. A coating of thickness t covers
tops, bottoms and walls alike: its surface is the height raised by t, and every wall moved
sideways by t (corners stay square). Between any two heights at which something changes lies one
layer.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.grooves.modal import Layer

RIDGE, GROOVE, COATING = 0, 1, 2  # materials; coatings from the substrate up are 2, 3, ...
_SAME = 1e-12  # periods


@dataclass(frozen=True, eq=False)
class StepProfile:
    """Heights of one period, in periods.

    Attributes
    ----------
    wall : (w,) ascending in [0, 1)
    height : (w,) between each wall and the next
    """

    wall: Floats
    height: Floats

    def at(self, x: Floats) -> Floats:
        """Height at positions x."""
        k = np.searchsorted(self.wall, np.mod(x, 1.0), side="right") - 1
        return np.asarray(self.height[k])

    def covered(self, thickness: float) -> StepProfile:
        """The surface of a coating."""
        moved = np.concatenate([self.wall - thickness, self.wall + thickness])
        wall = _unlike(np.mod(moved, 1.0))
        middle = (wall + np.append(wall[1:], wall[0] + 1.0)) / 2
        # the highest within reach: in the middle, at either end, or between walls within
        reach = [self.at(middle + s * thickness) for s in (-1.0, 1.0)]
        for edge, height in zip(self.wall, self.height, strict=True):
            apart = np.mod(middle - edge + 0.5, 1.0) - 0.5
            reach.append(np.where(np.abs(apart) < thickness, height, -np.inf))
        return StepProfile(wall, np.max(reach, axis=0) + thickness)


def layers_of(steps: StepProfile, coating: tuple[float, ...] = ()) -> tuple[Layer, ...]:
    """Layers from the top down.

    Parameters
    ----------
    coating : thicknesses in periods, from the substrate up
    """
    surfaces = [steps]
    for thickness in coating:
        surfaces.append(surfaces[-1].covered(thickness))
    wall = _unlike(np.concatenate([surface.wall for surface in surfaces]))
    middle = (wall + np.append(wall[1:], wall[0] + 1.0)) / 2
    heights = np.stack([surface.at(middle) for surface in surfaces])
    levels = _unlike(heights.ravel())[::-1]
    made = []
    for top, bottom in pairwise(levels.tolist()):
        inside = heights > (top + bottom) / 2  # (surfaces, stretches)
        first = np.argmax(inside, axis=0)
        number = np.where(first == 0, RIDGE, COATING - 1 + first)
        material = np.where(inside.any(axis=0), number, GROOVE)
        made.append(Layer(top - bottom, tuple(wall.tolist()), tuple(material.tolist())))
    return tuple(made)


def _unlike(values: Floats) -> NDArray[np.float64]:
    """Ascending values that differ."""
    ranked = np.sort(values)
    return np.asarray(ranked[np.append(True, np.diff(ranked) > _SAME)])
