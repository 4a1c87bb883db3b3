"""Start values, from no closer than a factor of two: scans of one key after the other.

Each candidate is judged by the correlation of the photograph with the engine's pattern, both
encoded, over all shifts of one against the other and some exposures. Beside an even grid, each
key is tried where it brings the fringes' spacing to the photograph's. The best few of each scan go
on to the scan of the next key; steps become finer from round to round. Ruling errors are left to
`errors`: their ghosts are too faint to tell here.
"""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats
from wavesim.colorimetry.spaces import encode
from wavesim.errors import WavesimError
from wavesim.fitting.bench import BenchModel
from wavesim.fitting.keys import FreeKey
from wavesim.fitting.photograph import PhotographPattern

Values = tuple[float, ...]

_BEAM = 3  # candidates that go on
_ALIKE = 0.04  # of a key's range: nearer candidates lie in one valley
_STEPS = (19, 9, 5)  # values of a key in each round
_NARROWER = (1.0, 0.16, 0.04)  # part of the key's range searched in each round
_STOPS = (0.0, 2.0, 4.0, 6.0)  # exposures beyond the brightest point white
_MORE_STOPS = (8.0, 10.0, 12.0)  # of lines with ghosts
_TINY = 1e-12
_FILLED = (0.25, 0.5, 0.75)  # parts of the pitch that a width takes
_HARMONICS = 3  # periods of the photograph that are tried


class Search:
    """Judges candidates against patterns.

    Parameters
    ----------
    patterns : of the photographs, coarse ones
    models : the engine's light for each
    """

    def __init__(
        self, patterns: tuple[PhotographPattern, ...], models: tuple[BenchModel, ...]
    ) -> None:
        self._patterns, self._models = patterns, models
        self._known: dict[Values, tuple[float, tuple[float, ...]]] = {}

    def judge(self, values: Values) -> tuple[float, tuple[float, ...]]:
        """Mean correlation, and the shift [m] of each photograph that gives it."""
        if values not in self._known:
            self._known[values] = self._judged(values)
        return self._known[values]

    def _judged(self, values: Values) -> tuple[float, tuple[float, ...]]:
        found, shifts = [], []
        for pattern, model in zip(self._patterns, self._models, strict=True):
            try:
                curve = model.light(values)
            except (WavesimError, ValueError):
                return -1.0, (0.0,) * len(self._patterns)
            stops = (*_STOPS, *_MORE_STOPS) if model.defective else _STOPS
            best, shift = correlation(pattern, curve.x_m, curve.rgb / curve.top, stops)
            found.append(best)
            shifts.append(shift)
        return float(np.mean(found)), tuple(shifts)

    def best(self, keys: tuple[FreeKey, ...]) -> list[Values]:
        """The best candidates, the best one first."""
        start = tuple(key.start for key in keys)
        order = self._order(keys, start)
        paired = self._paired(keys, start)
        beam = _apart(sorted({start, *paired}, key=lambda v: (-self.judge(v)[0], v)), keys)
        for steps, part in zip(_STEPS, _NARROWER, strict=True):
            for number in order if part == 1.0 else dict.fromkeys(order):
                tried = {
                    _with(values, number, value)
                    for rank, values in enumerate(beam)
                    for value in self._tried(keys[number], number, values, steps, part, rank)
                }
                ranked = sorted({*tried, *beam}, key=lambda v: (-self.judge(v)[0], v))
                beam = _apart(ranked, keys)
        return beam

    def _paired(self, keys: tuple[FreeKey, ...], start: Values) -> list[Values]:
        """Width and pitch moved together: a width that is too large forbids the right pitch."""
        named = {key.key: number for number, key in enumerate(keys)}
        width, pitch = (named.get(f"aperture.{name}") for name in ("width", "pitch"))
        if width is None or pitch is None:
            return []
        found = []
        for p in self._by_spacing(pitch, start, near=False):
            for part in _FILLED:
                values = _with(_with(start, pitch, p), width, part * p)
                if all(k.low <= v <= k.high for k, v in zip(keys, values, strict=True)):
                    found.append(values)
        return found

    def _order(self, keys: tuple[FreeKey, ...], start: Values) -> list[int]:
        """The key that betters the agreement most is scanned first, and once more at the end."""
        gain = {}
        for number, key in enumerate(keys):
            if key.of_error:
                continue
            tried = self._tried(key, number, start, _STEPS[0], 1.0, 0)
            gain[number] = max(self.judge(_with(start, number, value))[0] for value in tried)
        order = sorted(gain, key=lambda n: -gain[n])
        return [*order, order[0]] if len(order) > 1 else order

    def _tried(
        self, key: FreeKey, number: int, values: Values, steps: int, part: float, rank: int
    ) -> list[float]:
        """Values of a key on a grid, and those that the photograph proposes."""
        wide = part == 1.0
        grid = _scan(key, values[number], steps, part) if rank == 0 or not wide or key.whole else []
        if not key.logarithmic:
            return grid
        proposed = self._by_spacing(number, values, near=not wide)
        return [*grid, *(v for v in proposed if key.low <= v <= key.high)]

    def _by_spacing(self, number: int, values: Values, *, near: bool) -> list[float]:
        """A pattern's spacing goes with most lengths or against them: both are tried.

        Sharp lines have many harmonics, of which another one may be the strongest in the
        photograph; once they nearly agree, the same one is compared (`near`).
        """
        pattern = self._patterns[0]
        try:
            curve = self._models[0].light(values)
        except (WavesimError, ValueError):
            return []
        wanted = spacings(pattern.x_m, pattern.value.sum(axis=1))
        shown = np.asarray(encode(np.minimum(4 * curve.rgb / curve.top, 1.0))).sum(axis=1)
        autocorrelation = spacings(curve.x_m, shown, near=wanted[0] if near and wanted else 0.0)
        if not wanted or not autocorrelation:
            return []
        ratios = [w / autocorrelation[0] for w in (wanted[:1] if near else wanted)]
        ratios += [] if near else [0.99 * ratios[0], 1.01 * ratios[0]]
        return [values[number] * float(r) ** sign for r in ratios for sign in (1, -1)]


def spacings(x_m: Floats, value: Floats, near: float = 0.0) -> list[float]:
    """Periods [m] of a pattern: the distance of its lines, then its strongest harmonics.

    Harmonics from the spectrum of the slope under a Hann window, peaks by parabolas; the distance
    of lines is a multiple of the strongest one, found by the autocorrelation. None where there are
    none. With `near`, the strongest harmonic within a tenth of that period.
    """
    slope = np.gradient(value) * np.hanning(value.size)
    power = np.abs(np.fft.rfft(slope, 8 * value.size)) ** 2
    low = 24  # three periods in the picture
    if power.size <= low + 2:
        return []
    whole = 8 * value.size * float(x_m[1] - x_m[0])
    inner = power[low:-1].copy()
    if near:
        indices = np.arange(low, power.size - 1)
        inner[np.abs(indices * near / whole - 1) > 0.1] = 0.0
    found: list[float] = []
    while len(found) < (1 if near else _HARMONICS):
        k = low + int(np.argmax(inner))
        if not inner[k - low] > 0.05 * power[low:-1].max():
            break
        found.append(whole / _peak(power, k))
        inner[max(k - low - 24, 0) : k - low + 25] = 0.0
    return found if near or not found else _with_fundamental(found, x_m, value)


def _with_fundamental(found: list[float], x_m: Floats, value: Floats) -> list[float]:
    """The strongest harmonic's multiple that is the distance of lines, and the harmonics."""
    from scipy.signal import find_peaks

    v = value - value.mean()
    n = v.size
    power = np.abs(np.fft.rfft(v, 2 * n)) ** 2
    autocorrelation = np.fft.irfft(power)[: n // 2] / (n - np.arange(n // 2))
    peaks, properties = find_peaks(
        autocorrelation / autocorrelation[0], prominence=0.05, height=0.1
    )
    if not peaks.size:
        return found
    first = peaks[properties["peak_heights"] >= 0.7 * properties["peak_heights"].max()][0]
    lag = float(first * (x_m[1] - x_m[0]))
    distance = max(round(lag / found[0]), 1) * found[0]
    return [distance if abs(distance / lag - 1) < 0.1 else lag, *found[: _HARMONICS - 1]]


def _peak(power: Floats, k: int) -> float:
    """Where the logarithm of the power has its peak, by a parabola through three samples."""
    a, b, c = np.log(power[k - 1 : k + 2] + _TINY)
    bend = a - 2 * b + c
    return float(k + (0.5 * (a - c) / bend if bend < 0 else 0.0))


def _with(values: Values, number: int, value: float) -> Values:
    return (*values[:number], value, *values[number + 1 :])


def _scan(key: FreeKey, near: float, steps: int, part: float) -> list[float]:
    """Values of a key about one of its values."""
    if key.whole:
        reach = max(2, round(part * (key.high - key.low)))
        low, high = max(key.low, near - reach), min(key.high, near + reach)
        values = np.unique(np.round(np.linspace(low, high, min(steps, int(high - low) + 1))))
        return [float(v) for v in values]
    low, high = key.inner(key.low), key.inner(key.high)
    half = part * (high - low) / (1 if part == 1.0 else 2)
    middle = key.inner(near)
    grid = np.linspace(max(low, middle - half), min(high, middle + half), steps)
    return [key.outer(float(v)) for v in grid]


def _apart(ranked: list[Values], keys: tuple[FreeKey, ...]) -> list[Values]:
    """The first few that are not next to a better one."""
    chosen: list[Values] = []
    for values in ranked:
        if all(_distance(values, other, keys) > _ALIKE for other in chosen):
            chosen.append(values)
        if len(chosen) == _BEAM:
            break
    return chosen


def _distance(a: Values, b: Values, keys: tuple[FreeKey, ...]) -> float:
    spans = (key.inner(key.high) - key.inner(key.low) for key in keys)
    return max(
        abs(key.inner(p) - key.inner(q)) / span
        for key, p, q, span in zip(keys, a, b, spans, strict=True)
    )


def correlation(
    pattern: PhotographPattern, x_m: Floats, light: Floats, exposures: tuple[float, ...] = _STOPS
) -> tuple[float, float]:
    """Largest correlation of a photograph's values with encoded light, and its shift [m].

    The shift is what has to be added to the photograph's positions; 0 where they are known.
    """
    step = pattern.step_m
    fixed = pattern.radial or pattern.left_m is not None
    grid = np.arange(float(x_m[0]), float(x_m[-1]), step)
    wanted = pattern.x_m if fixed else grid
    if pattern.value.shape[1] == 1:  # grey: all of the light
        light = light.sum(axis=1, keepdims=True)
        light = light / max(float(light.max()), _TINY)
    best, where = -1.0, 0.0
    channels = [k for k in range(pattern.value.shape[1]) if np.ptp(pattern.value[:, k]) > 0.01]
    for stops in exposures:
        scores = []
        for channel in channels:
            bright = np.interp(wanted, x_m, light[:, channel]) * 2.0**stops
            shown = encode(np.minimum(bright, 1.0))
            scores.append(_scores(pattern.value[:, channel], np.asarray(shown), fixed))
        total = np.mean(scores, axis=0)
        k = int(np.argmax(total))
        if total[k] > best:
            best = float(total[k])
            where = 0.0 if fixed else float(grid[k] + _beside(total, k) * step - pattern.x_m[0])
    return best, where


def _beside(total: Floats, k: int) -> float:
    """How far [samples] the peak of a parabola through three scores lies from the middle one."""
    if not 0 < k < total.size - 1:
        return 0.0
    a, b, c = total[k - 1 : k + 2]
    return float(0.5 * (a - c) / (a - 2 * b + c)) if a - 2 * b + c < 0 else 0.0


def _scores(value: Floats, shown: Floats, fixed: bool) -> Floats:
    """Pearson's coefficient of `value` with every stretch of `shown` of its length."""
    v = value - value.mean()
    norm = float(np.sqrt((v**2).sum())) + _TINY
    if fixed:
        s = shown - shown.mean()
        return np.array([float((v * s).sum()) / (norm * (float(np.sqrt((s**2).sum())) + _TINY))])
    n, m = v.size, shown.size
    if m < n:
        shown = np.pad(shown, (0, n - m + 1), mode="edge")
        m = shown.size
    size = 1 << (n + m - 1).bit_length()
    product = np.fft.irfft(np.fft.rfft(shown, size) * np.conj(np.fft.rfft(v, size)), size)
    total = np.cumsum(np.concatenate([[0.0], shown]))
    squares = np.cumsum(np.concatenate([[0.0], shown**2]))
    mean = (total[n:] - total[:-n]) / n
    spread = np.maximum((squares[n:] - squares[:-n]) - n * mean**2, 0.0)
    return np.asarray(product[: m - n + 1] / (norm * (np.sqrt(spread) + 1e-6)))
