"""How far a line's place may be wrong for reasons that no fit of a symmetric shape shows.

Grain and uneven development: the bands of a picture's rows disagree. Unseen neighbours: a line is
wider than others are, and its top stands to one side of its middle.
"""

from __future__ import annotations

import math

import numpy as np

from wavesim.arrays import Floats
from wavesim.measuring.profile import Profile

_ABOUT = 1.3  # widths to both sides of a line in which the bands are compared
_FEWEST = 4  # bands
_COARSE = 3.0  # [samples] full width below which straight lines between samples draw no top
_TOP = 0.8  # of a line's height, where its top is halved
_PULL = 0.33  # of (W^2 - U^2) / U (measured: 0.16 to 0.4)
_SCATTER = 0.01  # of the usual width, beside what the place's error tells
_UNTOLD = 0.15  # of what a width's error leaves open: a neighbour just too faint to be told
_SAMPLED = 0.4  # [samples] by which widths of one sample depend on where samples fall; as 1 / width
_LOWER = 0.33  # of the lines, by weight, are no wider than the usual one
_LOCAL = 2.0  # lines half of the profile away count by 1 / e
_LINES = 4  # that a usual width needs


def by_bands(profile: Profile, centre: float, width: float) -> float:
    """Standard error of a place from the bands of a picture [samples]; 0 without bands.

    Each band's shift is a least-squares fit of the mean profile, its slope and a constant to the
    band; a steady drift from band to band, a rest of rotation, does not count.
    """
    if profile.strips is None or profile.strips.shape[0] < _FEWEST:
        return 0.0
    lo = max(0, math.floor(centre - _ABOUT * width))
    hi = min(profile.value.size, math.ceil(centre + _ABOUT * width) + 1)
    if hi - lo < 5:
        return 0.0
    mean = profile.value[lo:hi]
    columns = np.stack([mean, np.ones(hi - lo), -np.gradient(mean)], axis=1)
    found = np.linalg.lstsq(columns, profile.strips[:, lo:hi].T, rcond=None)[0]
    shift = found[2] / np.where(found[0] == 0, 1.0, found[0])
    order = np.arange(shift.size)
    rest = shift - np.polyval(np.polyfit(order, shift, 1), order)
    spread = math.sqrt(float((rest**2).sum()) / (shift.size - 2))
    return min(spread / math.sqrt(shift.size), width)


def by_width(x: Floats, width: Floats, error: Floats, weight: Floats, *, pixel: float) -> Floats:
    """(n,) what an unresolved neighbour may pull each line by, from the width that it adds.

    A line of height r at a distance t widens the sum's variance by r t^2 / (1 + r)^2 and moves its
    middle by r t / (1 + r): so, t about half a width, by 0.3 (W^2 - U^2) / U. U is the width that a
    third of the lines about stay below, weighted, its trend along the plate taken off.

    Parameters
    ----------
    x, width, error : (n,) places, full widths and standard errors, in the unit of `pixel`
    weight : (n,) how far each counts for the usual width
    """
    if x.size < _LINES or not (weight > 0).any():
        return np.zeros(x.size)
    trend = np.exp(_slope(x, np.log(width), weight) * (x - x.mean()))
    order, span = np.argsort(width / trend), max(float(np.ptp(x)), 1e-300)
    near = (weight * np.exp(-_LOCAL * np.abs(x[:, None] - x) / span))[:, order]
    running = np.cumsum(near, axis=1)
    at = (running < _LOWER * running[:, -1:]).sum(axis=1)
    usual = (width / trend)[order][np.minimum(at, x.size - 1)] * trend
    limit = usual * (1 + _SCATTER) + 2 * error + _SAMPLED * pixel * pixel / usual
    told = np.maximum(width**2 - limit**2, 0.0)
    untold = _UNTOLD * ((usual + 2 * error) ** 2 - usual**2)
    return np.asarray(_PULL * (told + untold) / usual)


def _slope(x: Floats, y: Floats, weight: Floats) -> float:
    """Weighted median of the slopes of all pairs (Theil 1950, Sen 1968); 0 for few lines.

    Where the rulings decide, lines are as much wider as their wavelengths are longer.
    """
    if x.size < _LINES + 2:
        return 0.0
    i, j = np.triu_indices(x.size, 1)
    slopes = (y[j] - y[i]) / np.where(x[j] == x[i], np.inf, x[j] - x[i])
    each = weight[i] * weight[j] * np.abs(x[j] - x[i])
    order = np.argsort(slopes)
    running = np.cumsum(each[order])
    middle = float(slopes[order][np.searchsorted(running, running[-1] / 2)])
    steepest = math.log(2) / max(float(np.ptp(x)), 1e-300)
    return min(max(middle, -steepest), steepest)


def by_top(y: Floats, centre: float, width: float, error: float) -> float:
    """Distance of a line's halved top from its fitted middle beyond what noise makes [samples]."""
    lo, hi = max(0, math.floor(centre - width)), min(y.size, math.ceil(centre + width) + 1)
    part, x = y[lo:hi], np.arange(lo, hi, dtype=np.float64)
    if part.size < 5 or width < _COARSE:
        return 0.0
    fine = np.linspace(lo, hi - 1, 20 * part.size)
    value = np.interp(fine, x, part)
    top = float(np.interp(centre, x, part))
    level = float(part.min()) + _TOP * (top - float(part.min()))
    inside = np.flatnonzero((value >= level) & (np.abs(fine - centre) < 0.7 * width))
    if inside.size < 2:
        return 0.0
    apart = abs(float(fine[inside[0]] + fine[inside[-1]]) / 2 - centre)
    return math.sqrt(max(apart**2 - (2 * error) ** 2, 0.0))
