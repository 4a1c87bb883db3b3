"""Where a curve is highest, as far as its error tells.

A maximum is flat: an error of the curve moves it by the square root of that error. What stands
firm is the stretch in which the curve lies within its error of the highest value, since its ends
lie on slopes. The middle of that stretch is the peak, and half of it the uncertainty.
"""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.study.efficiency.result import Peak

_REACH = (0.97, 1.06)  # of a predicted wavelength: where a peak of absorption belongs to it
POINTS = 4001  # at which the curve is read


def peak_of(order: int, x: Floats, curve: Floats, error: float) -> Peak:
    """The peak of one order's curve (n,) over x (n,), known to `error`."""
    k = int(np.argmax(curve))
    top = float(curve[k])
    low, high = _range(x, curve, k, top - min(error, top / 2))
    ends = k in (0, x.size - 1)
    position = float(x[k]) if ends else (low + high) / 2
    return Peak(
        order,
        position,
        top,
        *_range(x, curve, k, top / 2),
        0.0 if ends else (high - low) / 2,
        ends,
    )


def absorption_peaks(
    x: Floats, absorbed: Floats, predicted: Floats, error: float
) -> list[float | None]:
    """Where absorption (n,), known to `error`, peaks near each of the predicted anomalies.

    A peak belongs to the anomaly next to it, if it lies within reach of that; of several, the
    highest. None where there is no peak inside the range.
    """
    highest: dict[int, tuple[float, float]] = {}
    for k in _maxima(absorbed, error):
        top = float(absorbed[k])
        low, high = _range(x, absorbed, k, top - min(error, top / 2))
        position = (low + high) / 2
        near = int(np.argmin(np.abs(predicted - position)))
        within = _REACH[0] * predicted[near] < position < _REACH[1] * predicted[near]
        if within and top > highest.get(near, (0.0, 0.0))[0]:
            highest[near] = top, position
    return [highest[k][1] if k in highest else None for k in range(predicted.size)]


def _maxima(curve: Floats, error: float) -> list[int]:
    """Positions of maxima that stand out by more than the error on either side."""
    from scipy.signal import find_peaks

    return [int(k) for k in find_peaks(curve, prominence=2 * error)[0]]


def _range(x: Floats, curve: Floats, k: int, height: float) -> tuple[float, float]:
    """Ends of the stretch about position k in which a curve is above a height."""
    below = np.flatnonzero(curve < height)
    left, right = below[below < k], below[below > k]
    low = x[0] if left.size == 0 else _crossing(x, curve, int(left[-1]), height)
    high = x[-1] if right.size == 0 else _crossing(x, curve, int(right[0]) - 1, height)
    return float(low), float(high)


def _crossing(x: Floats, curve: Floats, k: int, height: float) -> float:
    """Between positions k and k + 1."""
    rise = curve[k + 1] - curve[k]
    return float(x[k] + (x[k + 1] - x[k]) * (height - curve[k]) / rise)
