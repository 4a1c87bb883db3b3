"""The smooth factors of phase elements, at every pixel column and wavelength node."""

from __future__ import annotations

import numpy as np

from wavesim.aperture.elements import Complexes, Element, Floats, Rays
from wavesim.diffraction.far import Term
from wavesim.plate.geometry import Geometry

_STEP = 0.01  # of an order: between columns where the envelope is computed
_BLOCK = 1 << 20  # values computed at a time


class Envelopes:
    """Factors (nx, k) of the far field's terms at the pixels' middles and wavelength nodes.

    An envelope changes over whole orders, so it is computed every hundredth of an order and read
    with cubic Lagrange interpolation between: error below 1e-6 of its peak. Within a pixel it is
    taken at the middle. Each element is computed once, however many terms it takes part in.
    """

    def __init__(self, place: Geometry, node_m: Floats, pitch_m: float) -> None:
        self._sine_in, self._node_m = place.sine_in, node_m
        middle = (place.sine_edges[1:] + place.sine_edges[:-1]) / 2
        span = float(middle[-1] - middle[0]) * pitch_m / float(node_m.min())
        coarse = 4 + int(np.ceil(span / _STEP))
        self._middle, self._step = middle, 0.0
        self._at = middle
        if coarse <= middle.size // 2:
            self._step = float(middle[-1] - middle[0]) / (coarse - 1)
            self._at = middle[0] + self._step * np.arange(-1, coarse + 1)
        self._known: dict[int, Complexes] = {}

    def factor(self, term: Term) -> Floats | None:
        """Factor of a term [m2], or None if it needs none."""
        if term.envelopes is None:
            return None
        one, other = term.envelopes
        known = term.factor(self._amplitude(one), self._amplitude(other))
        return known if self._step == 0.0 else self._between(known)

    def _amplitude(self, element: Element) -> Complexes:
        """(columns, k) [m]"""
        if id(element) not in self._known:
            rows = max(1, _BLOCK // self._node_m.size)
            sine = np.clip(self._at, -1.0, 1.0)[:, None]
            parts = [
                element.amplitude(Rays(self._sine_in, sine[i : i + rows], self._node_m))
                for i in range(0, sine.size, rows)
            ]
            self._known[id(element)] = np.concatenate(parts).astype(np.complex128)
        return self._known[id(element)]

    def _between(self, known: Floats) -> Floats:
        s = (self._middle - self._at[0]) / self._step
        first = np.clip(np.floor(s).astype(np.intp), 1, self._at.size - 3)
        t = (s - first)[:, None]
        weights = (
            -t * (t - 1) * (t - 2) / 6,
            (t + 1) * (t - 1) * (t - 2) / 2,
            -(t + 1) * t * (t - 2) / 2,
            (t + 1) * t * (t - 1) / 6,
        )
        return np.asarray(sum(w * known[first + n - 1] for n, w in enumerate(weights)))
