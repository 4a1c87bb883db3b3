"""A source slit whose jaws are not parallel: every row of the plate has a width of its own.

The light at the height q on the plate came from the slit's point at -q, where the jaws stand at
s1(q) and s2(q) [sines]. With C(p) the light up to the direction p that a source of no width sends,
a row's light up to p is the integral of C(p + s) from s1 to s2. C is computed once, in columns so
narrow that a monotone cubic follows it, and integrated for each row: lines grow wider and, as the
power of each does, a narrow line's light grows with them.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from wavesim.arrays import Floats, Integers
from wavesim.errors import LimitError
from wavesim.light import Recorder
from wavesim.plate.compose import Light
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import spread_rows
from wavesim.plate.memory import require_memory
from wavesim.plate.photometry import sensitivities
from wavesim.plate.rows import Rows, gather
from wavesim.plate.sweep import Columns
from wavesim.threads import in_threads

_PER_FRINGE = 4.0  # columns to lambda / (aperture width): enough, as nothing finer is there
_PER_WIDTH = 16.0  # or, if those are fewer, to the narrower of a pixel and the slit's narrow end
_GUARD = 4  # columns beyond the last that is read
_ROWS = 32  # that are computed in narrow columns at a time, and their mirror images
_BYTES = 6 * 4 * 8  # of a narrow column in each of them, at the peak
_MARGIN = 2.0  # over the error found in two rows
_MOST_ERROR = 0.1  # of the brightest pixel: beyond, the scene is refused


@dataclass(frozen=True, eq=False)
class Wedged:
    """Light on a plate behind such a slit.

    Attributes
    ----------
    light : of all pixels; the middle row's spectrum is that of parallel jaws
    error : of a pixel's light by the narrow columns, of the brightest pixel, with a margin
    """

    light: Light
    error: float


def wedged(
    columns_of: Callable[[Geometry], Columns],
    rows_of: Callable[[Geometry, Columns], Rows],
    geometry: Geometry,
    parallel: Light,
    *,
    width_m: float,
    pixel_area_m2: float,
    recorder: Recorder | None = None,
) -> Wedged:
    """Light of all pixels.

    Parameters
    ----------
    columns_of : computes the columns of another geometry
    rows_of : and the rows that go with them
    parallel : light with jaws that are parallel, whose spectrum is kept
    width_m : [m] of the aperture

    Raises
    ------
    LimitError
        Columns are too coarse for the slit's narrow end, or do not fit the memory.
    """
    low, high = _jaws(geometry, [geometry.straightened_sine(float(y)) for y in geometry.y_m])
    fine = _narrow(geometry, width_m, float(parallel.profile_wavelength_m.min()))
    columns = columns_of(fine)
    weights = sensitivities(columns.node_m, recorder) / pixel_area_m2
    out = np.empty((geometry.rows, geometry.x_edges_m.size - 1, weights.shape[1]))
    for some, lower in _some_rows(columns, rows_of(fine, columns), weights, fine):
        for chosen, power in ((some, lower), (geometry.rows - 1 - some, lower)):
            out[chosen] = _spread(power, fine, low[chosen], high[chosen])
    found = replace(
        parallel,
        xyz_lx=np.ascontiguousarray(out[:, :, :3]),
        irradiance=out[:, :, 3].copy(),
        profile_irradiance=out[geometry.half_rows - 1, :, 3].copy(),
        recorded_lx=None if recorder is None else np.ascontiguousarray(out[:, :, 4:]),
    )
    return Wedged(found, _error(columns_of, geometry, columns, fine))


def _jaws(geometry: Geometry, sines: list[Floats]) -> tuple[Floats, Floats]:
    """(ny, nx + 1) directions of each row's pixel edges as light at either jaw has them."""
    jaws = np.array([geometry.jaws(float(y)) for y in geometry.y_m])
    return np.stack(sines) + jaws[:, :1], np.stack(sines) + jaws[:, 1:]


def _narrow(geometry: Geometry, width_m: float, shortest_m: float) -> Geometry:
    """The plate in columns narrow enough for a source of no width, as far as the jaws reach."""
    jaws = np.array([geometry.jaws(float(y)) for y in geometry.y_m])
    slit = float((jaws[:, 1] - jaws[:, 0]).min())
    step = max(min(geometry.pixel_sine, slit) / _PER_WIDTH, shortest_m / width_m / _PER_FRINGE)
    guard = _GUARD * step  # the margin holds all rows: it is as wide as the bow
    first = float(geometry.sine_edges[0] + jaws.min()) - guard
    last = float(geometry.sine_edges[-1] + jaws.max()) + guard
    count = math.ceil((last - first) / step)
    require_memory(
        _BYTES * count * _ROWS,
        what=" for a slit whose jaws are not parallel",
        expected="a smaller plate, larger pixels or a slit that is wider at its narrow end",
    )
    edges = np.clip(np.linspace(first, last, count + 1), -1.0, 1.0)
    return replace(
        geometry, x_edges_m=geometry.x_of_sine(edges), sine_edges=edges, margin=0, slit_sines=None
    )


def _some_rows(
    columns: Columns, row_weights: Rows, weights: Floats, fine: Geometry
) -> Iterator[tuple[Integers, Floats]]:
    """Numbers of some rows of the plate's lower half, and their light (n, nx, c)."""
    middle = (fine.x_edges_m[1:] + fine.x_edges_m[:-1]) / 2
    cosine = fine.focal_m / np.hypot(middle, fine.focal_m)
    for first in range(0, row_weights.weight.shape[2], _ROWS):
        lower = gather(columns, row_weights.some(slice(first, first + _ROWS)), weights, cosine)
        mirrored = lower[:, :, ::-1][:, :, : columns.first]
        whole = np.moveaxis(np.concatenate([mirrored, lower], axis=2), 0, 2)
        yield first + np.arange(whole.shape[0]), np.ascontiguousarray(whole)


def _spread(power: Floats, fine: Geometry, low: Floats, high: Floats) -> Floats:
    out = np.empty((low.shape[0], low.shape[1] - 1, power.shape[2]))

    def part(some: slice) -> None:
        spread_rows(power[some], fine.sine_edges, low[some], high[some], out[some])

    in_threads(part, low.shape[0])
    return out


def _error(
    columns_of: Callable[[Geometry], Columns], geometry: Geometry, narrow: Columns, fine: Geometry
) -> float:
    """What straight rows at both ends of the plate miss of columns made for their jaws.

    Raises
    ------
    LimitError
        More than 0.1 of the brightest pixel.
    """
    weights = sensitivities(narrow.node_m)
    power = (narrow.light @ weights)[None]
    inside = slice(geometry.margin, geometry.sine_edges.size - 1 - geometry.margin)
    sines = geometry.sine_edges[inside.start : inside.stop + 1][None]
    worst, brightest = 0.0, np.zeros(4)
    for y in geometry.y_m[[0, -1]]:
        lo, hi = geometry.jaws(float(y))
        exact = columns_of(replace(geometry, slit_sines=(lo, hi))).light[inside] @ weights
        found = _spread(power, fine, sines + lo, sines + hi)[0]
        brightest = np.maximum(brightest, exact.max(axis=0))
        worst = max(worst, float(np.abs(found - exact).max() / brightest.max()))
    error = _MARGIN * worst
    if error > _MOST_ERROR:
        raise LimitError(
            f"makes pixels uncertain by {min(error, 1.0):.2g} of the brightest, because the "
            "narrow end of the slit is far finer than a pixel",
            key="source.slit.jaws", expected="a smaller angle or a wider slit",
        )  # fmt: skip
    return error
