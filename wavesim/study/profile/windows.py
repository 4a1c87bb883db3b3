"""An ideal line in a windowed beam, and a scan about a real one."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from wavesim.arrays import Flags, Floats
from wavesim.study.profile.field import FLOOR
from wavesim.study.profile.scan import Illumination

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline

_STANDING_FOR = 4096  # rulings that stand for the ideal ruling
_PADDING = 16


@dataclass(frozen=True, eq=False)
class Wings:
    """What an ideal line leaves beside it in one window, from the line outwards.

    Attributes
    ----------
    amplitude : (n,) over its peak's, the beam taken as even about its middle
    level : (n,) its square, or the largest farther out
    step : of the samples [orders]
    width : full width at half maximum of the line [orders]
    """

    amplitude: Floats
    level: Floats
    step: float
    width: float

    def signed(self, distance: Floats) -> Floats:
        """Amplitude at distances from the line, of its sign."""
        k = np.minimum(np.abs(distance) / self.step, self.amplitude.size - 1.0)
        return np.asarray(self._curve(k))

    def slope(self, distance: Floats) -> Floats:
        """d(signed) / d(distance)."""
        k = np.minimum(np.abs(distance) / self.step, self.amplitude.size - 1.0)
        return np.asarray(np.sign(distance) * self._curve(k, 1) / self.step)

    @cached_property
    def _curve(self) -> CubicSpline:
        from scipy.interpolate import CubicSpline

        return CubicSpline(np.arange(self.amplitude.size), self.amplitude)

    def at(self, distance: Floats | float) -> Floats:
        """Largest light at this distance from the line or farther out."""
        k = np.minimum(np.abs(distance) / self.step, self.level.size - 1.0)
        return np.asarray(np.interp(k, np.arange(self.level.size), self.level))


@dataclass(frozen=True, eq=False)
class Windowed:
    """A scan about the line in one window: `level` (n,) over its peak at `offset` (n,) from it.

    Attributes
    ----------
    line : continuous order of the line's peak
    speckle : sum w^2 / (sum w)^2 of the beam, in which diffuse light goes over the line's peak
    """

    line: float
    offset: Floats
    level: Floats
    wings: Wings
    speckle: float

    def beside(self, distance: Floats, times: float) -> tuple[Floats, Flags]:
        """Level at signed distances (n,) from the line; where it is above its wings so often."""
        level = np.interp(distance, self.offset, self.level)
        return level, np.asarray(level > times * self.wings.at(distance))


def wings_of(light: Illumination) -> Wings:
    """The line's own wings from the weights of its beam, outermost first made monotone."""
    comb = light.aperture.combs[0]
    count = min(_STANDING_FOR, comb.position_m.size)
    low, high = comb.position_m[0], comb.position_m[-1]
    weight = np.interp(np.linspace(low, high, count), comb.position_m, np.abs(comb.weight))
    size = _PADDING * count
    turned = np.exp(1j * np.pi * np.arange(size // 2 + 1) * (count - 1) / size)
    amplitude = (np.fft.rfft(weight, size) * turned).real / weight.sum()
    level = np.maximum(amplitude**2, FLOOR)
    spacing = (high - low) / max(count - 1, 1)
    step = light.pitch_m / (size * spacing)
    envelope = np.maximum.accumulate(level[::-1])[::-1]
    inner = int(np.argmax(level < 0.5))
    if inner == 0:  # the window leaves one ruling of three, whose light is even
        return Wings(amplitude, envelope, step, 2 * step * (level.size - 1))
    part = (level[inner - 1] - 0.5) / (level[inner - 1] - level[inner])
    return Wings(amplitude, envelope, step, 2 * step * (inner - 1 + part))
