"""The light about a sample of a scan: what a ghost there has to stand out of.

Diffuse light of random errors is speckle: exponentially distributed about a mean that follows the
errors' spectrum. Independent errors have the same mean everywhere, accumulated ones fall with the
square of the distance from the line, errors correlated over a length L (in rulings) keep to within
some 1/L orders of it and fall there as steeply as exp(-(pi L distance)^2). So the mean is taken
twice: from far around, where it is known best, and from the nearest cells on both sides, joined by
a straight line through its logarithm. A ghost must stand out of both.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from wavesim.arrays import Flags, Floats
from wavesim.study.profile.field import FLOOR, SKIRT, SoftScan, apart_from_orders

_TRAIN = 40.0  # widths to either side over which the diffuse light about a peak is judged
_FEWEST = 64  # samples that a judgement needs
_SPECKLE = 0.848  # (median - lowest tenth) over the median of an exponential law
_EDGES = (2.25, 4.5, 7.0, 10.0)  # widths from a peak between which nearby light is taken
_INNERMOST = 1.5  # the same towards the line, in a window of half the width
_CELL = 1.5  # widths: a resolution cell of speckle in the softened beam
_MEDIAN = 2.0  # variance of the logarithm of a median of n cells, times n
_MOST_CELLS = 10.0
_FEWEST_NEAR = 4  # samples of a median
_BENDS = 2.5  # chi square over degrees of freedom: parts that no straight line joins

_Part = tuple[float, float, int]


def surroundings(field: SoftScan, free: Flags, k: int) -> tuple[float, float]:
    """Mean light at sample k by what lies to both sides of it, and its roughness (speckle: 1).

    Medians over ln 2 of both sides are joined by a power law of the distance from the line: wings
    of a broken line fall, diffuse light does not, correlated errors fall steeply. Next to the line,
    where the inner side is covered by it, the power is that of the outer side, 2 at least.
    """
    per_width = field.width / (field.mu[1] - field.mu[0])
    guard, reach = round(SKIRT * per_width), round(_TRAIN * per_width)
    sides, falls = [], []
    for near, far in ((k - reach, k - guard), (k + guard, k + reach)):
        side_slice = slice(max(near, 0), max(far, 0))
        usable = free[side_slice]
        if np.count_nonzero(usable) >= _FEWEST:
            level, distance = field.level[side_slice][usable], field.distance[side_slice][usable]
            middle = max(float(np.median(level)) / math.log(2), FLOOR)
            sides.append((float(np.median(distance)), middle, roughness(level, distance)))
            falls.append(fall(level, distance))
    if not sides:
        return FLOOR, 1.0
    here_at, rough = float(field.distance[k]), max(side[2] for side in sides)
    (inner, level_in, _), (outer, level_out, _) = min(sides), max(sides)
    if len(sides) == 1 or inner >= here_at:
        power = max(falls[-1] if outer > here_at else 0.0, 2.0)
        return max(level_out * max(outer / here_at, 1.0) ** power, FLOOR), rough
    power = max(math.log(level_in / level_out) / math.log(outer / inner), 0.0)
    return max(level_in * (inner / here_at) ** power, level_out, FLOOR), rough


def roughness(level: Floats, distance: Floats) -> float:
    """How far the lower half scatters, wings' fall taken off: 0 for smooth light, 1 for speckle.

    (median - lowest tenth) / median, over 0.848, which an exponential law has; ghosts, which are
    few and high, do not count.
    """
    flat = level * (distance / distance.min()) ** fall(level, distance)
    low, middle = np.quantile(flat, [0.1, 0.5])
    return float((middle - low) / max(middle, 1e-300) / _SPECKLE)


def fall(level: Floats, distance: Floats) -> float:
    """Power with which light falls with the distance from the line, 0 at least.

    By the lowest tenths of the nearer and the farther half, which ghosts leave uncovered.
    """
    near, far = np.array_split(np.argsort(distance), 2)
    levels = [max(float(np.quantile(level[part], 0.1)), FLOOR) for part in (near, far)]
    apart = float(np.median(distance[far]) / np.median(distance[near]))
    return max(math.log(levels[0] / levels[1]) / math.log(apart), 0.0) if apart > 1 else 0.0


def speckle_near(field: SoftScan, side: int) -> Callable[[Floats], Floats]:
    """Mean diffuse light nearer to the line than the softened beam tells, by the distance from it.

    What lies beyond on the same side (+1 or -1), brought in with the power by which it falls, 2 at
    least: so do accumulated errors. The lowest tenth over 0.1054 is the mean of an exponential law.
    """
    along = (field.mu - field.line) * side
    beyond = (along > SKIRT * field.width) & (along < (SKIRT + _TRAIN) * field.width)
    beyond &= apart_from_orders(field)
    if np.count_nonzero(beyond) < _FEWEST:
        return lambda distance: np.full_like(distance, FLOOR)
    level, reached = field.level[beyond], along[beyond]
    mean = max(float(np.quantile(level, 0.1)) / 0.1054, FLOOR)
    power, middle = max(fall(level, reached), 2.0), float(np.median(reached))
    least = field.width / 10
    return lambda distance: mean * np.maximum(middle / np.maximum(distance, least), 1.0) ** power


def nearby(level: Floats, usable: Flags, k: int, per_width: float) -> tuple[float, float]:
    """Mean light at sample k by the nearest cells to both sides, and how many cells tell it.

    Logarithms of medians, joined by a straight line over the distance: so the mean of light that
    falls exponentially comes out right, and that of a Gaussian fall a little low.

    Parameters
    ----------
    level : (n,), within the softened line's reach that of a narrower window
    usable : (n,) free of lines and of ghosts found
    per_width : samples to a width
    """
    for edges in (_EDGES, _EDGES[:3], _EDGES[:2]):
        found = [
            part
            for side in (-1, 1)
            for near, far in zip((_INNERMOST, *edges), edges, strict=False)
            if (part := _part(level, usable, k, side * per_width * np.array([near, far])))
        ]
        if len(found) < 2:
            return FLOOR, 0.0
        mean, cells, poor = _straight(found, per_width * _CELL)
        if not poor:
            break
    return max(mean, FLOOR), min(cells, _MOST_CELLS)


def _straight(found: list[_Part], cell: float) -> tuple[float, float, bool]:
    """Mean at the peak by a line through logarithms, the cells that tell it, whether it bends."""
    x, y, count = (np.array(column) for column in zip(*found, strict=True))
    root = np.sqrt(count / cell / _MEDIAN)
    columns = np.stack([np.ones_like(x), x], axis=1) * root[:, None]
    inverse = np.linalg.pinv(columns.T @ columns)
    line = inverse @ columns.T @ (y * root)
    chi2 = float(np.sum((columns @ line - y * root) ** 2))
    bends = x.size > 2 and chi2 > _BENDS * (x.size - 2)
    return math.exp(float(line[0])), _MEDIAN / float(inverse[0, 0]), bends


def _part(level: Floats, usable: Flags, k: int, between: Floats) -> _Part | None:
    """Middle, logarithm of the mean and number of usable samples between two offsets from k."""
    low, high = (max(round(k + float(edge)), 0) for edge in np.sort(between))
    side_slice = usable[low:high]
    count = int(np.count_nonzero(side_slice))
    if 2 * count < high - low or count < _FEWEST_NEAR:
        return None
    middle = max(float(np.median(level[low:high][side_slice])) / math.log(2), FLOOR)
    return float(between.mean()), math.log(middle), count
