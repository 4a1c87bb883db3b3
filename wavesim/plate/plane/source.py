"""The source as the blur it is: a slit's rectangle or a round disc of directions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.frame import Frame
from wavesim.scene import Scene

_FINE = 64  # points each way of a frame cell's width when a disc is shared out


@dataclass(frozen=True)
class Extent:
    """Directions that the source fills, as sines about its middle.

    Attributes
    ----------
    half : (p, q) half widths; zeros for a point
    round : whether it is an ellipse rather than a rectangle
    area : integral dp dq [sr, projected]; zero for a point
    """

    half: tuple[float, float]
    round: bool = False

    @property
    def words(self) -> str:
        """What each pixel was averaged over."""
        if self.area == 0.0:
            return "a point source"
        return "a round source" if self.round else "the source slit"

    @property
    def area(self) -> float:
        """Projected solid angle."""
        return (math.pi if self.round else 4.0) * self.half[0] * self.half[1]


def extent(scene: Scene, place: Geometry) -> Extent:
    """What the source covers, seen from the aperture."""
    if scene.source.disc_rad is not None:
        r = math.sin(scene.source.disc_rad / 2)
        return Extent((r * math.cos(scene.bench.alpha_rad), r), round=True)
    if place.slit_sines is None or place.slit_rise is None:
        return Extent((0.0, 0.0))
    lo, hi = place.slit_sines
    return Extent(((hi - lo) / 2, place.slit_rise))


def blurred(cells: Floats, on: Frame, source: Extent) -> Floats:
    """Powers (nq, np, c) averaged over the source; cells nearer to the rim than half the source
    lack what lies beyond it (the margin is there to be cut off).

    A cell's light counts as even over the cell: exact sums, and an error of the square of
    cell over pattern where a pattern is finer than a cell.
    """
    if source.area == 0.0:
        return cells
    kernel = kernel_of(source, on.cell)
    if source.round:
        return _convolved(cells, kernel)
    across = _hat_mean(source.half[0] / on.cell[0])
    along = _hat_mean(source.half[1] / on.cell[1])
    return along_axis(along_axis(cells, along, 0), across, 1)


def kernel_of(source: Extent, cell: tuple[float, float]) -> Floats:
    """Share of a cell's light that each cell about it gets, adding up to 1."""
    a, b = source.half[0] / cell[0], source.half[1] / cell[1]
    if not source.round:
        return np.outer(_hat_mean(b), _hat_mean(a))
    nx, ny = math.ceil(a) + 1, math.ceil(b) + 1
    out = np.zeros((2 * ny + 1, 2 * nx + 1))
    strips = max(64, 2 * math.ceil(b) * _FINE // 8)
    for t in (np.arange(strips) + 0.5) / strips * 2 - 1:  # strips of the disc along p
        width = a * math.sqrt(1 - t * t)
        row = _hat_mean(width, nx) * width
        at = t * b + ny
        k = math.floor(at)
        out[k] += row * (1 - (at - k))
        out[min(k + 1, 2 * ny)] += row * (at - k)
    return np.asarray(out / out.sum())


def _hat_mean(half: float, reach: int | None = None) -> Floats:
    """Mean over -half .. half of the hat of width 1 about each whole number."""
    reach = math.ceil(half) + 1 if reach is None else reach
    m = np.arange(-reach, reach + 1, dtype=np.float64)
    if half < 1e-9:
        return np.asarray((m == 0).astype(np.float64))

    def below(s: Floats) -> Floats:
        t = np.clip(s, -1.0, 1.0)
        return np.asarray(0.5 + t - 0.5 * t * np.abs(t))

    return np.asarray((below(half - m) - below(-half - m)) / (2 * half))


def along_axis(cells: Floats, weight: Floats, axis: int) -> Floats:
    """Convolution of (n, m, c) along axis 0 or 1, short kernels by hand and long ones by FFT."""
    if weight.size > 40:
        shape = [1, 1]
        shape[axis] = weight.size
        return _convolved(cells, weight.reshape(shape))
    half, n = weight.size // 2, cells.shape[axis]
    out = np.zeros_like(cells)
    for k, w in enumerate(weight):
        s = k - half
        if abs(s) >= n:
            continue
        to, source = slice(max(s, 0), n + min(s, 0)), slice(max(-s, 0), n - max(s, 0))
        at = (slice(None),) * axis
        out[(*at, to)] += w * cells[(*at, source)]
    return out


def _convolved(cells: Floats, kernel: Floats) -> Floats:
    """Convolution by FFT with what lies outside taken as dark; negative rounding removed."""
    from scipy.fft import next_fast_len

    both = zip(cells.shape[:2], kernel.shape, strict=True)
    shape = [next_fast_len(n + k, real=True) for n, k in both]
    spectrum = np.fft.rfft2(kernel, shape)
    out = np.empty_like(cells)
    y, x = kernel.shape[0] // 2, kernel.shape[1] // 2
    for c in range(cells.shape[2]):
        whole = np.fft.irfft2(np.fft.rfft2(cells[:, :, c], shape) * spectrum, shape)
        out[:, :, c] = whole[y : y + cells.shape[0], x : x + cells.shape[1]]
    return np.maximum(out, 0.0, out=out)
