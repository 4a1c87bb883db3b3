"""Finding ghosts and diffuse light between the orders, without being told of any error.

The scan is that of a softened beam, whose lines are Gaussian and have no tails. Diffuse light of
random errors is speckle: exponentially distributed about its mean b, so of M cells the
brightest reaches about b ln M. A ghost is a peak above b (ln M + 7), which speckle alone passes
once in a thousand scans.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wavesim.arrays import Floats
from wavesim.study.profile.scan import OrderScan

FLOOR = 1e-21  # of the line: what the transforms leave where there is no light, with a margin
SKIRT = 4.5  # widths over which a Gaussian line falls to 1e-24
_RARE = 7.0  # -log of the chance of a false ghost per scan
_TRAIN = 40.0  # widths to either side over which the diffuse light about a peak is judged
_FEWEST = 64  # samples that a judgement needs
_SMOOTH = 4.0  # times the mean: a peak above smooth light that may add to it in amplitude
_SPECKLE = 0.848  # (median - lowest tenth) over the median of an exponential law
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


def prepared(seen: OrderScan, near: float) -> Field:
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
    return np.asarray(offset > SKIRT * field.width)


def find(field: Field) -> tuple[FoundGhost, ...]:
    """Every peak that stands out of the light about it, by place."""
    free = apart_from_orders(field)
    span = float(field.mu[-1] - field.mu[0])
    needed = math.log(max(span / field.width, 2.0)) + _RARE
    found: list[FoundGhost] = []
    clear = free.copy()
    for k in _candidates(field, free, _SMOOTH):
        if any(abs(ghost.mu - field.mu[k]) < 2.5 * field.width for ghost in found):
            continue
        mean, rough = _surroundings(field, clear, k)
        if field.level[k] > mean * (_SMOOTH + (needed - _SMOOTH) * min(1.0, 2 * rough)):
            found.append(_refined(field, k, mean))
            _cover(field, clear, k)
    return tuple(sorted(found, key=lambda ghost: ghost.mu))


def _cover(field: Field, clear: npt.NDArray[np.bool_], k: int) -> None:
    """Take a ghost, as far as its Gaussian shows, out of what fainter ones are held to."""
    decades = math.log(max(float(field.level[k]) / FLOOR, 2.0))
    half = field.width * math.sqrt(decades / (4 * math.log(2))) / (field.mu[1] - field.mu[0])
    clear[max(0, k - math.ceil(half)) : k + math.ceil(half) + 1] = False


def _candidates(field: Field, free: npt.NDArray[np.bool_], needed: float) -> list[int]:
    """Indices of peaks worth a closer look, highest first."""
    level = field.level
    if not free.any():
        return []
    low = max(float(np.quantile(level[free], 0.25)) / 0.2877, FLOOR)  # of an exponential law
    inner = (level[1:-1] >= level[:-2]) & (level[1:-1] > level[2:])
    high = np.flatnonzero(inner & free[1:-1] & (level[1:-1] > needed * low)) + 1
    order = np.argsort(-level[high], kind="stable")[:_MOST]
    return [int(k) for k in high[order]]


def _surroundings(field: Field, free: npt.NDArray[np.bool_], k: int) -> tuple[float, float]:
    """Mean light at sample k by what lies to both sides of it, and its roughness (speckle: 1).

    Medians over ln 2 of both sides are joined by a power law of the distance from the line: wings
    of a broken line fall, diffuse light does not, correlated errors fall steeply. Next to the line,
    where the inner side is covered by it, the power is that of the outer side, 2 at least.
    """
    per_width = field.width / (field.mu[1] - field.mu[0])
    guard, reach = round(SKIRT * per_width), round(_TRAIN * per_width)
    sides, falls = [], []
    for near, far in ((k - reach, k - guard), (k + guard, k + reach)):
        here = slice(max(near, 0), max(far, 0))
        usable = free[here]
        if np.count_nonzero(usable) >= _FEWEST:
            level, distance = field.level[here][usable], field.distance[here][usable]
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


def speckle_near(field: Field, side: int) -> Callable[[Floats], Floats]:
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
        free &= np.abs(field.mu - place) > SKIRT * field.width
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
