"""The beam on the aperture: its amplitude, what it limits, and how strong it is.

A beam of diameter D = 2 R is met at the angle alpha, so that it covers R / cos(alpha) of the
aperture along x and R along y; with rho^2 = (x cos alpha - x0)^2 + y^2, x0 the beam's offset
across the rulings, its amplitude is

    uniform   1 where rho <= R, else 0
    Gaussian  exp(-rho^2 / R^2)                    2 R is its 1/e^2 diameter

and 1 everywhere where the bench names no beam. One square metre of the aperture receives
E cos(alpha) |amplitude|^2, E the irradiance on the beam's axis. Of a laser of power P that is
P / (pi R^2), uniform, and 2 P / (pi R^2), Gaussian; without a named beam the laser's is uniform
and just fills the aperture, but is never less than `DEFAULT_BEAM_M` wide.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from wavesim.arrays import Floats
from wavesim.light.sources import DEFAULT_BEAM_M
from wavesim.scene import Bench, Laser, Scene

_POINTS, _BLOCK = 40, 1 << 21  # of a quadrature along y: at least, and values at a time
_MOST_POINTS, _PANEL = 2048, 128  # of one rule; of each of several panels
GAUSSIAN_REACH = 4.0  # radii R beyond which a Gaussian beam is left out: amplitude 1e-7


class Opening(Protocol):
    """What the level of a beam needs of an aperture."""

    def circle_m(self, cos_alpha: float) -> float:
        """Radius [m] of the circle about the axis, seen along the beam, that holds it."""


@dataclass(frozen=True)
class BeamProfile:
    """Amplitude of a beam over the aperture.

    Attributes
    ----------
    radius_m : [m] R; infinite where the beam does not limit
    gaussian : whether it is Gaussian rather than uniform
    cos_alpha : of the angle at which the aperture is met
    offset_m : [m] x0, of its axis from the aperture's middle, seen along the beam
    """

    radius_m: float
    gaussian: bool
    cos_alpha: float
    offset_m: float = 0.0

    @property
    def limits(self) -> bool:
        """Whether a beam is named at all."""
        return math.isfinite(self.radius_m)

    @property
    def round_edge(self) -> bool:
        """Whether it has a sharp, round edge."""
        return self.limits and not self.gaussian

    @property
    def half_axes_m(self) -> tuple[float, float]:
        """Half axes of its footprint on the aperture along x and y [m]."""
        return self.radius_m / self.cos_alpha, self.radius_m

    @property
    def middle_m(self) -> float:
        """x of its axis on the aperture [m]."""
        return self.offset_m / self.cos_alpha

    @property
    def reach_m(self) -> tuple[float, float]:
        """Half widths along x and y beyond which it sends (next to) nothing [m]."""
        factor = GAUSSIAN_REACH if self.gaussian else 1.0
        a, b = self.half_axes_m
        return factor * a + abs(self.middle_m), factor * b

    def amplitude(self, x_m: Floats, y_m: Floats | float = 0.0) -> Floats:
        """Amplitude relative to the beam's axis; positions [m] of any shapes that broadcast."""
        rho2 = np.square(np.asarray(x_m) * self.cos_alpha - self.offset_m) + np.square(y_m)
        if not self.limits:
            return np.ones(np.shape(rho2))
        if self.gaussian:
            return np.asarray(np.exp(-rho2 / self.radius_m**2))
        return np.asarray((rho2 <= self.radius_m**2).astype(np.float64))

    def covers(self, half_x_m: float, half_y_m: float) -> bool:
        """Whether a sharp edge lies outside the aperture's rectangle of those half sides."""
        corner = math.hypot(half_x_m * self.cos_alpha + abs(self.offset_m), half_y_m)
        return corner <= self.radius_m * (1 + 1e-9)


def beam_of(bench: Bench) -> BeamProfile:
    """The beam of a bench."""
    beam, cosine = bench.beam, math.cos(bench.alpha_rad)
    if beam is None:
        return BeamProfile(math.inf, gaussian=False, cos_alpha=cosine)
    return BeamProfile(beam.diameter_m / 2, beam.profile == "gaussian", cosine, beam.offset_m)


def aperture_irradiance(scene: Scene, radius_m: float) -> float:
    """Irradiance at the aperture on the beam's axis, over that of the source's spectrum.

    The spectrum counts the mean irradiance over the beam named, or over `DEFAULT_BEAM_M`. The
    aperture is met at alpha: a factor cos(alpha).

    Parameters
    ----------
    radius_m : [m] of the smallest circle about the axis, seen along the beam, that holds the
        aperture's openings
    """
    cosine = math.cos(scene.bench.alpha_rad)
    if not isinstance(scene.source, Laser):
        return cosine
    beam = beam_of(scene.bench)
    if beam.limits:
        return cosine * (2.0 if beam.gaussian else 1.0)
    return cosine * min(1.0, DEFAULT_BEAM_M / 2 / radius_m) ** 2


@dataclass(frozen=True)
class Along:
    """Amplitude along the rulings: 1 over their height, or a Gaussian cut at its ends.

    Attributes
    ----------
    height_m : [m] h, full height
    gaussian_m : [m] R of exp(-(y / R)^2); infinite where the beam is even along y
    round_m : [m] R of sqrt(1 - (y / R)^2), the width that a round beam leaves at each height, as
        a line's middle sees it; scaled to the power of an even height. Infinite without one
    """

    height_m: float
    gaussian_m: float = math.inf
    round_m: float = math.inf

    @property
    def power_m(self) -> float:
        """Integral of the squared amplitude along y [m]."""
        if math.isinf(self.gaussian_m):
            return self.height_m
        r = self.gaussian_m
        return r * math.sqrt(math.pi / 2) * math.erf(self.height_m / (math.sqrt(2) * r))

    def amplitude(self, v_per_m: Floats) -> Floats:
        """F(v) [m], the integral of the amplitude times exp(-2 pi i v y); real.

            h sinc(h v),  or with A = h / (2 R), B = pi R v and Faddeeva's function w
            R sqrt(pi) (exp(-B^2) - exp(-A^2) Re[exp(-2 i A B) w(-B + i A)])

        (complete the square; Abramowitz and Stegun 7.1.3 for w).
        """
        v = np.asarray(v_per_m, dtype=np.float64)
        if math.isfinite(self.round_m):
            return self._of_chords(v)
        if math.isinf(self.gaussian_m):
            return np.asarray(self.height_m * np.sinc(self.height_m * v))
        from scipy.special import wofz

        a, b = self.height_m / (2 * self.gaussian_m), math.pi * self.gaussian_m * np.abs(v)
        cut = np.exp(-2j * a * b) * wofz(-b + 1j * a)
        whole = np.exp(-np.square(b)) - math.exp(-a * a) * cut.real
        return np.asarray(self.gaussian_m * math.sqrt(math.pi) * whole)

    def points(self, fastest_per_m: float) -> int:
        """Points along y that each frequency up to that one is summed over; 1 for a closed form."""
        if math.isinf(self.round_m):
            return 1
        return _POINTS + math.ceil(4 * fastest_per_m * self.height_m)

    def _of_chords(self, v: Floats) -> Floats:
        """Integral of R cos^2(t) cos(2 pi v R sin t) dt over y = R sin t, Gauss-Legendre."""
        top = math.asin(min(1.0, self.height_m / (2 * self.round_m)))
        t, w = _gauss_legendre(self.points(float(np.abs(v).max(initial=0.0))))
        y, part = self.round_m * np.sin(top * t), top * w * np.cos(top * t) ** 2
        square = float(np.sum(part * np.cos(top * t))) * self.round_m
        out = np.empty(v.size)
        block = max(1, _BLOCK // y.size)
        for first in range(0, v.size, block):
            turn = np.outer(v.ravel()[first : first + block], 2 * math.pi * y)
            out[first : first + block] = np.cos(turn) @ part
        return out.reshape(v.shape) * self.round_m * math.sqrt(self.height_m / square)


def _gauss_legendre(points: int) -> tuple[Floats, Floats]:
    """Nodes in -1 .. 1 and weights; of many, so many panels that none has a large matrix.

    For waves both need pi / 2 points a period and some more at either end, which panels of
    128 at 2.5 points a period have.
    """
    leggauss = np.polynomial.legendre.leggauss
    if points <= _MOST_POINTS:
        return leggauss(points)
    x, w = leggauss(_PANEL)
    panels = math.ceil(points / _PANEL)
    middle = (2 * np.arange(panels) + 1) / panels - 1
    return (middle[:, None] + x / panels).ravel(), np.tile(w / panels, panels)


def along_rulings(beam: BeamProfile, height_m: float) -> Along:
    """What the beam leaves of rulings of a height [m], where it is separable along x and y."""
    height = min(height_m, 2 * beam.reach_m[1])
    return Along(height, beam.radius_m if beam.gaussian else math.inf)
