"""Finding ghosts and diffuse light between the orders, without knowledge of any error.

The scan is that of a softened beam, whose lines are Gaussian and have no tails. Diffuse light of
random errors is speckle: exponentially distributed about its local mean b, so of M cells the
brightest reaches about b ln M. A ghost is a peak above b (ln M + 7), which speckle alone passes
once in a thousand scans; where n cells beside it tell b, above b n ((M e^7)^(1/n) - 1), as a cell
over the mean of n others is F-distributed, P(> F) = (1 + F/n)^-n. Both must hold (`surroundings`).

Displacements are real, so the light at m + f and m - f of random ones is the same, too, grows with
the square of the order, and has harmonics: a pair is no further proof, nor is another order.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Flags, Floats
from wavesim.study.profile.field import FLOOR, SKIRT, SoftScan, apart_from_orders, parabola
from wavesim.study.profile.surroundings import nearby, surroundings

_RARE = 7.0  # -log of the chance of a false ghost per scan
_SMOOTH = 4.0  # times the mean: a peak above smooth light that may add to it in amplitude
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


def find(field: SoftScan, inside: tuple[Floats, Flags] | None = None) -> tuple[FoundGhost, ...]:
    """Every peak that stands out of the light about it, by position.

    Parameters
    ----------
    inside : (n,) diffuse light within the softened line's reach, by a narrower window, and where
        that is free of the line; tells what peaks just outside it have to stand out of
    """
    free = apart_from_orders(field)
    span = float(field.mu[-1] - field.mu[0])
    per_width = field.width / (field.mu[1] - field.mu[0])
    needed = math.log(max(span / field.width, 2.0)) + _RARE
    found: list[FoundGhost] = []
    clear = free.copy()
    level, usable = field.level, clear
    if inside is not None:
        level, usable = np.where(free, field.level, inside[0]), free | inside[1]
    for k in _candidates(field, free, _SMOOTH):
        if any(abs(ghost.mu - field.mu[k]) < 2.5 * field.width for ghost in found):
            continue
        beside, cells = nearby(level, usable, k, per_width)
        if field.level[k] < _SMOOTH * beside:
            continue
        mean, rough = surroundings(field, clear, k)
        speckled = max(mean * needed, beside * contrast_needed(needed, cells))
        smooth = max(mean, beside) * _SMOOTH
        if field.level[k] > smooth + (speckled - smooth) * min(1.0, 2 * rough):
            found.append(_refined(field, k, mean))
            _cover(field, clear, k)
            usable &= clear | ~free
    return tuple(sorted(found, key=lambda ghost: ghost.mu))


def contrast_needed(log_chances: float, cells: float) -> float:
    """F of a cell over the mean of n others that chance passes once in exp(log_chances) times."""
    return cells * math.expm1(log_chances / cells) if cells > 0.5 else math.inf


def _cover(field: SoftScan, clear: Flags, k: int) -> None:
    """Take a ghost, as far as its Gaussian shows, out of what fainter ones are held to."""
    decades = math.log(max(float(field.level[k]) / FLOOR, 2.0))
    half = field.width * math.sqrt(decades / (4 * math.log(2))) / (field.mu[1] - field.mu[0])
    clear[max(0, k - math.ceil(half)) : k + math.ceil(half) + 1] = False


def _candidates(field: SoftScan, free: Flags, needed: float) -> list[int]:
    """Indices of peaks worth a closer look, highest first."""
    level = field.level
    if not free.any():
        return []
    low = max(float(np.quantile(level[free], 0.25)) / 0.2877, FLOOR)  # of an exponential law
    inner = (level[1:-1] >= level[:-2]) & (level[1:-1] > level[2:])
    high = np.flatnonzero(inner & free[1:-1] & (level[1:-1] > needed * low)) + 1
    order = np.argsort(-level[high], kind="stable")[:_MOST]
    return [int(k) for k in high[order]]


def _refined(field: SoftScan, k: int, mean: float) -> FoundGhost:
    step = field.mu[1] - field.mu[0]
    offset, height, _ = parabola(field.level[k - 1 : k + 2])
    noise = math.sqrt(2 * mean / height)
    sigma = field.width / math.sqrt(8 * math.log(2))
    return FoundGhost(
        mu=float(field.mu[k] + offset * step),
        strength=height,
        mu_error=sigma * math.hypot(noise / 2, 1e-3),
        strength_error=height * math.hypot(noise, 1e-4),
    )


def diffuse(
    field: SoftScan, avoid: Floats, *, moments: tuple[float, float], cell: float
) -> Diffuse:
    """Mean level between orders and ghosts.

    Parameters
    ----------
    avoid : (k,) positions of ghosts, found or predicted
    moments : sum w^2 / (sum w)^2 in the scene's beam, and in the softened one
    cell : width of a resolution cell of the softened speckle [orders]
    """
    reach = max(_CELLS * cell / 2, _NEAREST)
    free = apart_from_orders(field) & (field.distance <= reach)
    for position in avoid:
        free &= np.abs(field.mu - position) > SKIRT * field.width
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
