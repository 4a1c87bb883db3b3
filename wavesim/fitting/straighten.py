"""Lines that are turned and spread in a picture: how much, by least squares over all rows.

A camera that looks at the plate at a slant turns the lines and draws them together on one side: a
line that crosses the middle row at s (from the middle column) lies at

    s (1 - q y) - y tan(turn)

in the row y below it. Each row is compared with the mean of all, smoothed to what the noise
leaves of it (gain and background of the row free), which gives its displacement and stretch; a
straight line through those of 24 strips (the median of all slopes) gives turn and q. Repeated with
the answer taken out. What changes the scale along the rows themselves does not show here: it is
a matter of the fit (`nuisances`).
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np

from wavesim.arrays import Floats

_STRIPS = 24
_ROUNDS = 5
_LEAST_SPREAD = 0.3  # pixels at the corners of a band, below which it is not told from noise
_MOST_TURN = math.radians(6.0)
_MOST_SPREAD = 0.1  # change of scale over the width of a picture, per its own height as wide
_SIGNAL = 4.0  # times the noise's power is taken off
_LEFT_OUT = 0.03  # of the slopes' power


def turn_and_spread(grey: Floats, turn: float | None = None) -> tuple[float, float]:
    """Turn [rad], clockwise, and spread q [1 / pixel] of the lines in a band (rows, columns).

    A turn that is given is kept.
    """
    rows, columns = grey.shape
    slope = math.tan(turn) if turn is not None else 0.0
    if rows < 8:
        return math.atan(slope), 0.0
    slope, spread = _searched(grey, slope, turned=turn is None, spreads=True)
    if abs(spread) * rows * columns / 4 < _LEAST_SPREAD:
        slope, spread = _searched(grey, slope, turned=turn is None, spreads=False)
    return math.atan(slope), spread


def _searched(grey: Floats, slope: float, *, turned: bool, spreads: bool) -> tuple[float, float]:
    """tan(turn) and q, those that are sought; a slope that is not sought stays."""
    rows, columns = grey.shape
    below, spread = np.arange(rows) - (rows - 1) / 2, 0.0
    edges = np.unique(np.linspace(0, rows, min(_STRIPS, rows // 2) + 1).astype(int))
    strips = [slice(a, b) for a, b in pairwise(edges)]
    y = np.array([below[s].mean() for s in strips])
    for _ in range(_ROUNDS if turned or spreads else 0):
        straight = straightened(grey[..., None], slope, spread)[..., 0]
        moved, stretched = _differences(np.stack([straight[s].mean(axis=0) for s in strips]))
        slope -= median_slope(y, moved) if turned else 0.0
        spread -= median_slope(y, stretched) if spreads else 0.0
        slope = float(np.clip(slope, -math.tan(_MOST_TURN), math.tan(_MOST_TURN)))
        spread = float(np.clip(spread, -_MOST_SPREAD / columns, _MOST_SPREAD / columns))
    return slope, spread


def straightened(light: Floats, slope: float, spread: float) -> Floats:
    """(rows, columns, c) with the lines upright; nan where a row does not reach."""
    rows, columns = light.shape[:2]
    s = np.arange(columns) - (columns - 1) / 2
    out = np.empty(light.shape)
    for k, row in enumerate(light):
        y = k - (rows - 1) / 2
        position = s * (1 - spread * y) - y * slope
        for c in range(light.shape[2]):
            out[k, :, c] = np.interp(position, s, row[:, c], left=np.nan, right=np.nan)
    return out


def _differences(strips: Floats) -> tuple[Floats, Floats]:
    """Displacement [pixel] and stretch of each strip (k, columns) against the mean of all."""
    inside = np.isfinite(strips).all(axis=0)
    values = strips[:, inside]
    if values.shape[1] < 16:
        return np.zeros(len(strips)), np.zeros(len(strips))
    s = np.flatnonzero(inside) - (inside.size - 1) / 2
    mean = smoothed(values.mean(axis=0))
    slope = np.gradient(mean)
    rest = np.stack([np.ones(s.size), mean], axis=1)
    basis = np.stack([-slope, -s * slope], axis=1)
    basis -= rest @ np.linalg.lstsq(rest, basis, rcond=None)[0]
    scale = np.linalg.norm(basis, axis=0)
    if not (scale > 1e-9).all():
        return np.zeros(len(strips)), np.zeros(len(strips))
    found = np.linalg.lstsq(basis / scale, values.T, rcond=1e-6)[0] / scale[:, None]
    return found[0], found[1]


def median_slope(y: Floats, value: Floats) -> float:
    """The weighted median of the slopes between all pairs of points."""
    i, j = np.triu_indices(y.size, 1)
    slopes, weight = (value[j] - value[i]) / (y[j] - y[i]), np.abs(y[j] - y[i])
    order = np.argsort(slopes)
    running = np.cumsum(weight[order])
    return float(slopes[order][np.searchsorted(running, running[-1] / 2)])


def highest_frequency(value: Floats) -> float:
    """Frequency [1 / sample] that holds all but 3 % of a profile's slopes, noise taken off."""
    n = value.size
    ramp = np.linspace(value[0], value[-1], n)
    power = np.abs(np.fft.rfft((value - ramp) * np.hanning(n))) ** 2
    width = max(3, power.size // 40)
    power = np.convolve(power, np.ones(width) / width, "same")[: int(0.96 * power.size)]
    noise = float(power[power.size // 3 :].mean())
    steep = np.maximum(power - _SIGNAL * noise, 0.0) * np.arange(power.size) ** 2.0
    running = np.cumsum(steep)
    if not running[-1] > 0:
        return 0.5
    return float((np.searchsorted(running, (1 - _LEFT_OUT) * running[-1]) + 3) / n)


def smoothed(value: Floats) -> Floats:
    """A profile (n,) without the frequencies in which it holds noise alone."""
    n = value.size
    ramp = np.linspace(value[0], value[-1], n)
    whole = np.concatenate([value - ramp, -(value - ramp)[::-1]])  # odd at both ends: no jump
    transform = np.fft.rfft(whole)
    f = np.fft.rfftfreq(whole.size)
    top = min(1.5 * highest_frequency(value), 0.5)
    return np.asarray(np.fft.irfft(transform * np.exp(-((f / top) ** 8)), whole.size)[:n] + ramp)
