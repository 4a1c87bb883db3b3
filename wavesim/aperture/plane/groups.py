"""The aperture in the plane: kinds of element at their positions, and lattices of picture cells."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from wavesim.aperture.plane.elements import PlaneElement
from wavesim.aperture.plane.polygons import corner_radius
from wavesim.arrays import Complexes, Floats


@dataclass(frozen=True, eq=False)
class Group:
    """One kind of element at many positions.

    Attributes
    ----------
    element : the envelope
    x_m, y_m : (n,) [m] positions of its middle
    weight : (n,) amplitude relative to the open beam, real or complex
    """

    element: PlaneElement
    x_m: Floats
    y_m: Floats
    weight: Floats | Complexes


@dataclass(frozen=True, eq=False)
class Lattice:
    """Equal cells on a lattice of squares, centred on the axis: a picture.

    Attributes
    ----------
    element : one cell, a square of side `cell_m`
    cell_m : [m] distance of the cells
    amplitude : (ny, nx) transmitted amplitude of each cell, 0 to 1, y rising
    path_m : (ny, nx) [m] optical path that each cell adds, or None
    """

    element: PlaneElement
    cell_m: float
    amplitude: npt.NDArray[np.float32]
    path_m: npt.NDArray[np.float32] | None = None

    @property
    def first_m(self) -> tuple[float, float]:
        """x and y of the middle of the first cell [m]."""
        ny, nx = self.amplitude.shape
        return -(nx - 1) / 2 * self.cell_m, -(ny - 1) / 2 * self.cell_m


@dataclass(frozen=True, eq=False)
class PlaneAperture:
    """Everything the far field needs to know of an aperture in the plane.

    Attributes
    ----------
    groups : kinds of element with their positions
    lattice : a picture, or None; an aperture is groups or a lattice
    open_area_m2 : [m2] integral of |t|^2
    limits : sentences about where the theory stops for this aperture
    whole : how many holes or rulings were cut into strips or cells, or None where none was
    real : whether complex weights add up to a real transmission
    """

    groups: tuple[Group, ...]
    lattice: Lattice | None
    open_area_m2: float
    limits: tuple[str, ...] = ()
    whole: int | None = None
    real: bool = False

    @cached_property
    def box_m(self) -> tuple[float, float, float, float]:
        """Left, right, lower and upper edge of the whole [m]."""
        boxes = [_box(g) for g in self.groups]
        if self.lattice is not None:
            ny, nx = self.lattice.amplitude.shape
            x, y = nx / 2 * self.lattice.cell_m, ny / 2 * self.lattice.cell_m
            boxes.append((-x, x, -y, y))
        lo_x, hi_x, lo_y, hi_y = zip(*boxes, strict=True)
        return min(lo_x), max(hi_x), min(lo_y), max(hi_y)

    @property
    def size_m(self) -> tuple[float, float]:
        """Full width and height [m]: |A|^2 holds no frequency above them."""
        lo_x, hi_x, lo_y, hi_y = self.box_m
        return hi_x - lo_x, hi_y - lo_y

    @property
    def centre_m(self) -> tuple[float, float]:
        """Middle of the whole [m]."""
        lo_x, hi_x, lo_y, hi_y = self.box_m
        return (lo_x + hi_x) / 2, (lo_y + hi_y) / 2

    @property
    def elements(self) -> int:
        """How many holes, rulings or picture cells there are in all."""
        if self.whole is not None:
            return self.whole
        cells = 0 if self.lattice is None else self.lattice.amplitude.size
        return cells + sum(g.x_m.size for g in self.groups)

    def circle_m(self, cos_alpha: float) -> float:
        """Radius [m] of the circle about the axis, seen along the beam, that holds it."""
        if self.lattice is not None:
            ny, nx = self.lattice.amplitude.shape
            return self.lattice.cell_m / 2 * math.hypot(nx * cos_alpha, ny)
        return max(_circle(group, cos_alpha) for group in self.groups)

    @property
    def of_one_phase(self) -> bool:
        """Whether t is real, so that |A(-u, -v)|^2 = |A(u, v)|^2 at every wavelength."""
        flat = self.lattice is None or self.lattice.path_m is None
        return self.real or (flat and all(not np.iscomplexobj(g.weight) for g in self.groups))


def radius_of(element: PlaneElement) -> float:
    """Radius [m] of the circle about an element's middle that holds it."""
    outline = element.outline()
    return corner_radius(outline) if outline else max(element.reach_m)


def _circle(group: Group, cos_alpha: float) -> float:
    """The lesser of two bounds: exact of discs, and of upright rectangles."""
    (rx, ry), x, y = group.element.reach_m, np.abs(group.x_m), np.abs(group.y_m)
    about = np.hypot(x * cos_alpha, y) + radius_of(group.element)
    corner = np.hypot((x + rx) * cos_alpha, y + ry)
    return float(np.minimum(about, corner).max())


def _box(group: Group) -> tuple[float, float, float, float]:
    rx, ry = group.element.reach_m
    x, y = group.x_m, group.y_m
    return (
        float(x.min()) - rx,
        float(x.max()) + rx,
        float(y.min()) - ry,
        float(y.max()) + ry,
    )
