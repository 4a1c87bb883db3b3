"""Where the elements stand: lattices with errors, and random positions that keep their distance."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from wavesim.arrays import Floats
from wavesim.compiled import compiled
from wavesim.errors import LimitError
from wavesim.random_streams import stream
from wavesim.scene.planar import Dots, Mesh, Stop

_ROUNDS = 400  # draws of as many positions as are still missing, before giving up


def mesh_positions(mesh: Mesh) -> tuple[Floats, Floats]:
    """x, y [m] of a mesh's holes: oblique lattice, turned, jittered, some missing."""
    i = np.arange(mesh.count_x, dtype=np.float64) - (mesh.count_x - 1) / 2
    j = np.arange(mesh.count_y, dtype=np.float64) - (mesh.count_y - 1) / 2
    column, row = np.meshgrid(i * mesh.pitch_x_m, j * mesh.resolved_pitch_y_m)
    x = (column + row * math.cos(mesh.angle_rad)).ravel()
    y = (row * math.sin(mesh.angle_rad)).ravel()
    c, s = math.cos(mesh.turn_rad), math.sin(mesh.turn_rad)
    x, y = c * x - s * y, s * x + c * y
    random = stream(mesh.seed)
    error = random.standard_normal((2, x.size)) * mesh.jitter_m
    present = random.random_sample(x.size) >= mesh.missing
    return (x + error[0])[present], (y + error[1])[present]


def dot_diameters(dots: Dots) -> Floats:
    """(n,) [m] diameters: Gaussian about the given one, within three standard deviations."""
    random = stream(dots.seed, 1)
    spread = np.clip(random.standard_normal(dots.count), -3.0, 3.0) * dots.spread
    return np.asarray(dots.diameter_m * np.maximum(1.0 + spread, 0.05))


def scattered(dots: Dots) -> tuple[Floats, Floats]:
    """x, y [m] of dots whose middles are even over the stop and keep `min_distance_m`.

    Random sequential placing: a position too near to an earlier one is drawn anew. Dots lie
    wholly within the stop.

    Raises
    ------
    LimitError
        The stop is too small for a dot, or so many dots do not find room.
    """
    random = stream(dots.seed)
    half = _half_sides(dots.stop, dots.diameter_m / 2)
    x, y = np.empty(dots.count), np.empty(dots.count)
    grid, side = _grid(half, dots)
    placed = 0
    for _ in range(_ROUNDS):
        if placed == dots.count:
            return x, y
        draw = _draw(random, max(2 * (dots.count - placed), 64), half, round_=_is_round(dots.stop))
        distance = dots.min_distance_m
        placed = _place(draw, np.array(half), side, distance, grid, x, y, placed)
    raise LimitError(
        f"found room for only {placed:,} of {dots.count:,} dots",
        key="aperture.min_distance",
        expected="fewer dots, a smaller min_distance or a larger stop",
    )


def _is_round(stop: Stop) -> bool:
    return stop.diameter_m is not None


def _half_sides(stop: Stop, radius: float) -> tuple[float, float]:
    if stop.diameter_m is not None:
        half = (stop.diameter_m / 2 - radius,) * 2
    else:
        half = ((stop.width_m or 0.0) / 2 - radius, (stop.height_m or 0.0) / 2 - radius)
    if min(half) <= 0:
        raise LimitError(
            "is smaller than one dot", key="aperture.stop", expected="a stop wider than a dot"
        )
    return half


def _draw(
    random: np.random.RandomState, count: int, half: tuple[float, float], *, round_: bool
) -> Floats:
    """(2, count) positions even over the stop."""
    if not round_:
        return np.asarray((2 * random.random_sample((2, count)) - 1) * np.array(half)[:, None])
    r = half[0] * np.sqrt(random.random_sample(count))
    t = 2 * np.pi * random.random_sample(count)
    return np.stack([r * np.cos(t), r * np.sin(t)])


def _grid(half: tuple[float, float], dots: Dots) -> tuple[npt.NDArray[np.int32], float]:
    """Squares of the least distance's size that list the dots in them (up to four each)."""
    finest = math.sqrt(4 * half[0] * half[1] / (16 * dots.count + 16))
    side = max(dots.min_distance_m, finest)
    shape = (int(2 * half[1] / side) + 3, int(2 * half[0] / side) + 3, 4)
    return np.full(shape if dots.min_distance_m > 0 else (1, 1, 4), -1, dtype=np.int32), side


@compiled(fastmath=False, error_model="python")
def _place(draw, half, side, distance, grid, x, y, placed):  # type: ignore[no-untyped-def]
    least = distance * distance
    for k in range(draw.shape[1]):
        if placed == x.size:
            return placed
        a, b = draw[0, k], draw[1, k]
        if distance <= 0.0:
            x[placed], y[placed] = a, b
            placed += 1
            continue
        i = int((a + half[0]) / side) + 1
        j = int((b + half[1]) / side) + 1
        free = True
        for n in range(j - 1, j + 2):
            for m in range(i - 1, i + 2):
                for s in range(grid.shape[2]):
                    d = grid[n, m, s]
                    if d >= 0 and (x[d] - a) ** 2 + (y[d] - b) ** 2 < least:
                        free = False
        if not free:
            continue
        for s in range(grid.shape[2]):
            if grid[j, i, s] < 0:
                grid[j, i, s] = placed
                x[placed], y[placed] = a, b
                placed += 1
                break
    return placed
