"""Finding ghosts and diffuse light between the orders, without being told of any error.

The scan is that of a softened beam, whose lines are Gaussian and have no tails. Diffuse light of
random errors is speckle: exponentially distributed about its mean b, so of M cells the
brightest reaches about b ln M. A ghost is a peak above b (ln M + 7), which speckle alone passes
once in a thousand scans.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wavesim.aperture.elements import Floats
from wavesim.study.profile.scan import Scan

_FLOOR = 1e-21  # of the line: what the transforms leave where there is no light, with a margin
_SKIRT = 4.5  # widths over which a Gaussian line falls to 1e-24
_RARE = 7.0  # -log of the chance of a false ghost per scan
_TRAIN = 40.0  # widths to either side over which the diffuse light about a peak is judged
_FEWEST = 64  # samples that a judgement needs
_MOST = 20_000  # peaks looked at
_CELLS = 3000.0  # resolution cells that give a mean of speckle to 2 %
_NEAREST = 0.05  # orders about the line that are averaged at least


@dataclass(frozen=True)
class FoundGhost:
    """A peak beside the line.

    Attributes
    ----------
    mu : where
    strength : over the line's
    mu_error, strength_error : standard errors, by diffuse light and sampling
    """

    mu: float
    strength: float
    mu_error: float
    strength_error: float


@dataclass(frozen=True)
class Diffuse:
    """Mean light away from lines and ghosts, in the scene's own beam.

    Attributes
    ----------
    level : mean over the line's peak
    standard_error : of `level`, by the number of independent cells
    cells : independent cells averaged; below 1000 the mean is worth little
    contrast : standard deviation over mean of the cells; 1 for speckle
    reach_orders : distance from the line up to which was averaged
    """

    level: float
    standard_error: float
    cells: float
    contrast: float
    reach_orders: float


@dataclass(frozen=True, eq=False)
class Field:
    """A softened scan prepared for search: `level` (n,) over its line's peak."""

    mu: Floats
    level: Floats
    line: float
    width: float

    @property
    def distance(self) -> Floats:
        """(n,) from the line."""
        return np.abs(self.mu - self.line)


def prepared(seen: Scan, near: float) -> Field:
    """Field about the highest line within a quarter order of `near`."""
    mu = seen.mu
    here = np.flatnonzero(np.abs(mu - near) < 0.25)
    k = int(here[np.argmax(seen.level[here])])
    offset, peak, width = _parabola(seen.level[k - 1 : k + 2])
    return Field(mu, seen.level / peak, mu[k] + offset * seen.step, width * seen.step)


def _parabola(three: Floats) -> tuple[float, float, float]:
    """Offset, height and full width at half maximum of the Gaussian through three samples."""
    a, b, c = np.log(np.maximum(three, 1e-300))
    bend = a - 2 * b + c
    if not bend < 0:
        return 0.0, float(three[1]), math.inf
    offset = (a - c) / (2 * bend)
    height = b - (a - c) ** 2 / (8 * bend)
    return float(offset), float(math.exp(height)), math.sqrt(-8 * math.log(2) / bend)


def apart_from_orders(field: Field) -> npt.NDArray[np.bool_]:
    """(n,) whether a sample lies away from every order's line, broadened as this one is."""
    shift = field.line - round(field.line)
    offset = np.abs(field.mu - shift - np.rint(field.mu - shift))
    return np.asarray(offset > _SKIRT * field.width)


def find(field: Field) -> tuple[FoundGhost, ...]:
    """Every peak that stands out of the diffuse light about it, by place."""
    free = apart_from_orders(field)
    span = float(field.mu[-1] - field.mu[0])
    needed = math.log(max(span / field.width, 2.0)) + _RARE
    found: list[FoundGhost] = []
    for k in _candidates(field, free, needed):
        if any(abs(ghost.mu - field.mu[k]) < 2.5 * field.width for ghost in found):
            continue
        mean = _local_mean(field, free, k)
        if field.level[k] > needed * mean:
            found.append(_refined(field, k, mean))
    return tuple(sorted(found, key=lambda ghost: ghost.mu))


def _candidates(field: Field, free: npt.NDArray[np.bool_], needed: float) -> list[int]:
    """Indices of peaks worth a closer look, highest first."""
    level = field.level
    if not free.any():
        return []
    low = max(float(np.quantile(level[free], 0.25)) / 0.2877, _FLOOR)  # of an exponential law
    inner = (level[1:-1] >= level[:-2]) & (level[1:-1] > level[2:])
    high = np.flatnonzero(inner & free[1:-1] & (level[1:-1] > needed * low)) + 1
    order = np.argsort(-level[high], kind="stable")[:_MOST]
    return [int(k) for k in high[order]]


def _local_mean(field: Field, free: npt.NDArray[np.bool_], k: int) -> float:
    """Mean diffuse light about sample k: the larger of both sides', median over ln 2.

    Next to the line, where the inner side is covered by it, a skirt that falls with the square
    of the distance is allowed for.
    """
    per_width = field.width / (field.mu[1] - field.mu[0])
    guard, reach = round(_SKIRT * per_width), round(_TRAIN * per_width)
    sides = []
    for near, far in ((k - reach, k - guard), (k + guard, k + reach)):
        here = slice(max(near, 0), max(far, 0))
        usable = free[here]
        if np.count_nonzero(usable) >= _FEWEST:
            level = float(np.median(field.level[here][usable])) / math.log(2)
            distance = float(np.median(field.distance[here][usable]))
            sides.append((level, distance))
    if not sides:
        return _FLOOR
    if len(sides) == 1:
        level, distance = sides[0]
        farther = max(distance / float(field.distance[k]), 1.0)
        return max(level * farther**2, _FLOOR)
    return max(sides[0][0], sides[1][0], _FLOOR)


def _refined(field: Field, k: int, mean: float) -> FoundGhost:
    step = field.mu[1] - field.mu[0]
    offset, height, _ = _parabola(field.level[k - 1 : k + 2])
    noise = math.sqrt(2 * mean / height)
    sigma = field.width / math.sqrt(8 * math.log(2))
    return FoundGhost(
        mu=float(field.mu[k] + offset * step),
        strength=height,
        mu_error=sigma * math.hypot(noise / 2, 1e-3),
        strength_error=height * math.hypot(noise, 1e-4),
    )


def diffuse(field: Field, avoid: Floats, *, moments: tuple[float, float], cell: float) -> Diffuse:
    """Mean level between orders and ghosts.

    Parameters
    ----------
    avoid : (k,) places of ghosts, found or predicted
    moments : sum w^2 / (sum w)^2 in the scene's beam, and in the softened one
    cell : width of a resolution cell of the softened speckle [orders]
    """
    reach = max(_CELLS * cell / 2, _NEAREST)
    free = apart_from_orders(field) & (field.distance <= reach)
    for place in avoid:
        free &= np.abs(field.mu - place) > _SKIRT * field.width
    level = field.level[free]
    if level.size == 0:
        return Diffuse(math.nan, math.nan, 0.0, math.nan, reach)
    cells = float(level.size * (field.mu[1] - field.mu[0]) / cell)
    scale = moments[0] / moments[1]
    contrast = _contrast(level, max(1, min(16, int(cells / 100))))
    mean = float(level.mean()) * scale
    return Diffuse(mean, mean * contrast / math.sqrt(max(cells, 1.0)), cells, contrast, reach)


def _contrast(level: Floats, parts: int) -> float:
    """Standard deviation over mean, stretch by stretch, so that a slow change does not count."""
    ratios = [part.std() / part.mean() for part in np.array_split(level, parts) if part.any()]
    return float(np.sqrt(np.mean(np.square(ratios)))) if ratios else math.nan
