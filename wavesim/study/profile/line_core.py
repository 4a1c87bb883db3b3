"""Measures of a line's shape, taken from the profile itself."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import ComputationError
from wavesim.study.formulas import RAYLEIGH_DIP
from wavesim.study.roots import falling_root

if TYPE_CHECKING:
    from scipy.interpolate import BSpline

_SAMPLES = 2401  # over the core; quintic splines through them are right to 1e-9 of the peak


@dataclass(frozen=True, eq=False)
class Core:
    """The line itself, finely sampled: `level` (n,) [m2] at the positions `mu` (n,)."""

    mu: Floats
    level: Floats

    @cached_property
    def curve(self) -> BSpline:
        """Quintic spline through the samples."""
        from scipy.interpolate import make_interp_spline

        return make_interp_spline(self.mu, self.level, k=5)

    @cached_property
    def peak_at(self) -> float:
        """mu of the highest point."""
        near = int(np.argmax(self.level))
        lo, hi = self.mu[max(near - 1, 0)], self.mu[min(near + 1, self.mu.size - 1)]
        slope = self.curve.derivative()
        if not slope(lo) > 0 > slope(hi):
            return float(self.mu[near])
        return falling_root(lambda t: float(slope(t)), float(lo), float(hi))

    @cached_property
    def peak(self) -> float:
        """Height there [m2]."""
        return float(self.curve(self.peak_at))

    @cached_property
    def half_positions(self) -> tuple[float, float]:
        """Outermost positions where the profile passes half its peak."""
        above = np.flatnonzero(self.level >= self.peak / 2)
        first, last = int(above[0]), int(above[-1])
        if first == 0 or last == self.mu.size - 1:
            raise ComputationError("the line is wider than the range scanned")

        def rest(t: float) -> float:
            return float(self.curve(t)) - self.peak / 2

        left = falling_root(lambda t: -rest(t), float(self.mu[first - 1]), float(self.mu[first]))
        right = falling_root(rest, float(self.mu[last]), float(self.mu[last + 1]))
        return left, right

    @property
    def fwhm(self) -> float:
        """Full width at half maximum [orders]."""
        left, right = self.half_positions
        return right - left

    def rayleigh(self) -> float:
        """Separation of two equal lines with a dip of 8/pi^2 = 0.81057 [orders].

        That is the dip of two sinc^2, peak on first zero: Rayleigh's criterion in a form that any
        profile can meet.
        """
        return falling_root(lambda s: self._dip(s) - RAYLEIGH_DIP, 0.5 * self.fwhm, 3.0 * self.fwhm)

    def sparrow(self) -> float:
        """Separation of two equal lines at which the dip between them vanishes [orders].

        Twice the position where the even part of the profile has its inflection (Sparrow 1916,
        Astrophys. J. 44, 76).
        """
        second = self.curve.derivative(2)

        def bend(t: float) -> float:
            return -float(second(self.peak_at + t) + second(self.peak_at - t))

        return 2 * falling_root(bend, 0.0, 0.75 * self.fwhm)

    def _dip(self, separation: float) -> float:
        """Lowest point between two equal lines over the lower of their peaks."""
        half = separation / 2
        t = self.peak_at + np.linspace(-self.fwhm, self.fwhm, 801) + half
        both = self.curve(t) + self.curve(t - separation)
        middle = np.abs(t - self.peak_at - half) <= half
        left, right = t < self.peak_at + half, t > self.peak_at + half
        return float(both[middle].min() / min(both[left].max(), both[right].max()))


def core_of(intensity: Callable[[Floats], Floats], near: float, half_width: float) -> Core:
    """The profile about `near`, `half_width` orders to either side."""
    mu = near + half_width * np.linspace(-1, 1, _SAMPLES)
    return Core(mu, intensity(mu))
