"""All wavelengths in one pass over the frame's cells."""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.diffraction.planar import SummedTable
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.kernels import sweep_coarse, sweep_fine
from wavesim.threads import each

_CACHE_BYTES = 384 * 1024  # of table under a tile; well within a second-level cache
_MOST_SIDE = 96  # cells
_ASPECT = 6.0  # width over height of a tile: long rows cost less to begin


def reach_of(
    frame: Frame, wavelength_m: Floats, sine_in: float
) -> tuple[float, float, float, float]:
    """u0, u1, v0, v1 [1/m] that a frame asks for at those wavelengths."""
    inverse = np.array([1 / wavelength_m.min(), 1 / wavelength_m.max()])
    u = np.outer(sine_in + frame.p[[0, -1]], inverse)
    v = np.outer(frame.q[[0, -1]], inverse)
    return float(u.min()), float(u.max()), float(v.min()), float(v.max())


def sweep_plane(
    table: SummedTable, frame: Frame, sine_in: float, wavelength_m: Floats, weight: Floats
) -> Floats:
    """(c, nq, np) sum over wavelengths of weight (b, c) x integral of |A|^2 over each cell [m2].

    Cost: cells x wavelengths readings (measured 2 to 3 ns each, two cores; benchmarks/plane.py).
    """
    ni, nj = frame.p.size - 1, frame.q.size - 1
    out = np.zeros((weight.shape[1], nj, ni))
    su, sv = 1 / (wavelength_m * table.step_u), 1 / (wavelength_m * table.step_v)
    lines = np.stack(
        [
            su,
            su * sine_in - table.start_u / table.step_u,
            sv,
            np.full_like(sv, -table.start_v / table.step_v),
        ]
    )
    kernel = sweep_fine if table.taps == 6 else sweep_coarse
    tiles = _tiles(frame, nj, ni, table, float(wavelength_m.min()))
    w = np.ascontiguousarray(weight)

    def sweep_tile(tile: tuple[int, int, int, int]) -> None:
        kernel(table.total.ravel(), table.total.shape[1], frame.p, frame.q, lines, w, tile, out)

    each(sweep_tile, tiles)
    return out


def _tiles(
    frame: Frame, nj: int, ni: int, table: SummedTable, shortest_m: float
) -> list[tuple[int, int, int, int]]:
    """Tiles (j0, j1, i0, i1) whose stretch of table fits the cache."""
    across = frame.cell[0] / shortest_m / table.step_u
    along = frame.cell[1] / shortest_m / table.step_v
    cells = _CACHE_BYTES / 8 / max(across * along, 1e-9)
    high = int(np.clip(np.sqrt(cells / _ASPECT), 6, _MOST_SIDE))
    wide = int(np.clip(cells / high, 16, 2 * _MOST_SIDE))
    return [
        (j, min(j + high, nj), i, min(i + wide, ni))
        for j in range(0, nj, high)
        for i in range(0, ni, wide)
    ]
