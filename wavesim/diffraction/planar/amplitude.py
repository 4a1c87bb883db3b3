"""The amplitude of an aperture in the plane at any directions."""

from __future__ import annotations

import math

import numpy as np

from wavesim.aperture.plane import Lattice, PlaneAperture
from wavesim.arrays import Complexes, Floats
from wavesim.compiled import compiled
from wavesim.diffraction.planar.pictures import phased
from wavesim.threads import in_threads

_DIRECT = 200_000_000  # positions times directions up to which the plain sum is taken


def plane_amplitude(
    aperture: PlaneAperture, u_per_m: Floats, v_per_m: Floats, *, wavelength_m: float = 550e-9
) -> Complexes:
    """A(u, v) = sum over kinds E(u, v) sum_j w_j exp(-2 pi i (u x_j + v y_j))   [m2].

    Parameters
    ----------
    u_per_m, v_per_m : (n,) [1/m], u = (sin alpha + p) / lambda, v = q / lambda, in any order
    wavelength_m : [m] matters to pictures with phases alone

    Notes
    -----
    |A|^2 du dv integrates to the open area. Direct sum, or a non-uniform FFT at 1e-12 of the
    peak where there are many positions and directions. Scalar theory, far field.
    """
    u = np.atleast_1d(np.asarray(u_per_m, dtype=np.float64))
    v = np.broadcast_to(np.asarray(v_per_m, dtype=np.float64), u.shape)
    total = np.zeros(u.shape, dtype=np.complex128)
    for group in aperture.groups:
        total += group.element.amplitude(u, v) * direct_sum(
            group.weight, group.x_m, group.y_m, u, v
        )
    if aperture.lattice is not None:
        total += _of_lattice(aperture.lattice, u, v, wavelength_m)
    return total


def direct_sum(
    weight: Floats | Complexes, x_m: Floats, y_m: Floats, u: Floats, v: Floats
) -> Complexes:
    """(n,) sum over positions of w exp(-2 pi i (u x + v y))."""
    w = np.ascontiguousarray(weight, dtype=np.complex128)
    if w.size * u.size <= _DIRECT:
        out = np.empty(u.size, dtype=np.complex128)
        a, b = np.ascontiguousarray(u), np.ascontiguousarray(v)
        in_threads(lambda part: _sum(w, x_m, y_m, a[part], b[part], out[part]), u.size)
        return out
    from finufft import nufft2d3

    turn = 2 * math.pi
    result: Complexes = nufft2d3(turn * x_m, turn * y_m, w, u, v, isign=-1, eps=1e-12, nthreads=1)
    return result


def _of_lattice(lattice: Lattice, u: Floats, v: Floats, wavelength_m: float) -> Complexes:
    cells = phased(lattice, wavelength_m)
    ny, nx = cells.shape
    x = lattice.first_m[0] + lattice.cell_m * np.arange(nx, dtype=np.float64)
    y = lattice.first_m[1] + lattice.cell_m * np.arange(ny, dtype=np.float64)
    nonzero = np.nonzero(cells)
    field = direct_sum(cells[nonzero], x[nonzero[1]], y[nonzero[0]], u, v)
    return np.asarray(field * lattice.element.amplitude(u, v))


@compiled()
def _sum(w, x, y, u, v, out):  # type: ignore[no-untyped-def]
    for k in range(u.size):
        re = 0.0
        im = 0.0
        for j in range(w.size):
            c = u[k] * x[j] + v[k] * y[j]
            a = -2.0 * math.pi * (c - np.rint(c))
            term = w[j] * complex(math.cos(a), math.sin(a))
            re += term.real
            im += term.imag
        out[k] = complex(re, im)
