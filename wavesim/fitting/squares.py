"""Least squares: the engine against photographs, free keys and nuisances together.

Free beside the keys, for each photograph: its place along x (unless given), a background and a
gain for each channel; the tone curve follows by linear least squares (`tone`). Standard errors
are those of the keys with all nuisances left free, from the curvature at the best fit, scaled by
the misfit where it is larger than the noise, and by the length over which residuals agree.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wavesim.errors import ComputationError, InputError, WavesimError
from wavesim.fitting.fitted import MISFIT, Compared, Fit, Value, remarks_of
from wavesim.fitting.keys import FreeKey, changed, check_keys, free_key
from wavesim.fitting.model import Model
from wavesim.fitting.photograph import Pattern, Reading, read_photograph
from wavesim.fitting.search import SAMPLES, Search
from wavesim.fitting.tone import fitted_curve, fitted_linear, known_tone
from wavesim.scene import Plane, Scene

Floats = NDArray[np.float64]
Values = tuple[float, ...]

_COLUMNS = 1200  # of the engine's plate in the last step
_STEP = 3e-4  # of a logarithm, for derivatives
_RIVAL = 4.0  # rise of chi^2 over its own for one degree up to which a count fits as well
_MOST_RIVALS = 3
_BLOCKS = 24  # of a photograph, whose errors count as independent
_CORRELATED = 10.0  # samples that count as one, where rival counts are weighed
_FLOOR = 3e-3  # of full scale: accuracy of a picture's tone, beside its noise
_MONOCHROME = ("laser",)
CAMERA = 3e-3  # of a length: channels of cameras lie a few nanometres apart from sRGB's
_CAMERA_REMARK = (
    f"errors include {100 * CAMERA:.1g} % for the spectral sensitivities of the camera, which are "
    "taken for those of sRGB"
)


@dataclass(frozen=True, eq=False)
class _Problem:
    """Photographs with the engine behind each, and what is free."""

    keys: tuple[FreeKey, ...]
    patterns: tuple[Pattern, ...]
    models: tuple[Model, ...]

    @property
    def moved(self) -> tuple[FreeKey, ...]:
        """Keys that least squares moves: those that are not whole numbers."""
        return tuple(key for key in self.keys if not key.whole)

    def nuisances(self, pattern: Pattern) -> int:
        """Numbers free for one photograph."""
        place = 0 if pattern.radial or pattern.left_m is not None else 1
        channels = int(pattern.value.shape[1])
        if pattern.reading.tone == "fitted" and not pattern.linear:
            return place + 2 * channels - 1  # backgrounds, gains relative to the first
        return place


def fit(
    scene: Scene,
    photographs: Sequence[str | Path],
    free: Sequence[str],
    *,
    reading: Reading,
    progress: Callable[[str], None] | None = None,
) -> Fit:
    """Values of a scene's free keys that give what the photographs show.

    Parameters
    ----------
    scene : what is known; its values of the free keys are where the search starts, and may be
        wrong by a factor of two
    photographs : picture or plate files of this one bench
    free : "aperture.width", or with a range "aperture.width=20 um..60 um"
    reading : scale, place and tone of the pictures
    progress : told what is being done

    Raises
    ------
    InputError
        A key that cannot be fitted, a picture without a pattern, more free keys than it carries.
    ComputationError
        No values give a pattern like the picture's.
    """
    tell = progress or (lambda _: None)
    if not free:
        raise InputError("is missing", key="--free", expected='a key, such as "aperture.width"')
    keys = tuple(free_key(scene, text) for text in free)
    check_keys(scene, keys)
    tell("photographs")
    radial = isinstance(scene.aperture, Plane)
    patterns = tuple(
        _channels(read_photograph(path, reading, radial=radial), scene) for path in photographs
    )
    _check_enough(keys, patterns)
    tell("start values")
    coarse = tuple(_coarse(pattern) for pattern in patterns)
    search = _search(scene, keys, coarse)
    starts = search.best(keys)
    if search.judge(starts[0])[0] < 0:
        raise ComputationError("no values of the free keys give a pattern on the plate")
    tell("least squares")
    problem = _Problem(
        keys, patterns, tuple(Model(scene, keys, p, _columns(p, _COLUMNS)) for p in patterns)
    )
    return _finished(scene, problem, _refined(problem, search, starts))


def _search(scene: Scene, keys: tuple[FreeKey, ...], coarse: tuple[Pattern, ...]) -> Search:
    return Search(coarse, tuple(Model(scene, keys, p, _columns(p, SAMPLES)) for p in coarse))


def _channels(pattern: Pattern, scene: Scene) -> Pattern:
    """Of light of one wavelength, the channel that shows it best, alone."""
    if scene.source.kind not in _MONOCHROME or pattern.value.shape[1] == 1:
        return pattern
    power = np.where(pattern.usable, pattern.value, 0.0).std(axis=0) / pattern.noise.mean(axis=0)
    best = slice(int(np.argmax(power)), int(np.argmax(power)) + 1)
    return replace(
        pattern,
        value=pattern.value[:, best],
        noise=pattern.noise[:, best],
        usable=pattern.usable[:, best],
    )


def _coarse(pattern: Pattern) -> Pattern:
    """Fewer samples, for the search."""
    bins = max(1, pattern.x_m.size // SAMPLES)
    whole = pattern.x_m.size // bins * bins

    def mean(a: Floats) -> Floats:
        return np.asarray(a[:whole].reshape(-1, bins, *a.shape[1:]).mean(axis=1))

    return replace(
        pattern,
        x_m=mean(pattern.x_m),
        value=mean(pattern.value),
        noise=mean(pattern.noise),
        usable=mean(pattern.usable.astype(np.float64)) > 0.5,
        step_m=pattern.step_m * bins,
    )


def _columns(pattern: Pattern, most: int) -> int:
    """Samples of the engine: as fine as the photograph's, or as many as allowed."""
    if pattern.radial:
        return min(2 * pattern.x_m.size, 300 if most > SAMPLES else 160)
    wide = 1.04 if pattern.left_m is not None else 1.7
    return int(min(wide * pattern.x_m.size, wide * most))


def _check_enough(keys: tuple[FreeKey, ...], patterns: tuple[Pattern, ...]) -> None:
    samples = sum(int(pattern.usable.sum()) for pattern in patterns)
    if samples < 20 * len(keys):
        raise InputError(
            "frees more keys than the photographs carry",
            key="--free",
            value=len(keys),
            expected=f"at most {max(samples // 20, 1)}",
        )


@dataclass(frozen=True, eq=False)
class _Solution:
    values: Values  # of all keys, SI
    numbers: Floats  # moved keys as searched, then nuisances
    chi2: float
    freedom: int
    jacobian: Floats
    residual: Floats
    evaluations: int


def _refined(problem: _Problem, search: Search, starts: list[Values]) -> dict[Values, _Solution]:
    """Least squares from the best starts, and for rival counts; whole numbers -> solution."""
    found: dict[Values, _Solution] = {}
    queue = [*starts]
    best = None
    for values in queue:
        solution = _solved(problem, values, search.judge(values)[1])
        if solution is None:
            continue
        whole = _whole(problem, values)
        if whole not in found or solution.chi2 < found[whole].chi2:
            found[whole] = solution
        if best is None or solution.chi2 < best.chi2:
            best = solution
    if best is None:
        raise ComputationError("least squares found no values for which light reaches the plate")
    for values in _rivals(problem, best.values):
        if _whole(problem, values) not in found:
            solution = _solved(problem, values, search.judge(values)[1])
            if solution is not None:
                found[_whole(problem, values)] = solution
    return found


def _whole(problem: _Problem, values: Values) -> Values:
    return tuple(v for key, v in zip(problem.keys, values, strict=True) if key.whole)


def _rivals(problem: _Problem, values: Values) -> list[Values]:
    """The same with each whole number moved by one and two."""
    found = []
    for number, key in enumerate(problem.keys):
        for step in (-2, -1, 1, 2) if key.whole else ():
            value = values[number] + step
            if key.low <= value <= key.high:
                found.append((*values[:number], value, *values[number + 1 :]))
    return found


def _solved(problem: _Problem, start: Values, shifts: tuple[float, ...]) -> _Solution | None:
    from scipy.optimize import least_squares

    moved = [key.inner(v) for key, v in zip(problem.keys, start, strict=True) if not key.whole]
    low = [key.inner(key.low) for key in problem.moved]
    high = [key.inner(key.high) for key in problem.moved]
    steps = [
        _STEP * (1.0 if key.logarithmic else max(abs(key.high - key.low), 1e-30))
        for key in problem.moved
    ]
    numbers, scales = (
        [*moved],
        [0.01 if key.logarithmic else (key.high - key.low) / 100 for key in problem.moved],
    )
    for pattern, shift in zip(problem.patterns, shifts, strict=True):
        extra = problem.nuisances(pattern)
        placed = 0 if pattern.radial or pattern.left_m is not None else 1
        if placed:
            numbers.append(shift)
            low.append(shift - 0.1 * pattern.width_m)
            high.append(shift + 0.1 * pattern.width_m)
            steps.append(0.02 * pattern.step_m)
            scales.append(pattern.step_m)
        channels = pattern.value.shape[1]
        for kind in range(extra - placed):
            background = kind < channels
            numbers.append(-6.0 if background else 0.0)
            low.append(-14.0 if background else -3.0)
            high.append(0.0 if background else 3.0)
            steps.append(1e-3)
            scales.append(1.0 if background else 0.1)
    count = [0]

    def residual(p: Floats) -> Floats:
        count[0] += 1
        return _residual(problem, start, p)

    def jacobian(p: Floats) -> Floats:
        at = residual(p)
        columns = []
        for k, step in enumerate(steps):
            signed = step if p[k] + step < high[k] else -step
            q = p.copy()
            q[k] += signed
            columns.append((residual(q) - at) / signed)
        return np.stack(columns, axis=1)

    begin = np.clip(np.array(numbers), np.array(low) + 1e-12, np.array(high) - 1e-12)
    try:
        found = least_squares(
            residual,
            begin,
            jacobian,
            (low, high),
            x_scale=scales,
            loss="linear",
            max_nfev=40,
            xtol=1e-7,
            ftol=1e-7,
        )
    except (WavesimError, np.linalg.LinAlgError, ValueError):
        return None
    return _Solution(
        values=_values(problem, start, found.x),
        numbers=found.x,
        chi2=2 * float(found.cost),
        freedom=max(found.fun.size - found.x.size, 1),
        jacobian=np.asarray(found.jac),
        residual=found.fun,
        evaluations=count[0],
    )


def _values(problem: _Problem, start: Values, numbers: Floats) -> Values:
    moved = iter(numbers)
    return tuple(
        v if key.whole else key.outer(float(next(moved)))
        for key, v in zip(problem.keys, start, strict=True)
    )


def _residual(problem: _Problem, start: Values, numbers: Floats) -> Floats:
    """(photograph - fit) / noise at all usable samples."""
    parts = []
    for pattern, fitted in zip(problem.patterns, _fitted(problem, start, numbers), strict=True):
        value, noise = _wanted(pattern)
        parts.append(((value - fitted) / noise)[pattern.usable])
    return np.concatenate(parts)


def _wanted(pattern: Pattern) -> tuple[Floats, Floats]:
    """What is compared and its error: values as they are, or linear light of a known tone."""
    noise = np.hypot(pattern.noise, _FLOOR)
    if pattern.linear or pattern.reading.tone == "fitted":
        return pattern.value, noise
    light, slope = known_tone(pattern.reading.tone, pattern.value)
    return light, noise * np.maximum(slope, 0.05)


def _fitted(problem: _Problem, start: Values, numbers: Floats) -> list[Floats]:
    """(n, c) of each photograph, as `_wanted` has it."""
    values = _values(problem, start, numbers)
    rest = list(numbers[len(problem.moved) :])
    found = []
    for pattern, model in zip(problem.patterns, problem.models, strict=True):
        x, light = model.light(values)
        extra = problem.nuisances(pattern)
        mine, rest = rest[:extra], rest[extra:]
        placed = not (pattern.radial or pattern.left_m is not None)
        shift = mine[0] if placed else 0.0
        at = _at(pattern.x_m + shift, x, light, pattern.value.shape[1])
        found.append(_shown(pattern, at, mine[1:] if placed else mine))
    return found


def _at(wanted: Floats, x: Floats, light: Floats, channels: int) -> Floats:
    """(n, c) light at positions, by cubics; a single channel is the whole light."""
    from scipy.interpolate import CubicSpline

    whole = light if channels == 3 else light.sum(axis=1, keepdims=True)
    inside = np.clip(wanted, x[0], x[-1])
    return np.maximum(np.asarray(CubicSpline(x, whole, axis=0)(inside)), 0.0)


def _shown(pattern: Pattern, light: Floats, nuisances: list[float]) -> Floats:
    value, noise = _wanted(pattern)
    used = pattern.usable
    if pattern.linear or pattern.reading.tone != "fitted":
        columns = [
            _each(light[:, c], value[:, c], noise[:, c], used[:, c], fitted_linear)
            for c in range(light.shape[1])
        ]
        return np.stack(columns, axis=1)
    channels = light.shape[1]
    scale = max(float(light[used].max(initial=0.0)), 1e-300)
    backgrounds = np.exp(np.array(nuisances[:channels]))
    gains = np.exp(np.array([0.0, *nuisances[channels:]]))
    whole = light / scale * gains + backgrounds
    flat = _each(whole.ravel(), value.ravel(), noise.ravel(), used.ravel(), fitted_curve)
    return np.asarray(flat.reshape(value.shape))


def _each(
    light: Floats,
    value: Floats,
    noise: Floats,
    used: NDArray[np.bool_],
    solve: Callable[[Floats, Floats, Floats], Floats],
) -> Floats:
    """The best curve through the usable samples; the others get the nearest light's value."""
    fitted = np.zeros(value.size)
    if used.any():
        fitted[used] = solve(light[used], value[used], noise[used])
        order = np.argsort(light[used])
        rest = ~used
        fitted[rest] = np.interp(light[rest], light[used][order], fitted[used][order])
    return fitted


def _finished(scene: Scene, problem: _Problem, found: dict[Values, _Solution]) -> Fit:
    best = min(found.values(), key=lambda s: s.chi2)
    moved = len(problem.moved)
    covariance = _covariance(problem, best)[:moved, :moved]
    error = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    correlation = covariance / np.maximum(np.outer(error, error), 1e-300)
    errors = iter(error)
    values = []
    for number, (key, value) in enumerate(zip(problem.keys, best.values, strict=True)):
        sigma = float("nan") if key.whole else float(next(errors))
        if key.logarithmic and _unknown_camera(scene, problem):
            sigma = float(np.hypot(sigma, CAMERA))
        own = sigma * value if key.logarithmic else sigma
        others = _alternatives(problem, found, best, number) if key.whole else ()
        values.append(Value(key.key, key.unit, value, own, others))
    names = tuple(key.key for key in problem.moved)
    misfit = _misfit(problem, best)
    return Fit(
        title=scene.title,
        values=tuple(values),
        correlation=correlation,
        keys=names,
        misfit=misfit,
        fits=misfit < MISFIT,
        iterations=sum(s.evaluations for s in found.values()),
        compared=_compared(problem, best),
        scene=changed(scene, problem.keys, best.values),
        remarks=(
            *remarks_of(tuple(values), correlation, names, _at_limit(problem, best)),
            *((_CAMERA_REMARK,) if _unknown_camera(scene, problem) else ()),
        ),
    )


def _unknown_camera(scene: Scene, problem: _Problem) -> bool:
    """Whether colours of white light came through sensitivities that nobody told."""
    return scene.source.kind not in _MONOCHROME and not all(p.linear for p in problem.patterns)


def _at_limit(problem: _Problem, best: _Solution) -> list[str]:
    """Keys that ended at the edge of their range."""
    found = []
    for key, value in zip(problem.keys, best.values, strict=True):
        ends = (key.inner(key.low), key.inner(key.high))
        if not key.whole and min(abs(key.inner(value) - end) for end in ends) < 1e-3:
            found.append(key.key)
    return found


def _covariance(problem: _Problem, best: _Solution) -> Floats:
    """H^-1 (sum over blocks g g^T) H^-1 with H = J^T J and g = J^T r of each block.

    Robust against errors that neighbouring samples and channels share (White 1980, Econometrica
    48, 817, over clusters): 24 blocks along each photograph, n / (n - k) for their number.
    """
    inverse = np.linalg.pinv(best.jacobian.T @ best.jacobian)
    scores = best.jacobian * best.residual[:, None]
    blocks = _blocks(problem)
    count = int(blocks.max()) + 1
    summed = np.zeros((count, scores.shape[1]))
    np.add.at(summed, blocks, scores)
    few = count / max(count - len(problem.moved), 1)
    plain = inverse * max(best.chi2 / best.freedom, 0.0)
    robust = inverse @ (summed.T @ summed) @ inverse * few
    return np.asarray(robust if np.trace(robust) > np.trace(plain) else plain)


def _blocks(problem: _Problem) -> NDArray[np.intp]:
    """Number of the block that each used sample belongs to."""
    parts = []
    for number, pattern in enumerate(problem.patterns):
        n = pattern.x_m.size
        along = np.arange(n) * _BLOCKS // n + number * _BLOCKS
        parts.append(np.broadcast_to(along[:, None], pattern.usable.shape)[pattern.usable])
    return np.concatenate(parts)


def _alternatives(
    problem: _Problem, found: dict[Values, _Solution], best: _Solution, number: int
) -> tuple[int, ...]:
    """Other whole numbers of a key whose best fit is no worse than chance allows."""
    scale = max(best.chi2 / best.freedom, 0.05) * _CORRELATED
    others = {
        round(s.values[number])
        for s in found.values()
        if s.values[number] != best.values[number] and s.chi2 - best.chi2 < _RIVAL * scale
    }
    return tuple(sorted(others))[:_MOST_RIVALS]


def _misfit(problem: _Problem, best: _Solution) -> float:
    """rms difference of photographs and fit over the spread of the photographs."""
    difference, spread = 0.0, 0.0
    fitted = _fitted(problem, best.values, best.numbers)
    for pattern, shown in zip(problem.patterns, fitted, strict=True):
        value, _ = _wanted(pattern)
        difference += float((((value - shown) ** 2)[pattern.usable]).sum())
        spread += float((((value - value[pattern.usable].mean()) ** 2)[pattern.usable]).sum())
    return float(np.sqrt(difference / max(spread, 1e-300)))


def _compared(problem: _Problem, best: _Solution) -> tuple[Compared, ...]:
    rest = list(best.numbers[len(problem.moved) :])
    found = []
    for pattern, shown in zip(
        problem.patterns, _fitted(problem, best.values, best.numbers), strict=True
    ):
        extra = problem.nuisances(pattern)
        placed = not (pattern.radial or pattern.left_m is not None)
        shift = rest[0] if placed else 0.0
        rest = rest[extra:]
        found.append(Compared(pattern, pattern.x_m, shown, float(shift)))
    return tuple(found)
