"""Tone: how much light the picture shows for how much light fell on the plate.

A tone is a curve from relative exposure (1 = white level) to shown light (1 = the display's
white). `Linear` is the honest one. `Film` is a photographic material's characteristic curve.
`Logarithmic` shows faint orders; a picture made with it must say so (`label`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats
from wavesim.constants import SATURATION_EXPOSURE_LX_S
from wavesim.errors import InputError, positive

_SPEED_POINT_DENSITY = 0.10  # above base and fog, ISO 6:1993
ISO6_SPEED_POINT = math.log10(0.8 / SATURATION_EXPOSURE_LX_S)  # -1.989 decades below white


class Tone(Protocol):
    """A curve from relative exposure to shown light, rising."""

    @property
    def label(self) -> str:
        """Words for a caption; empty where the picture is linear in light."""

    def shown(self, exposure: ArrayLike) -> Floats:
        """Shown light 0..1 for relative exposure (...) >= 0."""


@dataclass(frozen=True)
class Linear:
    """Shown light = exposure, up to white. What a calibrated sensor gives."""

    label: str = ""

    def shown(self, exposure: ArrayLike) -> Floats:
        """min(exposure, 1)."""
        return np.minimum(np.asarray(exposure, dtype=np.float64), 1.0)


@dataclass(frozen=True)
class Film:
    """A characteristic curve with toe, straight line and shoulder, shown as a positive.

    With x = log10 of the exposure relative to white, the density of the negative is

        D(x) = base_fog + gamma [ t lg(1 + 10^((x - x_i) / t)) - s lg(1 + 10^((x - x_s) / s)) ]

    where t and s are `toe` and `shoulder` [decades], x_i the inertia point (where the straight
    line meets base + fog) and x_s = x_i + latitude. It is pinned by the speed point: D is 0.10
    above base + fog at x = speed_point (ISO 6:1993). The positive shows light 10^(D - D_max),
    less what base + fog alone would give and scaled back to 1: a print of contrast 1, exposed
    so that the fog comes out black. The closed form is our own; Hurter and Driffield (1890)
    define the parts, no standard gives a formula.

    Attributes
    ----------
    gamma : slope dD/dx of the straight line.
    base_fog : density without exposure.
    speed_point : log10 of (speed-point exposure / white level).
    toe, shoulder : half the width in decades over which the curve bends.
    latitude : length of the straight line in decades of exposure.
    """

    gamma: float = 1.1
    base_fog: float = 0.10
    speed_point: float = ISO6_SPEED_POINT
    toe: float = 0.25
    shoulder: float = 0.2
    latitude: float = 1.85
    label: str = "photographic tone"

    def __post_init__(self) -> None:
        for name in ("gamma", "toe", "shoulder", "latitude"):
            positive(f"tone.{name}", getattr(self, name))
        if not (math.isfinite(self.base_fog) and self.base_fog >= 0):
            raise InputError("a density is zero or more", key="tone.base_fog", value=self.base_fog)

    @property
    def inertia_point(self) -> float:
        """log10 exposure where the straight line meets base + fog."""
        excess = 10 ** (_SPEED_POINT_DENSITY / (self.gamma * self.toe)) - 1
        return self.speed_point - self.toe * math.log10(excess)

    @property
    def maximum_density(self) -> float:
        """Density of a fully exposed negative."""
        return self.base_fog + self.gamma * self.latitude

    def density(self, exposure: ArrayLike) -> Floats:
        """Density of the negative for relative exposure (...) >= 0."""
        with np.errstate(divide="ignore"):
            x = np.log10(np.asarray(exposure, dtype=np.float64))
        rise = _bend(x - self.inertia_point, self.toe)
        fall = _bend(x - self.inertia_point - self.latitude, self.shoulder)
        flat = np.where(np.isposinf(x), self.latitude, rise - np.where(np.isposinf(x), 0, fall))
        return np.asarray(self.base_fog + self.gamma * flat)

    def shown(self, exposure: ArrayLike) -> Floats:
        """The positive's light, 0 without exposure, 1 at the densest negative."""
        black = 10 ** -(self.gamma * self.latitude)
        light = 10 ** (self.density(exposure) - self.maximum_density)
        return np.clip((light - black) / (1 - black), 0, 1)


@dataclass(frozen=True)
class Logarithmic:
    """A logarithmic look: `decades` of exposure spread evenly over the picture's encoded range.

    Encoded value 1 + lg(exposure) / decades, on the curve of sRGB: each decade gets an equal
    step in grey. Not what an eye or a film sees: it lifts faint orders to be found.
    """

    decades: float = 4.0

    def __post_init__(self) -> None:
        positive("tone.decades", self.decades)

    @property
    def label(self) -> str:
        """Caption: says that the scale is logarithmic and over how many decades."""
        return f"logarithmic, {self.decades:g} decades"

    def shown(self, exposure: ArrayLike) -> Floats:
        """Light of the encoded value 1 + lg(exposure) / decades."""
        from wavesim.colorimetry.spaces import decode

        with np.errstate(divide="ignore"):
            value = 1 + np.log10(np.asarray(exposure, dtype=np.float64)) / self.decades
        return decode(np.clip(value, 0, 1))


def speed_iso6(speed_point_lx_s: float) -> float:
    """Black-and-white negative: S = 0.8 / Hm, Hm [lx s] where D is 0.10 above base + fog.

    ISO 6:1993. Holds where D is 0.80 higher still at Hm x 10^1.30.
    """
    return 0.8 / positive("speed_point_lx_s", speed_point_lx_s)


def _bend(x: Floats, width: float) -> Floats:
    return np.asarray(width * np.logaddexp(0, x * (math.log(10) / width)) / math.log(10))
