"""Lines on a profile: bright or dark, placed to a fraction of a sample, blends split."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np

from wavesim.arrays import Flags, Floats, Indices
from wavesim.errors import InputError
from wavesim.measuring.asymmetry import (
    by_bands,
    by_bisector,
    by_width,
    centre_of_gravity,
    in_one_sample,
    noise_by_bands,
    steady,
    summit,
    template_gain,
)
from wavesim.measuring.line_shapes import LineFit, fit
from wavesim.measuring.maxima import Maxima, maxima, widths
from wavesim.measuring.profile import Profile

Kind = Literal["bright", "dark"]

NOISE_MULTIPLE = 9.0  # deviations from valley to top; noise alone reaches 8 in 20,000 samples
_WINDOW = 1.1  # of a line's full width, to either side, that its fit sees
_CORE = 0.35  # of the prominence, from the top: where a dark line's core is measured
_CORE_TO_HALF = 1.268  # width of a Gaussian at half its height over that at 65 %
_COMMENSURATE = 30.0  # lines whose heights differ more are not fitted together
_ABOUT = 4.0  # lines a quarter of the profile away count by 1 / e of those at hand
_WIDER = 1.3  # times the usual width: a line looks like a blend
_FLAT = 2.5  # power of a line's shape above which its top is too flat for a sharp line's
_SKEW = 0.02  # residual over height above which it is no symmetric line
_SHOULDER = 0.1  # of its height: a maximum on a line's flank that is below `least` by prominence
_MISFIT = 0.1  # rms over height: lines fitted together that miss by more are fitted apart
_BLENDED = 0.03  # of the width: what a neighbour's unknown flank may move a line by (measured)
_LOOSE = 0.25  # of the width: a fit less certain gives way to the centre of gravity
_ASTRAY = 0.5  # of the width: what is no better placed is no line
_BY_GRAVITY = 0.13  # of the width: how well the centre of gravity places a line (measured)
_HIDDEN = 0.004  # of the width: what neighbours too faint to widen a line may move it by (measured)
_CLIPPED = 0.015  # the same where the top is clipped, so that flanks alone tell (measured)
_FLOOR = 0.01  # [samples] no line is placed better: the pixels' own unevenness (common practice)


@dataclass(frozen=True)
class Feature:
    """One line on a profile.

    Attributes
    ----------
    x_m : [m] centre by the fit
    x_noise_m : [m] standard deviation of the centre by noise, grain and the fit's residual: by so
        much it would scatter over photographs of the same lines
    x_doubt_m : [m] standard uncertainty for what one plate cannot show: lines too close or too
        faint to be resolved from this one, an asymmetric shape, pixels that are not alike
    height : bright: light above the local background; dark: part of the continuum missing
    width_m : [m] full width at half maximum
    blended : fitted together with a neighbour, or wider than it should be
    saturated : its top is clipped; the flanks alone were used
    """

    x_m: float
    x_noise_m: float
    x_doubt_m: float
    height: float
    width_m: float
    blended: bool
    saturated: bool

    @property
    def x_error_m(self) -> float:
        """Standard uncertainty of the centre [m]: noise and doubt in quadrature."""
        return math.hypot(self.x_noise_m, self.x_doubt_m)


@dataclass(frozen=True, eq=False)
class _Signal:
    """Rising lines on (n,) samples, whatever the profile held."""

    y: Floats
    noise: float
    smooth: Floats
    smooth_noise: float
    least: float
    kind: Kind


def find_lines(
    profile: Profile, kind: Kind = "bright", *, least: float | None = None
) -> tuple[Feature, ...]:
    """Find the lines of a profile, from left to right.

    Parameters
    ----------
    least : smallest line: bright, part of the brightest (default that of
        the profile, 1e-4, of JPEG files 0.01); dark, part of the
        continuum that is missing (default 0.05). Nothing below nine times the noise, from
        valley to top, is taken.

    Notes
    -----
    A maximum counts by its prominence (height above the higher of the two valleys beside it).
    Each is fitted with a symmetric shape, neighbours closer than two widths together; a line
    much wider than its neighbours is tried as two. Error of an isolated line on a noiseless
    plate: below 0.02 sample (tests/test_measure_lines.py).
    """
    if kind not in ("bright", "dark"):
        raise InputError("is not a kind of line", key="kind", value=kind, expected="bright or dark")
    signal = _bright(profile, least) if kind == "bright" else _dark(profile, least)
    if signal is None:
        return ()
    tops, wide = _one_a_top(profile, *_maxima(signal))
    if tops.size == 0:
        return ()
    usual = _usual_widths(signal, tops, wide, profile)
    alone = [[k] for k in range(tops.size)]
    groups = alone if kind == "dark" else _groups(signal, tops, wide)
    found: list[Feature] = []
    for group in groups:
        near = float(usual[group].min())
        together = _fit_group(signal, profile, tops, wide, group, near)
        parts = alone[group[0] : group[-1] + 1] if together is None else []
        found += together or ()
        found += [f for k in parts for f in _fit_group(signal, profile, tops, wide, k, near) or ()]
    if kind == "bright" and found:
        found = _with_neighbours(found, profile.pixel_m)
    return tuple(sorted(found, key=lambda f: f.x_m))


def _with_neighbours(found: list[Feature], pixel_m: float) -> list[Feature]:
    """The same with what unresolved neighbours may pull them by in their uncertainties."""
    columns = [(f.x_m, f.width_m, f.x_error_m, math.sqrt(abs(f.height))) for f in found]
    x, width, error, weight = np.array(columns).T
    sharp = np.array([not f.saturated for f in found])
    weight = weight * (sharp if sharp.any() else 1.0)
    pull = by_width(x, width, error, weight, pixel=pixel_m)
    allowed = [
        replace(f, x_doubt_m=math.hypot(f.x_doubt_m, float(p)))
        for f, p in zip(found, pull, strict=True)
    ]
    return [f for f in allowed if f.saturated or f.x_error_m < f.width_m]


def _bright(profile: Profile, least: float | None) -> _Signal | None:
    top = float(profile.value.max())
    if not top > 0:
        return None
    smallest = (profile.least if least is None else least) * top
    return _signal(profile.value, profile.noise, smallest, profile, "bright")


def _dark(profile: Profile, least: float | None) -> _Signal | None:
    level, illuminated = continuum(profile)
    if not illuminated.any():
        return None
    safe = np.where(illuminated, level, 1.0)
    missing = np.where(illuminated, 1.0 - profile.value / safe, 0.0)
    noise = profile.noise / float(np.median(level[illuminated]))
    return _signal(missing, noise, 0.05 if least is None else least, profile, "dark")


def _signal(y: Floats, noise: float, least: float, profile: Profile, kind: Kind) -> _Signal:
    image = profile.slit_image_m / profile.pixel_m
    sigma = min(max(image / 3, 0.6), 20.0)
    smooth, gain = _smoothed(y, sigma)
    by_bands = noise_by_bands(profile, lambda part: _smoothed(part, sigma)[0])
    smooth_noise = max(noise * gain, by_bands if kind == "bright" else 0.0)
    return _Signal(y, noise, smooth, smooth_noise, least, kind)


def _smoothed(y: Floats, sigma: float) -> tuple[Floats, float]:
    """Gaussian smoothing, and the factor by which it lowers independent noise."""
    reach = max(1, math.ceil(3 * sigma))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) / sigma) ** 2)
    kernel /= kernel.sum()
    padded = np.pad(y, reach, mode="edge")
    return np.convolve(padded, kernel, mode="valid"), float(np.sqrt((kernel**2).sum()))


def continuum(profile: Profile) -> tuple[Floats, Flags]:
    """Upper edge of the light between dark lines, and where there is enough of it; (n,) each.

    Blocks of 1/120 of the profile (at least 40 samples) give their 95th percentile, smoothed over
    five blocks by their largest; straight lines join the blocks. Samples below 3 % of the usual
    level, and blocks over 20 times it (a zero order), are not illuminated.
    """
    v = profile.value
    count = int(np.clip(v.size // 40, 1, 120))
    edges = np.linspace(0, v.size, count + 1).astype(int)
    pairs = list(pairwise(edges))
    upper = np.array([np.percentile(v[a:b], 95) for a, b in pairs])
    middles = np.array([(a + b - 1) / 2 for a, b in pairs])
    illuminated = upper > 0.03 * np.percentile(upper, 75)
    usual = float(np.median(upper[illuminated])) if illuminated.any() else 0.0
    illuminated &= upper < 20 * usual
    near = [slice(max(0, k - 1), k + 2) for k in range(count)]
    wide = np.array([upper[some][illuminated[some]].max(initial=0.0) for some in near])
    level = np.interp(np.arange(v.size), middles, wide)
    each = np.repeat(illuminated, np.diff(edges))
    return level, each & (level > 0.03 * usual)


def _maxima(signal: _Signal) -> tuple[Indices, Floats]:
    """Samples at the maxima, and their full widths at half prominence [samples].

    A dark line is as wide as its core says: the wings of the strong ones hold other lines.
    """
    enough = NOISE_MULTIPLE * signal.smooth_noise
    found = maxima(signal.smooth, max(enough, 0.2 * signal.least))
    height = signal.smooth[found.index]
    shoulder = (found.prominence > _SHOULDER * height) & (height > signal.least)
    chosen = (found.prominence >= signal.least) | (shoulder & (signal.kind == "bright"))
    found = Maxima(found.index[chosen], found.prominence[chosen])
    if signal.kind == "bright":
        return found.index, widths(signal.smooth, found, 0.5)
    return found.index, _CORE_TO_HALF * widths(signal.smooth, found, _CORE)


def _one_a_top(profile: Profile, tops: Indices, wide: Floats) -> tuple[Indices, Floats]:
    """The same with the widest alone of maxima that stand on one clipped top, at its middle."""
    edges = np.flatnonzero(np.diff(np.pad(profile.saturated.astype(np.int8), 1)))
    middle, keep = tops.copy(), np.ones(tops.size, dtype=np.bool_)
    for first, end in edges.reshape(-1, 2):
        on_top = np.flatnonzero((tops >= first - 2) & (tops < end + 2))
        if on_top.size > 1:
            widest = on_top[np.argmax(wide[on_top])]
            keep[on_top], middle[widest] = False, (first + end - 1) // 2
            keep[widest] = True
    return middle[keep], wide[keep]


def _usual_widths(signal: _Signal, tops: Indices, wide: Floats, profile: Profile) -> Floats:
    """(k,) width that half of the other lines about each exceed [samples].

    Each counts by the root of its height (tall lines decide: the many faint maxima beside them are
    narrower) and less the farther it stands: lines of long wavelengths are the wider ones where
    the rulings decide.
    """
    weight = np.sqrt(np.maximum(signal.smooth[tops], 0.0)) * ~profile.saturated[tops]
    if not weight.any():
        return np.full(tops.size, float(np.median(wide)))
    order = np.argsort(wide)
    out = np.empty(tops.size)
    for k in range(tops.size):
        near = np.exp(-np.abs(tops - tops[k]) * (_ABOUT / signal.y.size)) * (tops != tops[k])
        running = np.cumsum((weight * near)[order])
        out[k] = wide[order][np.searchsorted(running, running[-1] / 2)] if running[-1] else wide[k]
    return out


def _groups(signal: _Signal, tops: Indices, wide: Floats) -> list[list[int]]:
    """Maxima to be fitted together: neighbours closer than 1.6 widths and of like height."""
    groups: list[list[int]] = [[0]]
    for k in range(1, tops.size):
        last = groups[-1][-1]
        near = tops[k] - tops[last] < 0.8 * (wide[k] + wide[last])
        ratio = signal.smooth[tops[k]] / max(signal.smooth[tops[last]], 1e-300)
        alike = 1 / _COMMENSURATE < ratio < _COMMENSURATE
        if near and alike and len(groups[-1]) < 4:
            groups[-1].append(k)
        else:
            groups.append([k])
    return groups


def _fit_group(
    signal: _Signal, profile: Profile, tops: Indices, wide: Floats, group: list[int], usual: float
) -> list[Feature] | None:
    """The lines of a group; None where several do not fit together."""
    centre = tops[group].astype(np.float64)
    width = float(wide[group].min())
    lo, hi = _window(signal, tops, wide, group)
    x = np.arange(lo, hi, dtype=np.float64)
    use = ~profile.saturated[lo:hi]
    guess = {"width": width, "noise": signal.noise, "use": use}
    found = fit(x, signal.y[lo:hi], centre, **guess)  # type: ignore[arg-type]
    if len(group) > 1 and not _together(found, centre):
        return None
    blended = len(group) > 1 or (found.good and found.width > 2 * usual)
    alone = len(group) == 1 and signal.kind == "bright" and bool(use.all())
    if alone and found.good and found.width > _WIDER * usual:
        split = _split(signal, x, found, usual)
        if split is not None:
            found, centre, blended = split, split.centre, True
    return _features(signal, profile, found, (lo, hi), blended, (centre, width, usual))


def _together(found: LineFit, guess: Floats) -> bool:
    """Whether a fit of several lines is one of those lines, each near its maximum."""
    if not (found.good and found.residual < _MISFIT):
        return False
    near = np.abs(found.centre - guess) < 0.7 * found.width
    return bool(np.all(near & (found.centre_error < _LOOSE * found.width)))


def _window(signal: _Signal, tops: Indices, wide: Floats, group: list[int]) -> tuple[int, int]:
    """First and last sample of a fit: a width beyond the outer lines, not past the valleys."""
    first, last = group[0], group[-1]
    lo = int(tops[first] - math.ceil(_WINDOW * wide[first]) - 1)
    hi = int(tops[last] + math.ceil(_WINDOW * wide[last]) + 2)
    if first > 0:
        lo = max(
            lo, int(tops[first - 1] + np.argmin(signal.smooth[tops[first - 1] : tops[first] + 1]))
        )
    if last + 1 < tops.size:
        hi = min(
            hi, int(tops[last] + np.argmin(signal.smooth[tops[last] : tops[last + 1] + 1])) + 1
        )
    room = max(3, 4 * len(group) + 1)
    lo, hi = min(lo, tops[first] - room // 2), max(hi, tops[last] + room // 2 + 1)
    return max(0, lo), min(signal.y.size, hi)


def _split(signal: _Signal, x: Floats, single: LineFit, usual: float) -> LineFit | None:
    """Two lines of the usual width instead of a wide one, if that fits far better."""
    y = signal.y[int(x[0]) : int(x[-1]) + 1]
    apart = math.sqrt(max(single.width**2 - usual**2, 0.25)) / 2
    centre = float(single.centre[0]) + np.array([-apart, apart])
    two = fit(x, y, centre, width=usual, noise=signal.noise)
    odd = single.power > _FLAT or single.residual > _SKEW
    real = (
        odd and two.good and two.residual < 0.4 * single.residual and 0.8 < two.width / usual < 1.2
    )
    real = real and abs(two.centre[1] - two.centre[0]) > 0.3 * usual
    strong = two.height.min() > 0.05 * two.height.max() if real else False
    clear = single.residual * float(np.nan_to_num(single.height[0])) > 3 * signal.noise
    return two if real and strong and clear else None


def _features(
    signal: _Signal, profile: Profile, found: LineFit, window: tuple[int, int], blended: bool,
    guess: tuple[Floats, float, float],
) -> list[Feature]:  # fmt: skip
    """The lines of a fit; by their centres of gravity where it strayed from the maxima."""
    tops, at_half, usual = guess
    first, pixel = float(profile.x_m[0]), profile.pixel_m
    out = []
    for k in range(found.centre.size):
        centre, height, error = (
            float(v[k]) for v in (found.centre, found.height, found.centre_error)
        )
        top = float(tops[np.argmin(np.abs(tops - centre))]) if found.good else float(tops[0])
        fitted = found.good and abs(centre - top) < max(0.7 * found.width, 1.0)
        fitted = fitted and error < _LOOSE * found.width
        width = found.width if fitted else at_half
        astray, gain = 0.0, found.gain[k]
        if not fitted:
            height = float(signal.smooth[int(top)])
            centre = centre_of_gravity(signal.y, top, width / 2, window)
            astray = _BY_GRAVITY * max(width, usual)  # a shoulder's own width says nothing
            gain = template_gain(signal.y[slice(*window)])
            error = signal.noise * float(np.linalg.norm(gain))
        elif signal.kind == "dark":
            height = float(np.interp(centre, np.arange(signal.y.size), signal.y))
        gravity = centre_of_gravity(signal.y, centre, width, window)
        clipped = bool(profile.saturated[max(0, int(centre) - 1) : int(centre) + 2].any())
        bands = by_bands(profile, window[0], gain)
        noise = max(error, bands)
        if noise > _ASTRAY * max(width, usual) or not steady(
            profile, window[0], signal.y[slice(*window)]
        ):
            continue
        skew = _BLENDED * width
        if found.centre.size == 1:
            skew = 0.0 if clipped else abs(gravity - centre) / 2
        hidden = (_CLIPPED if clipped else _HIDDEN) * width
        if fitted and signal.kind == "bright" and not clipped:
            alone = bands or signal.noise * float(np.linalg.norm(gain))
            line = (centre - window[0], width)
            hidden = math.hypot(
                hidden, by_bisector(signal.y[slice(*window)], found.model, line, alone)
            )
        doubt = math.hypot(skew, astray, _FLOOR, hidden, _unseen(signal, centre, int(top), width))
        out.append(
            Feature(
                x_m=first + centre * pixel,
                x_noise_m=noise * pixel,
                x_doubt_m=doubt * pixel,
                height=height,
                width_m=width * pixel,
                blended=blended,
                saturated=clipped,
            )
        )
    return out


def _unseen(signal: _Signal, centre: float, top: int, width: float) -> float:
    """What no symmetric shape's residual shows of a position [samples].

    Dark lines stand among others, most of them unseen: what these move a line by shows where its
    deepest point is not its middle, and 3 % of its width stay hidden. Bright lines: see below.
    """
    if signal.kind == "bright":
        return in_one_sample(signal.y, centre, signal.noise)
    return math.hypot(summit(signal.smooth, top) - centre, _BLENDED * width)
