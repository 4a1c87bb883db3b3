"""Which wavelengths remain at a point, which are extinguished, and whose orders they are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from wavesim.arrays import Floats
from wavesim.light.observer import colour_matching
from wavesim.study.point.causes import cause_of, element_dark
from wavesim.study.point.spectrum import PointSpectrum
from wavesim.study.ruling import Ruling

EXTINGUISHED = 0.05  # of what passes at the best wavelength there (our own line; it is stated)
NAMED_M = (400e-9, 700e-9)  # between which extinguished wavelengths are reported
_APART = 0.5  # of the lower of two maxima: a deeper dip between them makes two bands
_LEAST_SHARE = 0.01  # of light, brightness and colour: what has less of all is not reported
_LEAST_WIDTH_M = 1e-9  # [m] of a stretch of extinguished wavelengths
_STRAY = 0.01  # of a band's light lies where it passes: the rest comes from a line elsewhere
_ZERO = 0.02  # of the best: minima below this are reported as zeros
_MOST_ZEROS = 3  # in one stretch; of more none is reported


@dataclass(frozen=True)
class Remaining:
    """A band of wavelengths that reaches the point.

    Attributes
    ----------
    lo_m, hi_m : [m] where it sinks below `EXTINGUISHED`, or where its neighbour begins
    strongest_m : [m] the wavelength of which most passes
    mixing_m : [m] the wavelength that counts most in the mixture of colours
    path_difference : of neighbouring rulings at `strongest_m`, in wavelengths; whole at an order
    orders : the orders that the band holds; empty between orders
    light_fraction : part of the point's light (power within 390 to 730 nm)
    brightness_fraction : part of it weighted by the eye
    colour_fraction : part of X + Y + Z, by which colours mix on the CIE diagram
    stray : whether the source sends nothing in the band itself, and what there is strays here
        from the position of another wavelength, `mixing_m`
    """

    lo_m: float
    hi_m: float
    strongest_m: float
    mixing_m: float
    path_difference: float
    orders: tuple[int, ...]
    light_fraction: float
    brightness_fraction: float
    colour_fraction: float
    stray: bool


@dataclass(frozen=True)
class Extinguished:
    """A stretch of wavelengths of which next to nothing reaches the point.

    Attributes
    ----------
    lo_m, hi_m : [m] its ends, where it sinks below `EXTINGUISHED`
    zeros : the wavelengths at which all is dark; none is reported where there are more than three
    cause : "source" (or filter, which sends nothing there), "element" (the single slit, gap or
        groove), "interference" of the rulings; empty where the aperture has no rulings
    missing_orders : orders that would stand here if the element did not extinguish them
    """

    lo_m: float
    hi_m: float
    zeros: tuple[Zero, ...]
    cause: str = ""
    missing_orders: tuple[int, ...] = ()


@dataclass(frozen=True)
class Zero:
    """A wavelength of which nothing reaches the point.

    Attributes
    ----------
    wavelength_m : [m]
    path_difference : of neighbouring rulings there, in wavelengths
    by_element : whether the single slit or groove sends nothing there itself
    """

    wavelength_m: float
    path_difference: float
    by_element: bool


def remaining(
    spectrum: PointSpectrum, path_difference: Floats, width: float
) -> tuple[Remaining, ...]:
    """The bands that reach a point, from violet to red.

    Parameters
    ----------
    path_difference : (n,) of neighbouring rulings in wavelengths; NaN where there are none
    width : half-width of an order in the same measure, source slit and pixel included
    """
    weighted = _weighted(spectrum)
    running = _running(weighted)
    illuminated = _stretches(spectrum.passed >= EXTINGUISHED)
    parts = [part for ends in illuminated for part in _split(spectrum.passed, *ends)]
    ends = _shared_ends(spectrum.passed, parts)
    found = []
    for part, (a, b) in zip(parts, pairwise(ends), strict=True):
        fractions = running[b] - running[a]
        if fractions.max() >= _LEAST_SHARE:
            inside = running[part[1] + 1] - running[part[0]]
            stray = bool(inside[0] < _STRAY * fractions[0])
            mixed = a + int(np.argmax(weighted[a:b, 2]))
            found.append(_band(spectrum, path_difference, width, (*part, mixed), fractions, stray))
    return tuple(found)


def _band(
    spectrum: PointSpectrum,
    path_difference: Floats,
    width: float,
    indices: tuple[int, int, int],
    fractions: Floats,
    stray: bool,
) -> Remaining:
    first, last, mixed = indices
    best = first + int(np.argmax(spectrum.passed[first : last + 1]))
    lo, hi, strongest, mixing = (
        float(spectrum.wavelength_m[k]) for k in (first, last, best, mixed)
    )
    held = () if stray else _orders(path_difference, (first, last, best), width)
    difference = float(path_difference[mixed if stray else best])
    light, bright, colour = (float(fraction) for fraction in fractions)
    return Remaining(lo, hi, strongest, mixing, difference, held, light, bright, colour, stray)


def extinguished(
    spectrum: PointSpectrum, path_difference: Floats, ruled: Ruling | None, sent: Floats
) -> tuple[Extinguished, ...]:
    """Stretches of `NAMED_M` of which less than `EXTINGUISHED` of the best passes.

    `sent` (n,) is the light of the source at each wavelength, over the most.
    """
    named = (spectrum.wavelength_m >= NAMED_M[0]) & (spectrum.wavelength_m <= NAMED_M[1])
    found = []
    for first, last in _stretches(named & (spectrum.passed < EXTINGUISHED)):
        lo, hi = float(spectrum.wavelength_m[first]), float(spectrum.wavelength_m[last])
        if hi - lo >= _LEAST_WIDTH_M:
            dark = slice(first, last + 1)
            cause, missing = cause_of(
                path_difference[dark], spectrum.wavelength_m[dark], ruled, sent[dark]
            )
            zeros = _zeros(spectrum, path_difference, ruled, (first, last))
            found.append(Extinguished(lo, hi, zeros, cause, missing))
    return tuple(found)


def _zeros(
    spectrum: PointSpectrum, path_difference: Floats, ruled: Ruling | None, ends: tuple[int, int]
) -> tuple[Zero, ...]:
    first, last = max(ends[0], 1), min(ends[1], spectrum.passed.size - 2)
    y = spectrum.passed
    values = y[first : last + 1]
    low = (values <= y[first - 1 : last]) & (values < y[first + 1 : last + 2]) & (values < _ZERO)
    lowest = first + np.flatnonzero(low)
    if lowest.size > _MOST_ZEROS:
        return ()
    return tuple(
        _zero(float(spectrum.wavelength_m[k]), float(path_difference[k]), ruled) for k in lowest
    )


def _zero(wavelength_m: float, path_difference: float, ruled: Ruling | None) -> Zero:
    dark = ruled is not None and element_dark(ruled, path_difference, wavelength_m)
    return Zero(wavelength_m, path_difference, dark)


def _weighted(spectrum: PointSpectrum) -> Floats:
    """(n, 3) light, brightness and X + Y + Z at each wavelength."""
    xyz = colour_matching(spectrum.wavelength_m)
    curves = np.column_stack([np.ones(len(xyz)), xyz[:, 1], xyz.sum(axis=1)])
    return np.asarray(spectrum.irradiance[:, None] * curves)


def _running(weighted: Floats) -> Floats:
    """(n + 1, 3) sums before each sample, as parts of the whole."""
    running = np.concatenate([np.zeros((1, 3)), np.cumsum(weighted, axis=0)])
    return np.asarray(running / np.maximum(running[-1], 1e-300))


def _stretches(inside: npt.NDArray[np.bool_]) -> list[tuple[int, int]]:
    """First and last index of each run of True."""
    edge = np.flatnonzero(np.diff(np.concatenate(([0], inside.astype(np.int8), [0]))))
    return [(int(a), int(b) - 1) for a, b in zip(edge[::2], edge[1::2], strict=True)]


def _split(passed: Floats, first: int, last: int) -> list[tuple[int, int]]:
    """Parts of a stretch with a clear dip between their maxima."""
    y = passed[first : last + 1]
    tops = np.flatnonzero((y >= np.append(-1, y[:-1])) & (y > np.append(y[1:], -1)))
    cuts, high = [0], int(tops[0])
    for top in tops[1:]:
        valley = high + int(np.argmin(y[high : top + 1]))
        if y[valley] < _APART * min(y[high], y[top]) and valley > cuts[-1]:
            cuts.append(valley)
            high = int(top)
        elif y[top] > y[high]:
            high = int(top)
    cuts.append(y.size - 1)
    return [(first + a, first + b) for a, b in pairwise(cuts)]


def _shared_ends(passed: Floats, parts: list[tuple[int, int]]) -> list[int]:
    """Cell ends at which the light is dealt out: the darkest point between two parts."""
    ends = [0]
    for (_, last), (first, _) in pairwise(parts):
        ends.append(last + int(np.argmin(passed[last : first + 1])))
    return [*ends, passed.size]


def _orders(
    path_difference: Floats, indices: tuple[int, int, int], width: float
) -> tuple[int, ...]:
    """Whole numbers of waves within a band, or the one that its maximum belongs to."""
    first, last, peak = (float(path_difference[k]) for k in indices)
    if not math.isfinite(peak):
        return ()
    lo, hi = min(first, last), max(first, last)
    held = tuple(range(math.ceil(lo), math.floor(hi) + 1))
    near = round(peak)
    return held or ((near,) if abs(peak - near) <= width else ())
