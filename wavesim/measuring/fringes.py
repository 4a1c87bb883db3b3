"""Fringes of a few slits, and the bands of one: what a plate without lines may show.

N slits of width w and pitch d, light of one wavelength or of many (s = sin alpha + sin beta):

    I(s) = b + h sinc^2(w s/lambda) [1 + 2 sum_k (1 - k/N) V_k(s) cos(2 pi k s d/lambda)] / N,
    V_k(s) = exp(-(k g)^2 - (k c s d/lambda)^2),   k = 1 .. N - 1

The pattern is fitted as a whole, because the envelope pulls every maximum towards the middle. g
stands for pixels and source slit, c for the spread of wavelengths, which washes out all but the
middle; where it is wide, the pattern is averaged over a Gaussian spectrum instead. d/lambda and
w/lambda follow; lengths ask for a wavelength. Born & Wolf 8.5.1, 8.6.1, 7.3.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.measuring.profile import Profile

_MOST_SLITS = 8
_EXPLAINED = 0.97  # of the variance that a pattern must explain
_EXACT = 0.9999  # of the variance: an ideal pattern of one wavelength
_OF_WHITE = 0.05  # of a length from white light (sun and lamps of 3,000 K, measured)
_OF_MODEL = 1e-4  # of a length: what pixels and the slit's image do to an ideal pattern (measured)
_BETTER = 0.7  # of the residual: one slit more must do better than this
_FEWEST = 2.0  # fringes that must lie within the plate
_SHARP = 0.05  # relative spread above which the light is of many wavelengths
_DEVIATIONS = np.linspace(-2.25, 2.25, 13)  # standard deviations of a Gaussian spectrum
_SHARES = np.exp(-(_DEVIATIONS**2) / 2) / np.exp(-(_DEVIATIONS**2) / 2).sum()
_WIDEST = 0.4  # relative standard deviation of the spectrum
_SAMPLES = 600  # of the profile that are fitted at most
_CORRELATED = 10.0  # samples of the residual that are correlated

_Model = Callable[[Floats, Floats, int], Floats]


@dataclass(frozen=True)
class FringePattern:
    """Fringes of slits, or the bands of a single slit (`slits` = 1).

    Attributes
    ----------
    slits : N
    spacing : lambda/d in s, between neighbouring principal maxima; nan for one slit
    spacing_error : its standard uncertainty
    band : lambda/w in s, from the middle to the first zero of the envelope
    band_error : its standard uncertainty
    middle : s of the pattern's middle, 0 where the zero order stands in its place
    spread : relative spread of wavelengths; its standard deviation; above 0.05 white light
    explained : fraction of the profile's variance
    wavelength_m : [m] in standard air as given, for lengths; nan where none is
    """

    slits: int
    spacing: float
    spacing_error: float
    band: float
    band_error: float
    middle: float
    spread: float
    explained: float
    wavelength_m: float = math.nan

    @property
    def white(self) -> bool:
        """Whether the light is of many wavelengths."""
        return self.spread > _SHARP

    def pitch(self, wavelength_m: float) -> tuple[float, float]:
        """d and its standard uncertainty [m] for light of a wavelength in the bench's air."""
        d = wavelength_m / self.spacing
        return d, d * math.hypot(self.spacing_error / self.spacing, self._mean_unknown)

    def width(self, wavelength_m: float) -> tuple[float, float]:
        """w and its standard uncertainty [m]."""
        w = wavelength_m / self.band
        return w, w * math.hypot(self.band_error / self.band, self._mean_unknown)

    @property
    def _mean_unknown(self) -> float:
        """What the fit does not know: the wavelength that counts of many, or its own model."""
        return _OF_WHITE if self.white or self.explained < _EXACT else _OF_MODEL


def find_pattern(profile: Profile, sine: Floats) -> FringePattern | None:
    """The pattern of slits on a profile; None where none explains it.

    Parameters
    ----------
    sine : (n,) s at each sample
    """
    every = max(1, sine.size // _SAMPLES)
    use = ~profile.saturated
    s, y = sine[use][::every], profile.value[use][::every]
    if s.size < 16 or not float(np.ptp(y)) > 0:
        return None
    y = (y - y.min()) / np.ptp(y)
    best = _fitted(s, y, 1)
    spacing = _spacing(s, y)
    if spacing is not None and np.ptp(s) > _FEWEST * spacing:
        for slits in range(2, _MOST_SLITS + 1):
            found = _fitted(s, y, slits, spacing)
            left = 1 - (best.explained if best else 0.0)
            if found is not None and 1 - found.explained < _BETTER * left:
                best = found
            if best is not None and best.explained > _EXACT:
                break
    if best is not None and best.slits > 1 and best.spread > _SHARP / 2 and spacing is not None:
        near = range(max(2, best.slits - 1), best.slits + 2)
        white = [_fitted(s[::2], y[::2], n, spacing, model=_white_model) for n in near]
        best = max(
            [best, *(candidate for candidate in white if candidate)],
            key=lambda candidate: candidate.explained,
        )
    return best if best is not None and best.explained > _EXPLAINED else None


def _spacing(s: Floats, y: Floats) -> float | None:
    """Distance of the strongest repetition: the first high peak of the autocorrelation."""
    from scipy.signal import find_peaks

    flat = y - y.mean()
    size = 2 * flat.size
    power = np.abs(np.fft.rfft(flat, size)) ** 2
    correlation = np.fft.irfft(power, size)[: flat.size // 2]
    indices, _ = find_peaks(correlation / correlation[0], prominence=0.02)
    if indices.size == 0:
        return None
    high = indices[correlation[indices] >= 0.6 * correlation[indices].max()]
    if high.size == 0:
        return None
    return float(high[0]) * float(np.median(np.diff(s)))


def _model(q: Floats, s: Floats, slits: int) -> Floats:
    """q: middle, background, height, 1/band, then 1/spacing, blur g, spread c."""
    t = s - q[0]
    envelope = np.sinc(q[3] * t) ** 2
    if slits == 1:
        return np.asarray(q[1] + q[2] * envelope)
    phase, total = q[4] * t, np.ones_like(t)
    for k in range(1, slits):
        visibility = np.exp(-((k * q[5]) ** 2) - (k * q[6] * phase) ** 2)
        total += 2 * (1 - k / slits) * visibility * np.cos(2 * np.pi * k * phase)
    return np.asarray(q[1] + q[2] * envelope * total / slits)


def _white_model(q: Floats, s: Floats, slits: int) -> Floats:
    """The same averaged over wavelengths 1 + spread x deviation times the mean one."""
    spread = min(abs(q[6]) / (math.sqrt(2) * math.pi), _WIDEST)
    total = np.zeros_like(s)
    for deviation, weight in zip(_DEVIATIONS, _SHARES, strict=True):
        longer = 1 + spread * deviation
        parameters = np.array(
            [q[0], 0.0, 1.0, q[3] / longer, *q[4:6], 0.0][: 4 if slits == 1 else 7]
        )
        if slits > 1:
            parameters[4] /= longer
        total += weight * _model(parameters, s, slits)
    return np.asarray(q[1] + q[2] * total)


def _fitted(
    s: Floats, y: Floats, slits: int, spacing: float = math.nan, *, model: _Model = _model
) -> FringePattern | None:
    from scipy.optimize import least_squares

    low, high = float(s.min()), float(s.max())
    weight = np.maximum(y - np.median(y), 0.0) ** 2
    if slits == 1 and not weight.any():  # no light stands out of the rest
        return None
    middle = float(s[np.argmax(y)]) if slits > 1 else float(np.average(s, weights=weight))
    best, best_cost = None, math.inf
    for band in (0.15, 0.6):
        start = [middle, 0.0, 1.0, 1 / (band * (high - low))]
        if slits > 1:
            start += [1 / spacing, 0.1, 0.02 if model is _model else 0.8]
        scale = np.maximum(np.abs(start), 1e-3)
        scale[0] = spacing if slits > 1 else band * (high - low)
        found = least_squares(
            lambda q: model(q, s, slits) - y,
            np.array(start),
            x_scale=scale,
            max_nfev=40 if model is _model else 20,
        )
        if found.cost < best_cost:
            best, best_cost = found, float(found.cost)
    if best is None:
        return None
    q = best.x
    variance = _CORRELATED * 2 * best_cost / max(s.size - q.size, 1)
    curvature = np.diag(np.linalg.pinv(best.jac.T @ best.jac))
    if not (curvature >= 0).all():  # by rounding: nothing determines the pattern
        return None
    spread = np.sqrt(curvature * variance)
    with np.errstate(divide="ignore"):
        inverse = np.abs(1 / q)
    return FringePattern(
        slits=slits,
        spacing=float(inverse[4]) if slits > 1 else math.nan,
        spacing_error=float(spread[4] * inverse[4] ** 2) if slits > 1 else math.nan,
        band=float(inverse[3]),
        band_error=float(spread[3] * inverse[3] ** 2),
        middle=float(q[0]),
        spread=abs(float(q[6])) / (math.sqrt(2) * math.pi) if slits > 1 else 0.0,
        explained=1 - 2 * best_cost / float(((y - y.mean()) ** 2).sum()),
    )
