"""How far a line's position may be wrong for reasons that no fit of a symmetric shape shows.

Grain and uneven development: the bands of a picture's rows disagree. Unseen neighbours: a line is
wider than others are, and its top stands to one side of its middle.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np

from wavesim.arrays import Floats
from wavesim.measuring.profile import Profile

_FEWEST = 4  # bands
_GROUPS, _STEADY = 6, 6.0  # of bands; by chance one noise peak in 1,000 is so steady (Student)
_COARSE = 3.0  # [samples] full width below which straight lines between samples draw no top
_HALVED = (0.2, 0.85)  # of a line's height, where it is halved
_NOISIER = 4.0  # times the centre's noise: that of the difference of two halvings (measured)
_BENT = 0.6  # of that difference (measured: 0.3 to 0.9 where a neighbour of 1/10 hides)
_PULL = 0.33  # of (W^2 - U^2) / U (measured: 0.16 to 0.4)
_SCATTER = 0.01  # of the usual width, beside what the position's error tells
_UNTOLD = 0.15  # of what a width's error leaves open: a neighbour just too faint to be found
_SAMPLED = 0.4  # [samples] by which widths of one sample depend on where samples fall; as 1 / width
_LOWER = 0.33  # of the lines, by weight, are no wider than the usual one
_LOCAL = 2.0  # lines half of the profile away count by 1 / e
_LINES = 4  # that a usual width needs
_BESIDE = (
    0.1  # of the brightest sample: less light than that beside it tells little of the position
)
_BY_WINGS = 0.085  # [samples] deviation of such positions where the wings are seen (measured)
_ANYWHERE = 0.2  # [samples] deviation where they are not (measured)


def by_bands(profile: Profile, first: int, gain: Floats) -> float:
    """Standard error of a position from the bands of a picture [samples]; 0 without bands.

    Each band moves a line by its samples times `gain`; a steady drift from band to band, a rest of
    rotation, does not count. Grain that spans rows joins neighbouring bands: with a correlation r
    of neighbours the variance of the mean of k is s^2 (1 + 2 r) / k.

    Parameters
    ----------
    first : sample that the gain begins with
    gain : (n,) change of the position with each sample
    """
    if profile.strips is None or profile.strips.shape[0] < _FEWEST:
        return 0.0
    shift = profile.strips[:, first : first + gain.size] @ gain
    order = np.arange(shift.size)
    rest = shift - np.polyval(np.polyfit(order, shift, 1), order)
    spread = math.sqrt(float((rest**2).sum()) / (shift.size - 2))
    joined = math.sqrt((1 + 2 * profile.strip_correlation) / shift.size)
    return _student(shift.size - 2) * spread * joined


def steady(profile: Profile, first: int, y: Floats) -> bool:
    """Whether what stands on a picture's profile stands on all of its rows alike.

    Bands are compared by how much of the shape y each holds; their mean must be six standard
    errors. Blocks of a lossy file and specks are one band's alone. True without bands.
    """
    strips = profile.strips
    if strips is None or strips.shape[0] < _FEWEST:
        return True
    columns = np.stack([y, np.ones(y.size), -np.gradient(y)], axis=1)
    held = strips[:, first : first + y.size] @ np.linalg.pinv(columns)[0]
    groups = np.array([part.mean() for part in np.array_split(held, min(held.size, _GROUPS))])
    error = float(groups.std(ddof=1)) / math.sqrt(groups.size)
    return abs(float(groups.mean())) > _STEADY * error


def noise_by_bands(profile: Profile, smoothed: Callable[[Floats], Floats]) -> float:
    """Noise of a smoothed profile where it is dark, from the bands of a picture; 0 without bands.

    Unlike differences of samples it counts what spans samples: blocks of a lossy file, whose
    neighbouring samples are often equal.
    """
    if profile.strips is None or profile.strips.shape[0] < _FEWEST:
        return 0.0
    parts = np.array_split(profile.strips, min(len(profile.strips), _GROUPS))
    groups = np.array([smoothed(part.mean(axis=0)) for part in parts])
    dark = profile.value <= np.median(profile.value)
    groups = groups[:, dark] - groups[:, dark].mean(axis=1, keepdims=True)
    return math.sqrt(float(groups.var(axis=0, ddof=1).mean()) / len(groups))


def template_gain(y: Floats) -> Floats:
    """(n,) change of a line's position with each sample, its own shape being the template.

    A least-squares fit of the shape, its slope and a constant; for lines that no model fits.
    """
    columns = np.stack([y, np.ones(y.size), -np.gradient(y)], axis=1)
    return np.asarray(np.linalg.pinv(columns)[2])


def _student(spare: int) -> float:
    """Deviations that hold 68.3 % of what so few bands tell (Student 1908): 1.04 for 16 of them."""
    from scipy.special import stdtrit

    return float(stdtrit(spare, 0.8413447))


def by_width(x: Floats, width: Floats, error: Floats, weight: Floats, *, pixel: float) -> Floats:
    """(n,) what an unresolved neighbour may pull each line by, from the width that it adds.

    A line of height r at a distance t widens the sum's variance by r t^2 / (1 + r)^2 and moves its
    middle by r t / (1 + r): so, t about half a width, by 0.3 (W^2 - U^2) / U. U is the width that a
    third of the lines about stay below, weighted, its trend along the plate taken off.

    Parameters
    ----------
    x, width, error : (n,) positions, full widths and standard errors, in the unit of `pixel`
    weight : (n,) how far each counts for the usual width
    """
    if x.size < _LINES or not (weight > 0).any():
        return np.zeros(x.size)
    trend = np.exp(_slope(x, np.log(width), weight) * (x - x.mean()))
    order, span = np.argsort(width / trend), max(float(np.ptp(x)), 1e-300)
    near = (weight * np.exp(-_LOCAL * np.abs(x[:, None] - x) / span))[:, order]
    running = np.cumsum(near, axis=1)
    index = (running < _LOWER * running[:, -1:]).sum(axis=1)
    usual = (width / trend)[order][np.minimum(index, x.size - 1)] * trend
    limit = usual * (1 + _SCATTER) + 2 * error + _SAMPLED * pixel * pixel / usual
    excess = np.maximum(width**2 - limit**2, 0.0)
    undetectable = _UNTOLD * ((usual + 2 * error) ** 2 - usual**2)
    return np.asarray(_PULL * (excess + undetectable) / usual)


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
    limit = math.log(2) / max(float(np.ptp(x)), 1e-300)
    return min(max(middle, -limit), limit)


def by_bisector(y: Floats, model: Floats, line: tuple[float, float], noise: float) -> float:
    """What an asymmetric line's centre may be wrong by [samples].

    An unresolved neighbour bends the line that halves it at every height: towards itself at a
    fifth of the height, away from itself near the top, and a symmetric fit follows by 0.3 to 0.9
    of the difference. The model is halved on the same samples, and what that gives is taken off.

    Parameters
    ----------
    y, model : (n,) samples of a window and the fit on them
    line : centre and full width, in samples of the window
    noise : standard error of the centre by noise alone
    """
    if y.size < 5 or line[1] < _COARSE:
        return 0.0
    bent = [_halved(y, line, part) - _halved(model, line, part) for part in _HALVED]
    apart = math.sqrt(max((bent[0] - bent[1]) ** 2 - (_NOISIER * noise) ** 2, 0.0))
    return _BENT * min(apart, line[1])


def _halved(y: Floats, line: tuple[float, float], part: float) -> float:
    """Middle of what rises above a part of a line's height, from straight lines between samples."""
    fine = np.linspace(0.0, y.size - 1.0, 20 * y.size)
    value = np.interp(fine, np.arange(y.size), y)
    middle = min(max(int(np.searchsorted(fine, line[0])), 0), fine.size - 1)
    base = float(y.min())
    low = np.flatnonzero(value < base + part * (value[middle] - base))
    left, right = low[low < middle], low[low > middle]
    first = fine[left[-1]] if left.size else 0.0
    last = fine[right[0]] if right.size else fine[-1]
    return float(first + last) / 2


def summit(y: Floats, index: int) -> float:
    """Top of the parabola through a maximum and its neighbours."""
    if not 0 < index < y.size - 1:
        return float(index)
    left, top, right = (float(v) for v in y[index - 1 : index + 2])
    bend = 2 * top - left - right
    return index + (right - left) / (2 * bend) if bend > 0 else float(index)


def in_one_sample(y: Floats, centre: float, noise: float) -> float:
    """How uncertain a position is because one sample holds nearly all of the light [samples].

    Where in the sample the line stands, only what is left of it beside tells; once noise hides
    that, the line may stand anywhere (a line of half a sample: within +-0.25, and its wings' tilt).
    """
    k = round(centre)
    if not 0 < k < y.size - 1:
        return 0.0
    left, top, right = (float(v) for v in y[k - 1 : k + 2])
    base = float(y[max(0, k - 3) : k + 4].min())
    beside = max(left, right) - base
    if not top > base or beside > _BESIDE * (top - base):
        return 0.0
    return min(_ANYWHERE, _BY_WINGS * (1 + 4 * noise / max(beside, 1e-300)))


def centre_of_gravity(y: Floats, centre: float, width: float, window: tuple[int, int]) -> float:
    """Centre of gravity of what rises above half the height, within a width of the centre."""
    lo = max(window[0], math.floor(centre - width))
    hi = min(window[1], math.ceil(centre + width) + 1)
    x, part = np.arange(lo, hi, dtype=np.float64), y[lo:hi]
    if part.size < 3:
        return centre
    top, base = float(np.interp(centre, x, part)), float(part.min())
    fine = np.linspace(lo, hi - 1, 20 * part.size)
    above = np.maximum(np.interp(fine, x, part) - (top + base) / 2, 0.0)
    joined = np.abs(fine - centre) < width
    weight = above * joined
    return float((fine * weight).sum() / weight.sum()) if weight.sum() > 0 else centre
