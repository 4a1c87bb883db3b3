"""Rings in a picture: their centre, and what a camera at a slant makes of them.

To first order a slant camera turns circles about a centre into

    r = R [1 + e1 cos 2 phi + e2 sin 2 phi + (p cos phi + q sin phi) R]

(ellipses, and a scale that grows along one direction). Centre, e1, e2, p and q follow from least
squares of the picture against the mean over its own rings, smoothed, each time with the last
answer taken out; what is smaller than three of its standard errors counts as none.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats, Indices

_ROUNDS = 6
_SMOOTH = 2.0  # pixels over which the mean over rings is smoothed
_MOST = 60_000  # pixels that are compared
_BLOCK = 12  # pixels each way that may share their noise
_FEWEST = 24


@dataclass(frozen=True)
class RingShape:
    """Where rings lie in a picture.

    Attributes
    ----------
    row, column : [pixel] of the centre
    ellipse : e1, e2
    slant : p, q [1 / pixel]
    """

    row: float
    column: float
    ellipse: tuple[float, float] = (0.0, 0.0)
    slant: tuple[float, float] = (0.0, 0.0)

    def radius(self, shape: tuple[int, int]) -> Floats:
        """(rows, columns) [pixel] of the ring that passes each pixel."""
        y, x = np.indices(shape, dtype=np.float64)
        return self._of(x - self.column, y - self.row)

    def _of(self, x: Floats, y: Floats) -> Floats:
        distance = np.hypot(x, y)
        c, s = x / np.maximum(distance, 1e-9), y / np.maximum(distance, 1e-9)
        e1, e2 = self.ellipse
        p, q = self.slant
        factor = 1 + e1 * (c * c - s * s) + e2 * 2 * s * c + (p * c + q * s) * distance
        return np.asarray(distance / factor)


def ring_shape(grey: Floats) -> RingShape:
    """Centre and distortion of the rings in a picture (rows, columns)."""
    found = RingShape(*_middle(grey))
    reach = reach_of(found, grey.shape)
    if reach < _FEWEST:
        return found
    down, across = np.indices(grey.shape, dtype=np.float64)
    picked = _picked(grey.size)
    x, y, value = (np.ravel(a)[picked] for a in (across, down, grey))
    for free in (2, 2, *(6,) * _ROUNDS):
        found = _bettered(found, x, y, value, reach, free)
    return _certain(found, x, y, value, reach)


def reach_of(shape: RingShape, size: tuple[int, ...]) -> float:
    """Radius [pixel] of the largest whole ring; of the largest of all where that is small."""
    row, column = shape.row, shape.column
    reach = min(column, row, size[1] - 1 - column, size[0] - 1 - row)
    return reach if reach >= _FEWEST else max(column, size[1] - 1 - column)


def ring_means(
    shape: RingShape, light: Floats, reach: float
) -> tuple[Floats, Floats, Floats, Floats, Indices]:
    """Radius (n,), mean (n, c), rms deviation (n, c), part burnt out (n, c), pixels (n,).

    Rings are a pixel wide; `light` is (rows, columns, c), burnt out from 0.985 on.
    """
    radius = shape.radius(light.shape[:2])
    rings = np.floor(radius).astype(int)
    inside = rings < int(reach)
    index = rings[inside]
    count = np.bincount(index)
    held = count > 0

    def sums(values: Floats) -> Floats:
        return np.stack([np.bincount(index, c[inside]) for c in np.moveaxis(values, 2, 0)], axis=1)

    n = np.maximum(count, 1)[:, None]
    mean = sums(light) / n
    spread = np.sqrt(np.maximum(sums(light**2) / n - mean**2, 0.0))
    burnt = sums((light >= 0.985).astype(np.float64)) / n
    middle = np.bincount(index, radius[inside]) / n[:, 0]
    pixels = count[held].astype(np.intp)
    return middle[held], mean[held], spread[held], burnt[held], pixels


def _picked(size: int) -> slice:
    return slice(None, None, max(1, size // _MOST) | 1)


def _middle(grey: Floats) -> tuple[float, float]:
    """Row and column about which the picture is most nearly its own mirror image."""
    lifted = np.maximum(grey - np.median(grey), 0.0)
    found = []
    for axis in (0, 1):
        line = np.sqrt(lifted).sum(axis=1 - axis)
        size = 2 * line.size
        autocorrelation = np.fft.irfft(np.fft.rfft(line, 2 * size) ** 2, 2 * size)
        k = int(np.argmax(autocorrelation))
        a, b, c = autocorrelation[k - 1], autocorrelation[k], autocorrelation[k + 1]
        bend = a - 2 * b + c
        found.append((k + (0.5 * (a - c) / bend if bend else 0.0)) / 2)
    return found[0], found[1]


def _system(
    shape: RingShape, x: Floats, y: Floats, value: Floats, reach: float
) -> tuple[Floats, Floats, Indices]:
    """Derivatives (m, 6) of the picture by centre, e1, e2, p, q, what is left (m,), blocks (m,)."""
    from scipy.ndimage import gaussian_filter1d

    u, v = x - shape.column, y - shape.row
    radius = shape._of(u, v)
    used = (radius < reach) & (radius > 2)
    u, v, radius, value = u[used], v[used], radius[used], value[used]
    ring = np.floor(radius).astype(int)
    count = np.maximum(np.bincount(ring), 1)
    mean = gaussian_filter1d(np.bincount(ring, value) / count, _SMOOTH)
    middles = np.arange(mean.size) + 0.5
    slope = np.interp(radius, middles, np.gradient(mean))
    left = value - np.interp(radius, middles, mean)
    r = np.maximum(np.hypot(u, v), 1e-9)
    c, s = u / r, v / r
    columns = (-c, -s, -r * (c * c - s * s), -r * 2 * s * c, -r * r * c, -r * r * s)
    block = (y[used] // _BLOCK) * (1 + x.max() // _BLOCK) + x[used] // _BLOCK
    return np.stack([slope * part for part in columns], axis=1), left, block.astype(np.intp)


def _bettered(
    shape: RingShape, x: Floats, y: Floats, value: Floats, reach: float, free: int
) -> RingShape:
    basis, left, _ = _system(shape, x, y, value, reach)
    scale = np.linalg.norm(basis, axis=0)
    if not (scale[:free] > 0).all():
        return shape
    move = np.zeros(6)
    move[:free] = np.linalg.lstsq(basis[:, :free] / scale[:free], left, rcond=1e-6)[0]
    move[:free] /= scale[:free]
    limits = np.array([5.0, 5.0, 0.02, 0.02, 0.05 / reach, 0.05 / reach])
    return _moved(shape, np.clip(move, -limits, limits))


def _moved(shape: RingShape, move: Floats) -> RingShape:
    most = 0.1
    e = np.clip(np.array(shape.ellipse) + move[2:4], -most, most)
    slant = np.array(shape.slant) + move[4:6]
    return RingShape(
        shape.row + float(move[1]),
        shape.column + float(move[0]),
        (float(e[0]), float(e[1])),
        (float(slant[0]), float(slant[1])),
    )


def _certain(shape: RingShape, x: Floats, y: Floats, value: Floats, reach: float) -> RingShape:
    """Without the distortions that noise may have made."""
    basis, left, block = _system(shape, x, y, value, reach)
    scores = np.zeros((int(block.max(initial=0)) + 1, 6))
    np.add.at(scores, block, basis * left[:, None])
    inverse = np.linalg.pinv(basis.T @ basis)
    error = np.sqrt(np.maximum(np.diag(inverse @ (scores.T @ scores) @ inverse), 0.0))
    found = np.array([*shape.ellipse, *shape.slant])
    if (np.abs(found) > 3 * error[2:]).any():
        return shape
    round_ = RingShape(shape.row, shape.column)
    for _ in range(_ROUNDS):
        round_ = _bettered(round_, x, y, value, reach, 2)
    return round_
