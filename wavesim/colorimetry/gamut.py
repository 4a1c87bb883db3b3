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

from wavesim.arrays import Floats
from wavesim.colorimetry.spaces import ROOTS_TO_OKLAB, XYZ_TO_LMS, rgb_space
from wavesim.disk_cache import grid

HUES = 1024  # nodes around the circle
EDGE_NODES = 8192  # of the table that pixels are read from: 1e-5 of C / L beside blue's cliff
STEEPEST = 0.012  # of C / L per degree of hue: about its fall from blue to violet
BEND = 5e-4  # of C / L per square degree
_CLIFF_DEG = (215.0, 25.0, 278.0, 14.0)  # of hue: where `cliff` begins and how, where it ends
_REACH_DEG = 24.0  # beyond which the parabola is too deep to matter
_LARGEST = 2.0  # above any display's saturation (Rec. 2020 reaches 1.1)
_STEPS = 32  # scan for the first empty channel before bisection


@cache
def matrices(space: str) -> tuple[Floats, Floats]:
    """OKLab roots from (L, a, b), and linear RGB of `space` from the cubed roots: both (3, 3)."""
    to_rgb = rgb_space(space).from_xyz() @ np.linalg.inv(XYZ_TO_LMS)
    to_roots = np.linalg.inv(ROOTS_TO_OKLAB)
    to_roots[:, 0] = 1.0  # exact by construction of OKLab; the inverse is off by 1e-16
    return to_roots, np.ascontiguousarray(to_rgb)


def direction(position: Floats) -> tuple[Floats, Floats]:
    """Unit vector (a, b) at a position 0..4 along |a| + |b| = 1, counted from the +a axis."""
    turn = np.asarray(position) % 4
    b = np.where(turn <= 1, turn, np.where(turn <= 3, 2 - turn, turn - 4))
    a = np.where(turn <= 2, 1 - turn, turn - 3)
    size = np.hypot(a, b)
    return a / size, b / size


@cache
def largest_saturation(space: str) -> Floats:
    """Largest C / L of `space` at HUES + 1 hue angles from 0 to 360 degrees (last = first)."""
    hue = np.linspace(0, 2 * np.pi, HUES + 1)
    return _frozen(_largest(space, np.cos(hue), np.sin(hue)))


@cache
def edges(space: str) -> Floats:
    """The same, `rounded_saturation` and `cliff` at EDGE_NODES + 1 positions: (3, n).

    For reading pixel by pixel. They depend on the space alone, and are kept on disk.
    """
    return _frozen(
        grid(
            np.concatenate([table.ravel() for table in matrices(space)]),
            (space, "edges"),
            lambda: _edges(space),
            (3, EDGE_NODES + 1),
            what="gamut",
            room="colorimetry",
        )
    )


def _edges(space: str) -> Floats:
    positions = np.linspace(0, 4, EDGE_NODES + 1)
    exact = _largest(space, *direction(positions))
    rounded = np.interp(positions, np.linspace(0, 4, HUES + 1), rounded_saturation(space))
    return np.stack([exact, np.minimum(rounded, exact), cliff(space, positions)])


def cliff(space: str, position: Floats) -> Floats:
    """How far a colour just beyond the gamut is paled with white at positions of `direction`, 0..1.

    From blue to cyan the largest saturation of a hue falls to a third within 15 degrees, in sRGB
    and Display P3: a light that changes slowly, kept in its hue, would lose its colour at a visible
    edge. White keeps its dominant wavelength instead, at up to 6 degrees of hue.
    """
    if space == "rec2020":  # whose edge lies along the spectrum
        return np.zeros(np.shape(position))
    a, b = direction(position)
    hue = np.degrees(np.arctan2(b, a)) % 360
    low, rise, high, fall = _CLIFF_DEG
    return _smooth_step((hue - low) / rise) * _smooth_step((high - hue) / fall)


def _smooth_step(x: Floats) -> Floats:
    inside = np.clip(x, 0.0, 1.0)
    return np.asarray(inside**2 * (3 - 2 * inside))


def _largest(space: str, a: Floats, b: Floats) -> Floats:
    """Largest C / L in the directions (a, b) (n,), by a scan and bisection."""
    to_roots, to_rgb = matrices(space)
    slope = np.outer(a, to_roots[:, 1]) + np.outer(b, to_roots[:, 2])

    def emptiest(saturation: Floats) -> Floats:
        return np.asarray((((1 + saturation[:, None] * slope) ** 3) @ to_rgb.T).min(axis=1))

    high = np.full(a.size, _LARGEST)
    for step in np.linspace(_LARGEST, 0, _STEPS, endpoint=False):
        high[emptiest(np.full(a.size, step)) < 0] = step
    low = np.maximum(high - _LARGEST / _STEPS, 0)
    for _ in range(44):
        middle = (low + high) / 2
        empty = emptiest(middle) < 0
        high = np.where(empty, middle, high)
        low = np.where(empty, low, middle)
    return np.asarray(low)


def _frozen(values: Floats) -> Floats:
    values.setflags(write=False)
    return values


@cache
def rounded_saturation(space: str) -> Floats:
    """`largest_saturation` with its ridges rounded off, at HUES + 1 positions of `direction`.

    The exact limit has a corner at each primary and falls like a cliff beside blue: a spectrum
    drawn along it shows a bright line at each. Rounding takes the largest function below it
    that rises by no more than STEEPEST per degree, then the largest below that which bends
    downwards no faster than a parabola of curvature 2 BEND (a morphological opening). Neither
    can leave the gamut.
    """
    bounded = _bounded(largest_saturation(space)[:-1], STEEPEST * 360 / HUES)
    reach = round(_REACH_DEG * HUES / 360)
    step = np.arange(-reach, reach + 1)
    parabola = BEND * (step * 360 / HUES) ** 2
    around = (np.arange(HUES)[:, None] + step) % HUES
    eroded = (bounded[around] + parabola).min(axis=1)
    rounded = (eroded[around] - parabola).max(axis=1)
    a, b = direction(np.linspace(0, 4, HUES + 1))
    nodes = np.arange(HUES) * (2 * np.pi / HUES)
    table = np.interp(np.arctan2(b, a), nodes, rounded, period=2 * np.pi)
    table.setflags(write=False)
    return np.asarray(table)


def _bounded(values: Floats, rise: float) -> Floats:
    """Largest periodic function below `values` that changes by `rise` a node at most."""
    ramp = rise * np.arange(2 * values.size)
    twice = np.tile(values, 2)  # so that the seam does not count
    forward = np.minimum.accumulate(twice - ramp) + ramp
    backward = np.minimum.accumulate(twice[::-1] - ramp)[::-1] + ramp[::-1]
    return np.asarray(np.minimum(forward[values.size :], backward[: values.size]))


def saturation_at(table: Floats, a: float, b: float) -> float:
    """The table's value in the direction of (a, b)."""
    turn = b / (abs(a) + abs(b))
    position = 2 - turn if a < 0 else turn % 4
    return float(np.interp(position * (HUES / 4), np.arange(HUES + 1), table))
