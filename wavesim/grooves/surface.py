"""A grooved surface: profile, materials, and the method that suits it."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Literal

import numpy as np

from wavesim.arrays import Complexes, Flags, Floats
from wavesim.errors import LimitError
from wavesim.grooves.basis import Elements, degrees, graded
from wavesim.grooves.coordinate import CoordinateMethod
from wavesim.grooves.materials import OpticalMaterial, constant
from wavesim.grooves.modal import Fourier, ModalMethod, Polynomials
from wavesim.grooves.problem import Problem
from wavesim.grooves.profiles import GrooveProfile, Relief
from wavesim.grooves.recursion import Region
from wavesim.grooves.scatter import Method
from wavesim.grooves.stack import StepProfile, layers_of
from wavesim.grooves.waves import IncidentWaves

MethodName = Literal["auto", "coordinate", "modal", "fourier"]

_RATIO = 0.15  # of neighbouring elements towards an edge (Gui & Babuska 1986: 0.15 to 0.17)
_PHASE = 7.0  # of a wave over an element [rad]: a polynomial of degree 8 follows it
# refinements to the edges, degrees, and by how much these fall with each refinement
_EDGED = ((2, 7, 3.0), (3, 7, 2.0), (4, 8, 2.0), (5, 10, 1.5), (6, 12, 1.5))
_SMOOTH = ((0, 8, 0.0), (0, 10, 0.0), (0, 12, 0.0), (0, 15, 0.0), (0, 18, 0.0))
FINEST = len(_EDGED) - 1  # from coarse to fine
MOST_FUNCTIONS = 1200  # eigenproblems beyond this take minutes each


@dataclass(frozen=True, eq=False)
class Surface:
    """Grooves between two media.

    Attributes
    ----------
    profile : of the face that the light meets
    pitch_m : [m]
    above : the medium of the light (without loss)
    below : the substrate; None is a perfect conductor
    coating : layers on the substrate from the top down, each a material and its thickness [m]:
        on inclined facets measured across the grating's plane, so that every face has the same
        profile; on vertical walls, tops and bottoms the same thickness everywhere
    ridge : between vertical walls, where it is not of the substrate's material
    groove : between the ridges, where it is not the medium above
    """

    profile: GrooveProfile
    pitch_m: float
    below: OpticalMaterial | None
    above: OpticalMaterial = field(default_factory=lambda: constant(1.0, "air"))
    coating: tuple[tuple[OpticalMaterial, float], ...] = ()
    ridge: OpticalMaterial | None = None
    groove: OpticalMaterial | None = None

    def eps(
        self, material: OpticalMaterial, vacuum_m: Floats, air: Floats | float = 1.0
    ) -> Complexes:
        """(b,) permittivity of a material, of unit index for the index of air."""
        return np.asarray((material.at(vacuum_m) / air) ** 2)


def method_for(
    surface: Surface,
    wavelength_m: Floats,
    name: MethodName,
    level: int,
    *,
    meshed_m: float | None = None,
) -> tuple[Method, int]:
    """The method and its number of functions at a level of refinement, 0 (coarse) to FINEST.

    Parameters
    ----------
    wavelength_m : (b,) in vacuum
    meshed_m : the wavelength whose mesh is taken; default the shortest

    Raises
    ------
    LimitError
        The method cannot treat the profile, or would need too many functions.
    """
    steps = surface.profile.steps(surface.pitch_m)
    relief = surface.profile.relief(surface.pitch_m) if steps is None else None
    if steps is None and relief is None:
        raise LimitError("has a shape that no available method can treat", key="groove")
    if steps is not None and name == "coordinate":
        raise LimitError(
            "has vertical walls on both sides, which the coordinate-transformation method cannot "
            "treat", key="groove", expected="the modal method",
        )  # fmt: skip
    if steps is None and name in ("modal", "fourier"):
        raise LimitError(
            "has inclined facets, which the modal method cannot treat",
            key="groove",
            expected="the coordinate-transformation method",
        )
    turns = _turns(surface, float(wavelength_m.min()) if meshed_m is None else meshed_m)
    if steps is not None:
        return _modal(surface, steps, wavelength_m, name, level, turns)
    assert relief is not None
    return _coordinate(surface, relief, wavelength_m, level, turns)


def _turns(surface: Surface, wavelength_m: float) -> float:
    """Wavelengths to a pitch, in the medium of the highest index."""
    index = _largest_index(surface, np.array([wavelength_m]))
    return index * surface.pitch_m / wavelength_m


def _coordinate(
    surface: Surface, relief: Relief, wavelength_m: Floats, level: int, turns: float
) -> tuple[Method, int]:
    edged = relief.corner.size > 0
    longest = _PHASE / (2 * math.pi * turns * relief.speed)
    ladder = _EDGED if edged else _SMOOTH
    basis = _elements(
        relief.corner, relief.sharp, ladder[level], longest if edged else min(longest, 0.5)
    )
    _check_size(basis.size)
    bare = CoordinateMethod(relief.curve, basis, relief.shear)
    if not surface.coating:
        return bare, basis.size
    return _Coated(bare, surface, wavelength_m), basis.size


def _elements(
    point: Floats, sharp: Flags, refinement: tuple[int, int, float], longest: float
) -> Elements:
    levels, degree, drop = refinement
    mesh = graded(point, sharp, levels, _RATIO, longest)
    return Elements(mesh, degrees(mesh, degree, drop, _RATIO))


class _Coated(CoordinateMethod):
    """The same with layers between equal faces."""

    def __init__(self, bare: CoordinateMethod, surface: Surface, wavelength_m: Floats) -> None:
        self.__dict__.update(bare.__dict__)
        self._layers = [
            (surface.eps(material, wavelength_m), thickness / surface.pitch_m)
            for material, thickness in surface.coating
        ]

    def layers(self, problem: Problem) -> list[Region]:
        """One region for each coating."""
        return [self.region(problem, eps, thickness) for eps, thickness in self._layers]


def _modal(
    surface: Surface,
    steps: StepProfile,
    wavelength_m: Floats,
    name: MethodName,
    level: int,
    turns: float,
) -> tuple[Method, int]:
    if surface.coating and surface.below is None:
        raise LimitError(
            "covers vertical walls of a perfect conductor, which no available method can treat",
            key="coating",
            expected="a material",
        )
    coats = tuple(thickness / surface.pitch_m for _, thickness in reversed(surface.coating))
    layers = layers_of(steps, coats)
    functions: Fourier | Polynomials
    if name == "fourier":
        functions = Fourier(int(turns) + 10 * 2**level)
    else:
        walls = np.unique([w for layer in layers for w in layer.wall])
        longest = min(0.5, _PHASE / (2 * math.pi * turns))
        sharp = np.ones(walls.size, dtype=bool)
        functions = Polynomials(_elements(walls, sharp, _EDGED[level], longest))
    _check_size(functions.size)
    ridge = surface.ridge or surface.below
    media = [ridge, surface.groove or surface.above, *(m for m, _ in reversed(surface.coating))]
    eps = [None if m is None else surface.eps(m, wavelength_m) for m in media]
    return ModalMethod(functions, layers, eps), functions.size


def _largest_index(surface: Surface, wavelength_m: Floats) -> float:
    """Of the media in which waves run along the grating; metals hold none."""
    coats = (material for material, _ in surface.coating)
    media = [surface.above, *coats, surface.below, surface.ridge, surface.groove]
    found = [1.0]
    for material in (m for m in media if m is not None):
        index = material.at(wavelength_m)
        found.append(float(np.max(np.where(index.imag < index.real, index.real, 1.0))))
    return max(found)


def _check_size(size: int) -> None:
    if size > MOST_FUNCTIONS:
        raise LimitError(
            f"needs {size:,} functions for its pitch and depth in wavelengths",
            key="groove",
            expected=f"at most {MOST_FUNCTIONS:,}: a finer pitch, or scalar theory, which is "
            "accurate for coarse pitches",
        )


def batch(waves: IncidentWaves, size: int) -> int:
    """How many wavelengths at a time: about 100 MB of matrices."""
    factor = 8.0 if waves.conical else 2.0
    return max(1, int(1e8 / (16 * (2 * size) ** 2 * factor)))
