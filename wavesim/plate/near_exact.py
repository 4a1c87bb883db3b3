"""Exact near field of rulings on a parallel plate: columns and rows by position, not by sine."""

from __future__ import annotations

import math

import numpy as np

from wavesim.arrays import Floats
from wavesim.diffraction.far.running import CELLS, integrate_again
from wavesim.diffraction.fresnel.exact import ExactRulings
from wavesim.plate.duration import require_time
from wavesim.plate.geometry import Geometry
from wavesim.plate.memory import require_memory
from wavesim.plate.plane.wavelengths import Wavelengths
from wavesim.scene import Bench

_CELL_BYTES = 200  # of a cell of a near field's table, at the peak
_MOVED = 0.02  # of a fringe: by which steep rays move otherwise than the pattern as a whole
_EDGE_S = 150e-9  # of one edge's wave at one point


def propagates_exactly(bench: Bench) -> bool:
    """Whether plane waves meet an aperture that stands parallel to the plate, without a lens."""
    return (
        bench.plate_distance_m is not None
        and bench.source_distance_m is None
        and bench.collimator_lens is None
        and bench.lens_errors is None
        and bench.camera_axis_rad == 0.0
    )


def columns(near: ExactRulings, geometry: Geometry, wavelengths: Wavelengths) -> Floats:
    """(b, nx) integral of |U|^2 over each column [m], and over the slit's sines if there is one."""
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    return _light(
        near, geometry.x_edges_m, (geometry.sine_in + lo, geometry.sine_in + hi), wavelengths
    )


def rows(near: ExactRulings, geometry: Geometry, wavelengths: Wavelengths) -> Floats:
    """(b, ny) the same along y."""
    rise = geometry.slit_rise or 0.0
    return _light(near, geometry.y_edges_m, (-rise, rise), wavelengths)


def _light(
    near: ExactRulings, edges: Floats, source: tuple[float, float], wavelengths: Wavelengths
) -> Floats:
    """A narrow source moves the pattern as a whole, a wide one in Gauss-Legendre points."""
    lo, hi = source
    shortest = float(wavelengths.bench_m.min())
    first, last = float(edges[0]), float(edges[-1])
    cycles = (hi - lo) * near.aperture.width_m / shortest
    reach = max(abs(first), abs(last)) + near.aperture.width_m / 2
    bent = cycles / 2 * 1.5 * (reach / math.hypot(reach, near.distance_m)) ** 2
    moved = hi > lo and bent < _MOVED
    points = 1 if hi == lo or moved else 3 + math.ceil(1.5 * cycles)
    _judge(near, first, last, shortest, points * wavelengths.power.size)
    if moved:
        return np.stack([_moved(near, edges, source, float(w)) for w in wavelengths.bench_m])
    t, w = np.polynomial.legendre.leggauss(points)
    weight = w / 2 * ((hi - lo) or 1.0)
    out = np.zeros((wavelengths.power.size, edges.size - 1))
    for b, wavelength in enumerate(wavelengths.bench_m):
        for sine, part in zip((lo + hi) / 2 + (hi - lo) / 2 * t, weight, strict=True):
            table = near.integral(first, last, float(wavelength), float(sine))
            out[b] += part * np.diff(table.read(edges))
    return out


def _moved(
    near: ExactRulings, edges: Floats, source: tuple[float, float], wavelength_m: float
) -> Floats:
    """(nx,) integral over a source that moves the pattern by z ds / cos^3(alpha)."""
    middle, half = sum(source) / 2, (source[1] - source[0]) / 2
    scale = near.distance_m / (1 - middle * middle) ** 1.5
    reach = half * scale
    first, last = float(edges[0]) - reach, float(edges[-1]) + reach
    table = integrate_again(near.integral(first, last, wavelength_m, middle))
    mean = table.read_twice(edges + reach) - table.read_twice(edges - reach)
    return np.asarray(np.diff(mean) / scale)


def _judge(near: ExactRulings, first: float, last: float, shortest_m: float, runs: int) -> None:
    """Refuse what does not fit the memory, or would take too long."""
    cells = 2 * CELLS * (near.finest_per_m(shortest_m) * (last - first) + 1)
    expected = "a smaller aperture, a smaller plate, or fewer wavelengths"
    require_memory(cells * _CELL_BYTES, fraction=0.5, what=" in the near field", expected=expected)
    edges = 2 * near.aperture.elements if near.by_edges else 20
    require_time(runs * cells * edges * _EDGE_S, what="for its near field", expected=expected)
