"""Largest errors by formula.

Ghosts and diffuse light have closed forms. A line's width under a drift, a step and accumulated
errors is that of the ensemble mean

    <I(mu)> = sum over lags l of  C(l) exp(-(2 pi m sigma/d)^2 |l| / 2) cos(2 pi (mu - m) l),

C the autocorrelation of the weights with their phases 2 pi m e/d: exact for a random walk of the
displacements, and for drift and step together with it.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from wavesim.arrays import Complexes, Floats
from wavesim.study.formulas import RAYLEIGH_DIP, SINC_FWHM, ghost_ratio
from wavesim.study.roots import falling_root
from wavesim.study.ruling import Ruling

_SAMPLES = 2048  # stand for the rulings; the line is a few times 1/width wide, so few suffice
_FINE = 16  # padding: 32 positions per 1/(ruled width), read between by straight lines


@dataclass(frozen=True)
class Broadening:
    """Errors that widen a line, all over the pitch: rms of each pitch, drift, step."""

    walk: float = 0.0
    drift: float = 0.0
    step: float = 0.0

    def scaled(self, factor: float) -> Broadening:
        """All three multiplied."""
        return Broadening(self.walk * factor, self.drift * factor, self.step * factor)


def resolving_power(ruled: Ruling, order: int, errors: Broadening) -> float:
    """0.8859 |m| / FWHM of the mean line, so |m| N for a perfect ruling evenly illuminated."""
    return SINC_FWHM * abs(order) / mean_width(ruled, order, errors)


def mean_width(ruled: Ruling, order: int, errors: Broadening) -> float:
    """Full width at half maximum of the mean line [orders], outermost passages, twins included."""
    correlation, spacing = _correlation(ruled, order, errors)
    size = _FINE * correlation.size
    padded = np.zeros(size, dtype=np.complex128)
    half = correlation.size // 2
    padded[:half], padded[-half:] = correlation[:half], correlation[-half:]
    level = np.fft.fftshift(np.fft.fft(padded).real)
    step = 1 / (size * spacing)
    top = float(level.max())
    above = np.flatnonzero(level >= top / 2)
    if above[0] == 0 or above[-1] == size - 1:
        return math.inf

    def beyond(inside: int, outside: int) -> float:
        """Distance of the passage from the sample inside it, in samples."""
        return float((level[inside] - top / 2) / (level[inside] - level[outside]))

    first, last = int(above[0]), int(above[-1])
    ends = (first - beyond(first, first - 1), last + beyond(last, last + 1))
    return step * with_twins(np.arange(size, dtype=np.float64), level, ends)


def with_twins(mu: Floats, level: Floats, ends: tuple[float, float]) -> float:
    """Width between two positions, or out to a second peak that would be taken for a line.

    That is one higher than 1 - 8/pi^2 = 0.19 of the line, as high as Rayleigh's dip is deep: a
    step in a ruling leaves one beside a line that is no wider at half its height.
    """
    inner = (level[1:-1] >= level[:-2]) & (level[1:-1] > level[2:])
    peaks = np.flatnonzero(inner & (level[1:-1] > (1 - RAYLEIGH_DIP) * level.max())) + 1
    if peaks.size == 0:
        return ends[1] - ends[0]
    return max(ends[1], float(mu[peaks].max())) - min(ends[0], float(mu[peaks].min()))


def _correlation(ruled: Ruling, order: int, errors: Broadening) -> tuple[Complexes, float]:
    """Autocorrelation of the weights with their phases and the walk's decay, and its lag spacing.

    Lags run as an FFT has them: 0, 1, .. and then the negative ones [spacings, of rulings].
    """
    count = min(_SAMPLES, ruled.count)
    spacing = ruled.count / count
    along = (np.arange(count) + 0.5) / count - 0.5
    grid = (np.arange(ruled.count) + 0.5) / ruled.count - 0.5
    weight = np.interp(along, grid, np.abs(ruled.weight))
    displacement = errors.drift * ruled.count * along**2 / 2 + errors.step * (along > 0)
    spectrum = np.fft.fft(weight * np.exp(-2j * np.pi * order * displacement), 2 * count)
    lag = np.fft.fftfreq(2 * count, 1 / (2 * count)) * spacing
    decay = (2 * math.pi * order * errors.walk) ** 2 / 2
    return np.fft.ifft(np.abs(spectrum) ** 2) * np.exp(-decay * np.abs(lag)), spacing


def largest_periodic(order: int, period: float, limit: float) -> float:
    """A/d at which the outer first ghost of the order reaches `limit` of the line."""

    def over(amplitude: float) -> float:
        sides = (1, -1) if order > 0 else (-1, 1)
        return ghost_ratio(order, sides[0], amplitude=amplitude, period=period) - limit

    highest = 2.404825557695773 / (2 * math.pi * abs(order))  # there the line itself is gone
    return largest(over, highest * (1 - 1e-9))


def largest_modulation(limit: float) -> float:
    """a of a periodic groove strength 1 + a cos whose ghosts reach `limit` of the line."""
    return 2 * math.sqrt(limit)


def largest_random(order: int, limit: float) -> float:
    """sigma/d at which independent errors scatter `limit` of the line's light, (1 - E) / E."""
    return math.sqrt(math.log1p(limit)) / (2 * math.pi * abs(order))


def largest_missing(limit: float) -> float:
    """Part of the rulings whose absence scatters `limit` of the line's light, q / (1 - q)."""
    return limit / (1 + limit)


def largest(over: Callable[[float], float], highest: float) -> float:
    """Largest argument up to which a function stays below zero: first crossing, then bisection."""
    steps = np.linspace(0, highest, 65).tolist()
    for low, high in pairwise(steps):
        if over(high) > 0:
            return falling_root(lambda x: -over(x), low, high)
    return highest
