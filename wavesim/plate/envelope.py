"""The smooth factor of a phase element, at every pixel column and wavelength node."""

from __future__ import annotations

import numpy as np

from wavesim.aperture.elements import Floats, Rays
from wavesim.farfield import Term
from wavesim.plate.geometry import Geometry

_STEP = 0.01  # of an order: between columns where the envelope is computed
_BLOCK = 1 << 20  # values computed at a time


def envelope(term: Term, place: Geometry, node_m: Floats, pitch_m: float) -> Floats | None:
    """(nx, k) factor of a term [m2] at the pixels' middles, or None if it needs none.

    An envelope changes over whole orders, so it is computed every hundredth of an order and read
    with cubic Lagrange interpolation between: error below 1e-6 of its peak. Within a pixel it is
    taken at the middle.
    """
    middle = (place.sine_edges[1:] + place.sine_edges[:-1]) / 2
    span = float(middle[-1] - middle[0]) * pitch_m / float(node_m.min())
    coarse = 4 + int(np.ceil(span / _STEP))
    if coarse > middle.size // 2:
        return _computed(term, place.sine_in, middle, node_m)
    step = (middle[-1] - middle[0]) / (coarse - 1)
    at = middle[0] + step * np.arange(-1, coarse + 1)
    known = _computed(term, place.sine_in, np.clip(at, -1.0, 1.0), node_m)
    if known is None:
        return None
    s = (middle - at[0]) / step
    first = np.clip(np.floor(s).astype(np.intp), 1, at.size - 3)
    t = (s - first)[:, None]
    weights = (
        -t * (t - 1) * (t - 2) / 6,
        (t + 1) * (t - 1) * (t - 2) / 2,
        -(t + 1) * t * (t - 2) / 2,
        (t + 1) * t * (t - 1) / 6,
    )
    return np.asarray(sum(w * known[first + n - 1] for n, w in enumerate(weights)))


def _computed(term: Term, sine_in: float, sine: Floats, node_m: Floats) -> Floats | None:
    rows = max(1, _BLOCK // node_m.size)
    parts = []
    for i in range(0, sine.size, rows):
        part = term.factor(Rays(sine_in, sine[i : i + rows, None], node_m))
        if part is None:
            return None
        parts.append(part)
    return np.concatenate(parts)
