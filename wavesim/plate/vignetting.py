"""Light that misses the camera lens: orders far aside lose part of their beam.

A ray that leaves the rulings at x, at delta from the camera's axis, meets a lens at the distance L
at X = x cos(beta) / cos(delta) + L tan(delta) from its middle. A lens of radius R lets through what
has X^2 + y^2 < R^2: of rulings at the height y a window of x, which moves across them from order to
order. Each column of the plate is the far field of the rulings in its own window; windows are
computed where they have moved by `_STEP` of the rulings' width, straight in between. They are
averaged over the height of the rulings: of a line's whole height that is exact whatever its shape
along y (Parseval). Rays are straight from rulings to lens, whose rim is many Fresnel zones away.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from wavesim.aperture.combs import Aperture, Chord, Comb, pieces, within
from wavesim.arrays import Floats
from wavesim.plate.bins import Bins
from wavesim.plate.geometry import Geometry
from wavesim.plate.photometry import sensitivities
from wavesim.plate.sweep import Columns
from wavesim.scene import CameraLens

_HEIGHTS = 12  # of the rulings, Gauss-Legendre
_STEP = 1 / 48  # of the rulings' width
_PIECE = 1 / 256  # of a window, into which wide slits are cut
_MARGIN = 2.0  # over the error found half-way between two windows

ColumnsOf = Callable[[Aperture, Geometry], Columns]


@dataclass(frozen=True, eq=False)
class Rim:
    """The rim of a camera lens as the rulings see it.

    Attributes
    ----------
    radius_m, distance_m : [m] of the lens, and from the rulings
    axis_rad : beta_0, angle of the camera's axis
    """

    radius_m: float
    distance_m: float
    axis_rad: float

    def window(self, sine_out: Floats, y_m: float) -> tuple[Floats, Floats]:
        """Left and right end [m] of the rulings at the height y that get through at each sine; of
        no width beyond the rim."""
        beta = np.arcsin(np.clip(sine_out, -1.0, 1.0))
        delta = beta - self.axis_rad
        scale = np.cos(delta) / np.maximum(np.cos(beta), 1e-9)
        half = math.sqrt(max(self.radius_m**2 - y_m**2, 0.0))
        middle = -self.distance_m * np.tan(delta)
        return (middle - half) * scale, (middle + half) * scale


def rim_of(lens: CameraLens | None, axis_rad: float) -> Rim | None:
    """The rim of a lens, if it has one."""
    if lens is None or lens.diameter_m is None:
        return None
    return Rim(lens.diameter_m / 2, lens.distance_m, axis_rad)


def cuts(rim: Rim, ruled: Aperture, geometry: Geometry) -> bool:
    """Whether light of any column misses the lens."""
    low, high = rim.window(geometry.sine_edges, ruled.height_m / 2)
    lo, hi = ruled.span_m
    return bool((low > lo).any() or (high < hi).any())


def vignetted(
    rim: Rim, ruled: Aperture, geometry: Geometry, bins: Bins, columns_of: ColumnsOf
) -> tuple[Columns, float]:
    """Light of every column, and its error by what is straight between windows, of the brightest.

    Parameters
    ----------
    columns_of : computes the columns of another aperture on part of the plate
    """
    middle = (geometry.sine_edges[1:] + geometry.sine_edges[:-1]) / 2
    moved = _moved(rim, ruled, middle)
    knots = _knots(moved)
    light = np.zeros((middle.size, bins.node_m.size))
    for weight, sine in _weights(moved, knots, middle):
        used = np.flatnonzero(weight)
        part = slice(int(used[0]), int(used[-1]) + 1)
        cut = _within_rim(rim, ruled, sine)
        if cut is not None:
            light[part] += weight[part, None] * columns_of(cut, _part(geometry, part)).light
    found = Columns(bins.node_m, light)
    return found, _error(rim, ruled, geometry, found, moved, knots, columns_of)


def _moved(rim: Rim, ruled: Aperture, sines: Floats) -> Floats:
    """(nx,) how far the window's ends have moved over the rulings, in their widths, summed up."""
    lo, hi = ruled.span_m
    both = [np.clip(end, lo, hi) for end in rim.window(sines, 0.0)]
    steps = sum(np.abs(np.diff(end)) for end in both) / (hi - lo)
    return np.concatenate([[0.0], np.cumsum(steps)])


def _knots(moved: Floats) -> Floats:
    """Where windows are computed: every `_STEP`, and wherever the window stands still."""
    last = float(moved[-1])
    even = np.linspace(0.0, last, max(2, math.ceil(last / _STEP) + 1))
    still = moved[1:][np.diff(moved) == 0]
    return np.unique(np.concatenate([even, still]))


def _weights(moved: Floats, knots: Floats, sines: Floats) -> Iterator[tuple[Floats, float]]:
    """For each window its weight (nx,) in the columns, and the sine it belongs to."""
    for row, knot in zip(np.eye(knots.size), knots, strict=True):
        weight = np.interp(moved, knots, row)
        still = sines[moved == knot]
        if weight.any():
            yield weight, float(still.mean() if still.size else np.interp(knot, moved, sines))


def _part(geometry: Geometry, part: slice) -> Geometry:
    return replace(geometry, sine_edges=geometry.sine_edges[part.start : part.stop + 1], margin=0)


def _within_rim(rim: Rim, ruled: Aperture, sine: float) -> Aperture | None:
    """The rulings that get through at a direction, chord by chord; None where none do."""
    t, w = np.polynomial.legendre.leggauss(_HEIGHTS)
    chords = []
    for y, part in zip(t * ruled.height_m / 2, w / 2, strict=True):
        low, high = (float(end) for end in rim.window(np.asarray(sine), float(y)))
        if high > low:
            chords.append(Chord((high - low) / 2, float(part), (high + low) / 2))
    combs = tuple(_cut(comb, rim) for comb in ruled.combs)
    passing = [c for c in chords if any(within(comb, c).position_m.size for comb in combs)]
    return replace(ruled, combs=combs, chords=tuple(passing)) if passing else None


def _cut(comb: Comb, rim: Rim) -> Comb:
    """Wide slits in pieces that the rim may tell apart."""
    return pieces(comb, 2 * rim.radius_m * _PIECE, math.inf)


def _error(
    rim: Rim, ruled: Aperture, geometry: Geometry, found: Columns, moved: Floats, knots: Floats,
    columns_of: ColumnsOf,
) -> float:  # fmt: skip
    """What three columns half-way between two windows miss, where the light changes most."""
    total = found.light @ sensitivities(found.node_m)
    brightest = float(total.max())
    if brightest <= 0 or moved[-1] == 0:
        return 0.0
    between = np.interp(moved, knots, np.arange(knots.size)) % 1
    slope = np.abs(np.gradient(total[:, 3])) * (np.abs(between - 0.5) < 0.3)
    worst = 0.0
    for column in np.argsort(slope)[-3:]:
        part = slice(int(column), int(column) + 1)
        sine = float(geometry.sine_edges[column : column + 2].mean())
        cut = _within_rim(rim, ruled, sine)
        if cut is not None:
            exact = columns_of(cut, _part(geometry, part)).light @ sensitivities(found.node_m)
            worst = max(worst, float(np.abs(exact - total[part]).max()) / brightest)
    return _MARGIN * worst
