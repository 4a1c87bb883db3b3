"""How saturated a display can show each hue, in OKLCh.

At one hue a display's colours fill a nearly three-cornered region of the (L, C) plane: black,
the cusp, white. Its lower edge is exactly a ray through black, because making a light stronger
multiplies L and C alike and leaves a channel that is zero at zero. One number per hue therefore
describes it: the largest saturation s = C / L. The upper edge, where a channel is full, needs no
table either: a colour of given s and hue is scaled until its largest channel is 1.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

from wavesim.colorimetry.spaces import ROOTS_TO_OKLAB, XYZ_TO_LMS, rgb_space

Array = NDArray[np.float64]

HUES = 4096  # nodes around the circle; reading between them is off by less than 1e-4 of s
_LARGEST = 2.0  # above any display's saturation (Rec. 2020 reaches 1.1)
_STEPS = 128  # scan for the first empty channel before bisection


@cache
def matrices(space: str) -> tuple[Array, Array]:
    """OKLab roots from (L, a, b), and linear RGB of `space` from the cubed roots: both (3, 3)."""
    to_rgb = rgb_space(space).from_xyz() @ np.linalg.inv(XYZ_TO_LMS)
    to_roots = np.linalg.inv(ROOTS_TO_OKLAB)
    to_roots[:, 0] = 1.0  # exact by construction of OKLab; the inverse is off by 1e-16
    return to_roots, np.ascontiguousarray(to_rgb)


def direction(position: Array) -> tuple[Array, Array]:
    """Unit vector (a, b) at a position 0..4 along |a| + |b| = 1, counted from the +a axis."""
    turn = np.asarray(position) % 4
    b = np.where(turn <= 1, turn, np.where(turn <= 3, 2 - turn, turn - 4))
    a = np.where(turn <= 2, 1 - turn, turn - 3)
    size = np.hypot(a, b)
    return a / size, b / size


@cache
def largest_saturation(space: str) -> Array:
    """Largest C / L of `space` at HUES + 1 positions 0..4 around |a| + |b| = 1 (last = first)."""
    a, b = direction(np.linspace(0, 4, HUES + 1))
    to_roots, to_rgb = matrices(space)
    slope = np.outer(a, to_roots[:, 1]) + np.outer(b, to_roots[:, 2])

    def emptiest(saturation: Array) -> Array:
        return np.asarray((((1 + saturation[:, None] * slope) ** 3) @ to_rgb.T).min(axis=1))

    low, high = np.zeros(HUES + 1), np.full(HUES + 1, _LARGEST)
    for step in np.linspace(_LARGEST, 0, _STEPS, endpoint=False):
        high[emptiest(np.full(HUES + 1, step)) < 0] = step
    low = np.maximum(high - _LARGEST / _STEPS, 0)
    for _ in range(48):
        middle = (low + high) / 2
        empty = emptiest(middle) < 0
        high = np.where(empty, middle, high)
        low = np.where(empty, low, middle)
    low.setflags(write=False)
    return low
