"""|A|^2 of an aperture in the plane on an even grid of frequencies."""

from __future__ import annotations

import math

import numpy as np

from wavesim.aperture.plane import Group, PlaneAperture
from wavesim.arrays import Complexes, Floats
from wavesim.diffraction.planar.summed import Grid
from wavesim.threads import each

TOLERANCE = 1e-8  # asked of the non-uniform FFT; of the root of the sum of squared weights
_FEW = 100  # positions up to which a product of two thin matrices is quicker than an FFT
_BLOCK = 1 << 21  # samples of one block of rows: bounds the memory of complex amplitudes


def power_of_groups(aperture: PlaneAperture, grid: Grid) -> Floats:
    """(nv, nu) |A|^2 [m4].

    Cost: one two-dimensional non-uniform FFT (Barnett, Magland, af Klinteberg 2019) or thin
    matrix product per kind of element, and its envelope at every sample. Blocks of rows run two
    at a time, one thread each, so the result does not depend on the number of cores.
    """
    out = np.empty((grid.nv, grid.nu))
    rows = max(8, min(_BLOCK // grid.nu, -(-grid.nv // 2)))
    centre = aperture.centre_m

    def fill(first: int) -> None:
        part = slice(first, min(first + rows, grid.nv))
        amplitude = _amplitude(aperture, centre, grid, part)
        np.square(amplitude.real, out=out[part])
        out[part] += np.square(amplitude.imag)

    each(fill, range(0, grid.nv, rows), most=2)
    return out


def spectrum_of_groups(aperture: PlaneAperture, grid: Grid, out: Complexes) -> None:
    """A [m2] into `out` (nv, nu), phases about the axis."""
    half = -(-grid.nv // 2)  # whatever the number of cores: results do not depend on it

    def fill(first: int) -> None:
        part = slice(first, first + half)
        out[part] = 0.0
        _add_amplitude(aperture, (0.0, 0.0), grid, part, out[part])

    each(fill, (0, half), most=2)


def _amplitude(
    aperture: PlaneAperture, centre: tuple[float, float], grid: Grid, rows: slice
) -> Complexes:
    total = np.zeros((grid.v[rows].size, grid.nu), dtype=np.complex128)
    _add_amplitude(aperture, centre, grid, rows, total)
    return total


def _add_amplitude(
    aperture: PlaneAperture,
    centre: tuple[float, float],
    grid: Grid,
    rows: slice,
    total: Complexes,
) -> None:
    u, v = grid.u, grid.v[rows]
    for group in aperture.groups:
        part = interference(group, centre, grid, rows)
        part *= group.element.amplitude(u[None, :], v[:, None])
        total += part


def interference(group: Group, centre: tuple[float, float], grid: Grid, rows: slice) -> Complexes:
    """(rows, nu) sum of w exp(-2 pi i (u (x - x0) + v (y - y0)))."""
    x, y = group.x_m - centre[0], group.y_m - centre[1]
    u, v = grid.u, grid.v[rows]
    if x.size <= _FEW:
        across = group.weight[:, None] * np.exp(-2j * math.pi * np.outer(x, u))
        return np.asarray(np.exp(-2j * math.pi * np.outer(v, y)) @ across)
    from finufft import nufft2d1

    middle_u, middle_v = u[u.size // 2], v[v.size // 2]
    weight = group.weight * np.exp(-2j * math.pi * (middle_u * x + middle_v * y))
    result: Complexes = nufft2d1(
        2 * math.pi * grid.step_v * y,
        2 * math.pi * grid.step_u * x,
        weight,
        (v.size, u.size),
        isign=-1,
        eps=TOLERANCE,
        nthreads=1,
        upsampfac=1.25,
    )
    return result
