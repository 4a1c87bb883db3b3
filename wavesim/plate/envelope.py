"""The smooth factors of phase elements, at every pixel column and wavelength node."""

from __future__ import annotations

import numpy as np

from wavesim.aperture.elements import Element, Rays
from wavesim.arrays import Complexes, Floats
from wavesim.compiled import compiled
from wavesim.diffraction.far import Term
from wavesim.plate.geometry import Geometry
from wavesim.threads import in_threads

_STEP = 0.01  # of an order: between columns where the envelope is computed
_BLOCK = 1 << 20  # values computed at a time


class Envelopes:
    """Factors (nx, k) of the far field's terms at the pixels' middles and wavelength nodes.

    An envelope changes over whole orders, so it is computed every hundredth of an order and read
    with cubic Lagrange interpolation between: error below 1e-6 of its peak. Within a pixel it is
    taken at the middle. Each element is computed once, however many terms it takes part in.
    """

    def __init__(self, geometry: Geometry, node_m: Floats, pitch_m: float) -> None:
        self._sine_in, self._node_m = geometry.sine_in, node_m
        middle = (geometry.sine_edges[1:] + geometry.sine_edges[:-1]) / 2
        span = float(middle[-1] - middle[0]) * pitch_m / float(node_m.min())
        coarse = 4 + int(np.ceil(span / _STEP))
        self._middle, self._step = middle, 0.0
        self._at = middle
        if coarse <= middle.size // 2:
            self._step = float(middle[-1] - middle[0]) / (coarse - 1)
            self._at = middle[0] + self._step * np.arange(-1, coarse + 1)
        self._known: dict[int, Complexes] = {}

    def multiply(self, term: Term, light: Floats) -> None:
        """Multiply a term's light (nx, k) by its factor [m2], if it needs one."""
        if term.envelopes is None:
            return
        first_element, second_element = term.envelopes
        known = term.factor(self._amplitude(first_element), self._amplitude(second_element))
        if self._step == 0.0:
            light *= known
            return
        s = (self._middle - self._at[0]) / self._step
        first = np.clip(np.floor(s).astype(np.int64), 1, self._at.size - 3)
        t = s - first
        weight = np.stack(
            [
                -t * (t - 1) * (t - 2) / 6,
                (t + 1) * (t - 1) * (t - 2) / 2,
                -(t + 1) * t * (t - 2) / 2,
                (t + 1) * t * (t - 1) / 6,
            ],
            axis=1,
        )
        in_threads(
            lambda rows: _multiply(known, first[rows] - 1, weight[rows], light[rows]),
            light.shape[0],
        )

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


@compiled()
def _multiply(known, first, weight, light):  # type: ignore[no-untyped-def]
    """light[i, k] times the sum of weight[i, n] known[first[i] + n, k]."""
    for i in range(light.shape[0]):
        a, b, c, d = weight[i, 0], weight[i, 1], weight[i, 2], weight[i, 3]
        n = first[i]
        one, two, three, four, row = known[n], known[n + 1], known[n + 2], known[n + 3], light[i]
        for k in range(row.size):
            row[k] *= a * one[k] + b * two[k] + c * three[k] + d * four[k]
