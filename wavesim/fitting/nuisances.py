"""What is free beside the keys for each photograph, and what it does to the engine's light.

    shift        x of the picture's left edge, unless it is given
    slant        relative change of scale from the left edge to the right one (a camera that
                 looks at the plate at a slant); the scale given holds in the middle
    blur         standard deviation of the lens's spread, in pixels
    falloff      light lost at the picture's edges against its middle (vignetting)
    exposure     of a photograph whose tone curve another one shares
    backgrounds  of each channel
    gains        of each channel after the first

Slant, blur and falloff are held near what is usual by one more residual each.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.fitting.bench import LightCurve
from wavesim.fitting.photograph import PhotographPattern

_SLANT, _BLUR, _FALLOFF = 0.02, 1.0, 0.05  # usual sizes (common practice, no source)
_BLUR_USUAL = 0.6  # of a pixel
_EXPOSURE = 0.15  # of a logarithm: shutters and what EXIF rounds


@dataclass(frozen=True)
class FreeNumber:
    """A number that least squares moves: where it begins, its limits, its steps and its size.

    `usual` and `tolerance` say where it is to be expected; no tolerance, no expectation.
    """

    begin: float
    low: float
    high: float
    step: float
    size: float
    usual: float = 0.0
    tolerance: float = 0.0


@dataclass(frozen=True, eq=False)
class Nuisances:
    """Those of one photograph.

    Attributes
    ----------
    pattern : of the photograph
    exposure : logarithm of its exposure over that of the photograph whose tone it shares, as far
        as known; None where it has a tone of its own
    """

    pattern: PhotographPattern
    exposure: float | None = None

    @property
    def names(self) -> tuple[str, ...]:
        """In the order in which they are moved."""
        lines, curved = not self.pattern.radial, self.tone_fitted
        shift = lines and self.pattern.left_m is None
        channels = self.pattern.channels
        return (
            *(("shift",) if shift else ()),
            *(("slant",) if lines else ()),
            "blur",
            "falloff",
            *(("exposure",) if curved and self.exposure is not None else ()),
            *(("background",) * channels if curved else ()),
            *(("gain",) * (channels - 1) if curved else ()),
        )

    @property
    def tone_fitted(self) -> bool:
        """Whether the photograph's tone curve is unknown."""
        return not self.pattern.linear and self.pattern.reading.tone == "fitted"

    def numbers(self, shift_m: float) -> list[FreeNumber]:
        """Where the search begins, given the shift [m] that the start values were found with."""
        reach, step = 0.1 * self.pattern.width_m, self.pattern.step_m
        known = self.exposure or 0.0
        table = {
            "shift": FreeNumber(shift_m, shift_m - reach, shift_m + reach, 0.02 * step, step),
            "slant": FreeNumber(0.0, -0.08, 0.08, 1e-4, 0.01, 0.0, _SLANT),
            "blur": FreeNumber(_BLUR_USUAL, 0.05, 5.0, 1e-2, 0.3, _BLUR_USUAL, _BLUR),
            "falloff": FreeNumber(0.0, -0.3, 0.5, 1e-3, 0.05, 0.0, _FALLOFF),
            "exposure": FreeNumber(known, known - 3, known + 3, 1e-3, 0.1, known, _EXPOSURE),
            "background": FreeNumber(-6.0, -14.0, 0.0, 1e-3, 1.0),
            "gain": FreeNumber(0.0, -3.0, 3.0, 1e-3, 0.1),
        }
        return [table[name] for name in self.names]

    def values_of(self, numbers: Floats, name: str) -> Floats:
        """The numbers of a name."""
        return np.array([v for n, v in zip(self.names, numbers, strict=True) if n == name])

    def positions_m(self, numbers: Floats, x_m: Floats) -> Floats:
        """Positions on the plate as the engine's light counts, without shift and slant."""
        if self.pattern.radial:
            return x_m
        width = self.pattern.width_m
        s = x_m - width / 2
        slant = self.values_of(numbers, "slant")[0]
        return np.asarray(
            width / 2 + s / (1 - slant * s / (2 * width)) + self.values_of(numbers, "shift").sum()
        )

    def light(self, curve: LightCurve, numbers: Floats) -> Floats:
        """(n, c) light of the engine at the photograph's samples; grey is all of the light."""
        half = self.pattern.step_m / 2
        x = self.pattern.x_m
        left, right = (self.positions_m(numbers, x_edge) for x_edge in (x - half, x + half))
        if self.pattern.radial:
            left = np.maximum(left, 0.0)
        found = curve.between(left, right)
        found = found if self.pattern.channels == 3 else found.sum(axis=1, keepdims=True)
        found = self._blurred(found, float(self.values_of(numbers, "blur")[0]))
        return found * self._falling(float(self.values_of(numbers, "falloff")[0]))

    def _blurred(self, light: Floats, blur: float) -> Floats:
        from scipy.ndimage import gaussian_filter1d

        sigma = blur * self.pattern.reading.pixel_m / self.pattern.step_m
        mode = "mirror" if self.pattern.radial else "nearest"
        return np.asarray(gaussian_filter1d(light, sigma, axis=0, mode=mode, truncate=5.0))

    def _falling(self, falloff: float) -> Floats:
        """(n, 1) transmittance of the lens, 1 in the picture's middle."""
        x = self.pattern.x_m
        if self.pattern.radial:
            t = x / (self.pattern.width_m / 2)
        else:
            t = (x - self.pattern.width_m / 2) / (self.pattern.width_m / 2)
        return np.asarray(1 - falloff * t**2)[:, None]
