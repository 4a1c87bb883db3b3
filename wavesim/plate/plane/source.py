"""The source as the blur it is: a slit's rectangle or a round disc of directions."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.plate.geometry import Geometry
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.interpolation import TAPS, box_weights, boxes_weights
from wavesim.scene import Scene

_STRIPS = 16  # of a disc to a cell; of a bent slit, to a cell of its bend
_BLOCK = 1 << 17  # weights of strips at a time
_BEND_SEEN = 3e-4  # [cell] a bend of a tall slit's image that is left out


@dataclass(frozen=True)
class Extent:
    """Directions that the source fills, as sines about its middle.

    Attributes
    ----------
    half : (p, q) half widths; zeros for a point
    round : whether it is an ellipse rather than a rectangle
    sine_in : sin(alpha) of its middle: a tall slit's ends enter at a slant, which bends its image
    shift : of its middle along p
    area : integral dp dq [sr, projected]; zero for a point
    """

    half: tuple[float, float]
    round: bool = False
    sine_in: float = 0.0
    shift: float = 0.0

    @property
    def reach(self) -> tuple[float, float]:
        """Farthest (p, q) from the middle; zeros for a point."""
        return self.half[0] + abs(self.shift) + abs(self.bend(self.half[1])), self.half[1]

    def bend(self, t: float) -> float:
        """Displacement of sin(alpha) at the sine t out of the plane."""
        return 0.0 if self.round else self.sine_in * (math.sqrt(1 - min(t * t, 1.0)) - 1)

    @property
    def text(self) -> str:
        """What each pixel was averaged over."""
        if self.area == 0.0:
            return "a point source"
        return "a round source" if self.round else "the source slit"

    @property
    def area(self) -> float:
        """Projected solid angle."""
        return (math.pi if self.round else 4.0) * self.half[0] * self.half[1]


def extent(scene: Scene, geometry: Geometry) -> Extent:
    """What the source covers, seen from the aperture."""
    if scene.source.disc_rad is not None:
        r = math.sin(scene.source.disc_rad / 2)
        return Extent((r * math.cos(scene.bench.alpha_rad), r), round=True)
    if geometry.slit_sines is None or geometry.slit_rise is None:
        return Extent((0.0, 0.0))
    lo, hi = geometry.slit_sines
    return Extent(
        ((hi - lo) / 2, geometry.slit_rise), sine_in=geometry.sine_in, shift=(lo + hi) / 2
    )


def blurred(cells: Floats, frame: Frame, source: Extent) -> Floats:
    """Powers (nq, np, c) averaged over the source; cells nearer to the rim than half the source
    lack what lies beyond it (the margin is there to be cut off).

    Exact for what cells resolve, four to the finest fringe; else a cell's light is told apart
    within it as the twelve cells about it say.
    """
    if source.area == 0.0:
        return cells
    if source.round or _bent(source, frame.cell):
        return _convolved(cells, kernel_of(source, frame.cell))
    a, b = source.half[0] / frame.cell[0], source.half[1] / frame.cell[1]
    across = box_weights(a, _reach(a), -source.shift / frame.cell[0])
    return along_axis(along_axis(cells, box_weights(b, _reach(b)), 0), across, 1)


def _reach(half: float) -> int:
    return math.ceil(half) + TAPS // 2


def _bent(source: Extent, cell: tuple[float, float]) -> bool:
    return abs(source.bend(source.half[1])) > _BEND_SEEN * cell[0]


def kernel_of(source: Extent, cell: tuple[float, float]) -> Floats:
    """Share of a cell's light that each cell about it gets, adding up to 1."""
    a, b = source.half[0] / cell[0], source.half[1] / cell[1]
    shift = -source.shift / cell[0]
    farthest = source.reach[0] / cell[0]
    nx, ny = _reach(farthest), _reach(b)
    if not source.round and not _bent(source, cell):
        return np.outer(box_weights(b, ny), box_weights(a, nx, shift))
    out = np.zeros((2 * ny + 1, 2 * nx + 1))
    bend = abs(source.bend(source.half[1])) / cell[0]
    strips = 16 + math.ceil(_STRIPS * bend)
    if source.round:
        strips = max(64, _STRIPS * math.ceil(b))
    thick = b / strips  # half of one
    few = _reach(thick)
    block = max(1, _BLOCK // (2 * nx + 1))
    every = (np.arange(strips) + 0.5) / strips * 2 - 1  # strips of the source along p
    for some in (every[k : k + block] for k in range(0, strips, block)):
        width = a * np.sqrt(1 - some * some) if source.round else np.full(some.size, a)
        bends = [source.bend(float(t) * source.half[1]) / cell[0] for t in some]
        row = boxes_weights(width, nx, shift - np.array(bends)) * width[:, None]
        cells = np.rint(some * b).astype(int)
        along = boxes_weights(np.full(some.size, thick), few, some * b - cells)
        for k in range(some.size):
            start = ny + cells[k] - few  # of the cells that the strip reaches along q
            first, last = max(start, 0), min(start + 2 * few + 1, 2 * ny + 1)
            out[first:last] += np.outer(along[k, first - start : last - start], row[k])
    return np.asarray(out / out.sum())


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
        target, source = slice(max(s, 0), n + min(s, 0)), slice(max(-s, 0), n - max(s, 0))
        leading = (slice(None),) * axis
        out[(*leading, target)] += w * cells[(*leading, source)]
    return out


def _convolved(cells: Floats, kernel: Floats) -> Floats:
    """Convolution by FFT with what lies outside taken as dark."""
    from scipy.fft import irfft2, next_fast_len, rfft2

    both = zip(cells.shape[:2], kernel.shape, strict=True)
    shape = [next_fast_len(n + k, real=True) for n, k in both]
    spectrum = rfft2(kernel, shape, workers=2)
    out = np.empty_like(cells)
    y, x = kernel.shape[0] // 2, kernel.shape[1] // 2
    for c in range(cells.shape[2]):
        own = rfft2(cells[:, :, c], shape, workers=2)
        own *= spectrum
        whole = irfft2(own, shape, workers=2, overwrite_x=True)
        out[:, :, c] = whole[y : y + cells.shape[0], x : x + cells.shape[1]]
    return out
