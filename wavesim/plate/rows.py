"""The direction along the rulings: diffraction at their height and the source slit's image.

A ruled height h sends h^2 sinc^2(h v) along v = q / lambda. For a pixel row between q1 and q2
and a source slit between -r and r (all sines), the light is

    Y = integral over q_s from -r to r, over q from q1 to q2, of  h^2 sinc^2(h (q + q_s) / lambda)
        dq dq_s / lambda,

a second difference of the same running integral, integrated once more, as along x. Without a
slit it is a first difference.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.aperture.elements import Floats
from wavesim.farfield.running import RunningIntegral, integral_of
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import shift_row

_LEVEL = 1e-9  # of the brightest row: error allowed where rows are interpolated in wavelength
_SCALE_SEEN = 0.02  # [pixel] spread of y scales across the plate that is left out


@dataclass(frozen=True, eq=False)
class Rows:
    """Share of the light that each row gets.

    Attributes
    ----------
    node_m : (k,) [m] a subset of the wavelength nodes; straight between them
    share : (s, k, ny) Y [m] (times a sine where there is a source slit), at `scale`
    scale : (s,) cosines f / sqrt(x^2 + f^2) of the columns that share stands for, falling
    """

    node_m: Floats
    share: Floats
    scale: Floats


def rows(height_m: float, place: Geometry, node_m: Floats) -> Rows:
    """Light of each row for a ruled height [m], at as few wavelength nodes as will do."""
    scale = _scales(place)
    table = _height_table(height_m, place, float(node_m.min()))
    every = np.stack([_share(table, place, node_m, s) for s in scale])
    kept = _needed(node_m, every)
    return Rows(node_m[kept], every[:, kept], scale)


def _scales(place: Geometry) -> Floats:
    """Cosines between which the rows' scale may be taken as straight.

    A point at x sees y under the sine y / sqrt(x^2 + y^2 + f^2): columns off the axis are
    nearer to the middle by f / sqrt(x^2 + f^2).
    """
    edges = np.abs(place.x_edges_m)
    farthest, nearest = float(edges.max()), float(edges.min())
    if place.x_edges_m[0] < 0 < place.x_edges_m[-1]:
        nearest = 0.0
    top = place.focal_m / np.hypot(nearest, place.focal_m)
    low = place.focal_m / np.hypot(farthest, place.focal_m)
    tallest = float(np.abs(place.y_edges_m).max())
    pixel = float(place.y_edges_m[1] - place.y_edges_m[0])
    spread = tallest * (top - low) / pixel
    if spread < _SCALE_SEEN:
        return np.array([(top + low) / 2])
    return np.linspace(top, low, 2 + int(spread))


def _height_table(height_m: float, place: Geometry, shortest_m: float) -> RunningIntegral:
    rise = place.slit_rise or 0.0
    reach = (abs(place.y_edges_m).max() / place.focal_m + rise) / shortest_m * 1.001

    def power(v: Floats) -> Floats:
        return np.asarray(height_m**2 * np.sinc(height_m * v) ** 2)

    return integral_of(power, height_m, -reach, reach, again=place.slit_rise is not None)


def _share(table: RunningIntegral, place: Geometry, node_m: Floats, scale: float) -> Floats:
    """(k, ny) at columns whose y is shortened by `scale`."""
    y = place.y_edges_m * scale
    q = y / np.hypot(y, place.focal_m)
    v = q / node_m[:, None]
    if place.slit_rise is None:
        return np.diff(table.read(v), axis=1)
    offset = place.slit_rise / node_m[:, None]
    both = table.read_twice(v + offset) - table.read_twice(v - offset)
    return np.asarray(node_m[:, None] * np.diff(both, axis=1))


def _needed(node_m: Floats, share: Floats) -> slice:
    """The widest even step through the nodes that leaves rows right to `_LEVEL`."""
    if node_m.size < 3 or not np.allclose(np.diff(node_m, 2), 0, atol=1e-12):
        return slice(None)
    last = node_m.size - 1
    for step in (s for s in range(last, 1, -1) if last % s == 0):
        t = (step // 2) / step
        kept = share[:, ::step]
        guess = kept[:, :-1] * (1 - t) + kept[:, 1:] * t
        if np.abs(guess - share[:, step // 2 :: step]).max() <= _LEVEL * share.max():
            return slice(None, None, step)
    return slice(None)


def gather(light: Floats, node_m: Floats, share: Rows, weights: Floats) -> Floats:
    """Sum over nodes of light x weights x share: (ny, nx, c).

    Parameters
    ----------
    light : (nx, k) of each column at each node
    weights : (k, c) per node, for instance the observer's curves
    """
    down = _hat_matrix(node_m, share.node_m)
    parts = [(light * weights[:, c]) @ down for c in range(weights.shape[1])]
    out = np.empty((share.share.shape[2], light.shape[0], weights.shape[1]))
    for c, part in enumerate(parts):
        out[:, :, c] = share.share[0].T @ part.T
    return out


def gather_scaled(
    light: Floats, node_m: Floats, share: Rows, weights: Floats, cosine: Floats
) -> Floats:
    """As `gather`, with the rows' scale following each column's cosine (nx,)."""
    if share.scale.size == 1:
        return gather(light, node_m, share, weights)
    out: Floats | None = None
    for s in range(share.scale.size):
        one = Rows(share.node_m, share.share[s : s + 1], share.scale[s : s + 1])
        hat = np.interp(-cosine, -share.scale, np.eye(share.scale.size)[s])
        part = gather(light * hat[:, None], node_m, one, weights)
        out = part if out is None else out + part
    assert out is not None
    return out


def _hat_matrix(fine: Floats, coarse: Floats) -> Floats:
    """(k, kc) of linear interpolation from coarse nodes to fine ones."""
    if fine.size == coarse.size:
        return np.eye(fine.size)
    return np.stack([np.interp(fine, coarse, row) for row in np.eye(coarse.size)], axis=1)


def bowed(plate: Floats, place: Geometry) -> Floats:
    """Rows (ny, nx + 2 margin, c) put where the bow of the lines takes them: (ny, nx, c)."""
    out = np.empty((plate.shape[0], place.x_edges_m.size - 1, plate.shape[2]))
    edges = place.x_of_sine(place.sine_edges)
    for j, y in enumerate(place.y_m):
        shift_row(plate[j], edges, place.straightened(float(y)), out[j])
    return out
