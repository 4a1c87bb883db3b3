"""Least squares: the engine against photographs, free keys and nuisances together.

The tone curve follows from the other numbers by linear least squares (`tone`). Photographs of one
camera may share it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.errors import ComputationError, WavesimError
from wavesim.fitting.bench import BenchModel
from wavesim.fitting.keys import FreeKey
from wavesim.fitting.nuisances import FreeNumber, Nuisances
from wavesim.fitting.photograph import PhotographPattern
from wavesim.fitting.search import Search
from wavesim.fitting.tone import fitted_curve, fitted_linear, known_tone

Values = tuple[float, ...]

_STEP = 3e-4  # of a logarithm, for derivatives
_FLOOR = 3e-3  # of full scale: accuracy of a picture's tone, beside its noise
_FIRST, _MOST = 12, 40  # evaluations of a start that is only tried, and of the best one
_FAR = 0.1  # of correlation, by which a rival may lie below before it is refined
_WORTH = 1.5  # times the best chi^2, up to which a start that was tried is followed to its end
_AMPLITUDES = (0.7, 1.6)  # of a ruling error's start, where its period is sought
_PERIODS, _MOST_PERIODS = 6, 400  # followed to their end, looked at
MONOCHROME = ("laser",)


@dataclass(frozen=True, eq=False)
class FitProblem:
    """Photographs with the engine behind each, and what is free.

    Attributes
    ----------
    keys : free keys
    nuisances, models : of each photograph
    groups : numbers of the photographs that share a tone curve
    """

    keys: tuple[FreeKey, ...]
    nuisances: tuple[Nuisances, ...]
    models: tuple[BenchModel, ...]
    groups: tuple[tuple[int, ...], ...]

    @property
    def patterns(self) -> tuple[PhotographPattern, ...]:
        """Of the photographs."""
        return tuple(n.pattern for n in self.nuisances)

    @property
    def moved(self) -> tuple[FreeKey, ...]:
        """Keys that least squares moves: those that are not whole numbers."""
        return tuple(key for key in self.keys if not key.whole)

    def whole(self, values: Values) -> Values:
        """The values of those that are."""
        return tuple(v for key, v in zip(self.keys, values, strict=True) if key.whole)

    def parts(self, numbers: Floats) -> list[Floats]:
        """Each photograph's nuisances, of all numbers that are moved."""
        sizes = [len(n.names) for n in self.nuisances]
        return np.split(numbers[len(self.moved) :], np.cumsum(sizes)[:-1])


@dataclass(frozen=True, eq=False)
class FitSolution:
    """Where least squares ended.

    Attributes
    ----------
    values : of all keys [SI]
    numbers : moved keys as searched, then nuisances
    chi2, freedom : sum of squares, samples less numbers
    jacobian, residual : of the samples alone, then of what nuisances are expected to be
    samples : how many of the rows are samples
    evaluations : of the residuals
    ended : whether least squares came to its end
    """

    values: Values
    numbers: Floats
    chi2: float
    freedom: int
    jacobian: Floats
    residual: Floats
    samples: int
    evaluations: int
    ended: bool


def refined(problem: FitProblem, search: Search, starts: list[Values]) -> list[FitSolution]:
    """Ends of least squares from the best starts, from twins and for rival counts; best first."""
    found: list[FitSolution] = []
    for values in starts:
        _try(problem, search, values, found)
    if not found:
        raise ComputationError("least squares found no values with which light reaches the plate")
    for number, key in enumerate(problem.keys):
        if key.is_error_period:
            _try_periods(problem, search, number, found)
    best = min(found, key=lambda s: s.chi2).values
    for values in _rivals(problem, best):
        if search.judge(values)[0] > search.judge(best)[0] - _FAR:
            _try(problem, search, values, found)
    return sorted(found, key=lambda s: s.chi2)


def _try_periods(
    problem: FitProblem, search: Search, number: int, found: list[FitSolution]
) -> None:
    """Least squares from the periods of a ruling error that fit best with all else as found."""
    best = min(found, key=lambda s: s.chi2)
    beside = problem.keys[number].key.removesuffix("period") + "amplitude"
    strong = next((k for k, key in enumerate(problem.keys) if key.key == beside), None)
    ranked = []
    for period in _periods(problem, number, best.values):
        values = _with(best.values, number, float(period))
        for amplitude in _amplitudes(problem, strong):
            ranked.append(values if strong is None else _with(values, strong, amplitude))
    ranked.sort(key=lambda values: (-search.judge(values)[0], values))
    tried: list[float] = []
    for values in ranked:
        if len(tried) < _PERIODS and all(abs(values[number] / p - 1) > 0.03 for p in tried):
            tried.append(values[number])
            _try(problem, search, values, found)


def _amplitudes(problem: FitProblem, strong: int | None) -> list[float]:
    """Those of a ruling error that are tried with each period."""
    if strong is None:
        return [0.0]
    key = problem.keys[strong]
    return [float(np.clip(key.start * f, key.low, key.high)) for f in _AMPLITUDES]


def _periods(problem: FitProblem, number: int, values: Values) -> Floats:
    """Periods of a ruling error whose ghosts stand a fifth of a line apart."""
    key, scene = problem.keys[number], problem.models[0].scene(values)
    aperture = scene.aperture
    pitch, rulings = aperture.mean_pitch_m or 1.0, getattr(aperture, "rulings", 0) or 100
    scale = pitch if key.unit else 1.0
    low, high = scale / key.high, scale / key.low  # of an order
    count = min(max(int((high - low) * 5 * rulings), 20), _MOST_PERIODS)
    return np.asarray(scale / np.linspace(low, high, count))


def _try(problem: FitProblem, search: Search, values: Values, found: list[FitSolution]) -> None:
    """A few steps from a start; on to the end where that may be worth it."""
    free = _free(problem, values, search.judge(values)[1])
    first = _solved(problem, values, free, _FIRST)
    if first is None:
        return
    best = min((s.chi2 for s in found), default=np.inf)
    if first.chi2 < _WORTH * best and not first.ended:
        first = _solved(problem, values, free, _MOST, first.numbers) or first
    found.append(first)


def _rivals(problem: FitProblem, values: Values) -> list[Values]:
    """Each whole number moved by one and two; each width changed for what it leaves of its pitch.

    Slits and wires of the same pitch that change places give the same orders, the zero one apart
    (Babinet; Born & Wolf 8.3.2).
    """
    found = []
    for number, key in enumerate(problem.keys):
        steps = (values[number] + step for step in ((-2, -1, 1, 2) if key.whole else ()))
        found += [_with(values, number, v) for v in (*steps, *_twin(problem, values, number))
                  if key.low <= v <= key.high]  # fmt: skip
    return found


def _twin(problem: FitProblem, values: Values, number: int) -> list[float]:
    """The width that leaves as much of the pitch as this one takes."""
    if problem.keys[number].key != "aperture.width":
        return []
    pitch = getattr(problem.models[0].scene(values).aperture, "pitch_m", None)
    return [pitch - values[number]] if pitch and pitch > values[number] else []


def _with(values: Values, number: int, value: float) -> Values:
    return (*values[:number], value, *values[number + 1 :])


def _of_key(key: FreeKey, value: float) -> FreeNumber:
    low, high = key.inner(key.low), key.inner(key.high)
    if key.logarithmic:
        return FreeNumber(key.inner(value), low, high, _STEP, 0.01)
    return FreeNumber(key.inner(value), low, high, _STEP * (high - low), (high - low) / 100)


def _free(problem: FitProblem, start: Values, shifts: tuple[float, ...]) -> list[FreeNumber]:
    """All numbers that are moved, begun at a start and at the shifts [m] found with it."""
    free = [_of_key(k, v) for k, v in zip(problem.keys, start, strict=True) if not k.whole]
    for k, nuisances in enumerate(problem.nuisances):
        free += nuisances.numbers(shifts[k])
    return free


def _solved(
    problem: FitProblem,
    start: Values,
    free: list[FreeNumber],
    most: int,
    begin: Floats | None = None,
) -> FitSolution | None:
    """Least squares from one start; None where no light reaches the plate on the way."""
    from scipy.optimize import least_squares

    low, high = (np.array([getattr(n, end) for n in free]) for end in ("low", "high"))
    count = [0]

    def residual(p: Floats) -> Floats:
        count[0] += 1
        return _residual(problem, start, p, free)

    def jacobian(p: Floats) -> Floats:
        start, columns = residual(p), []
        for k, number in enumerate(free):
            signed = number.step if p[k] + number.step < high[k] else -number.step
            q = p.copy()
            q[k] += signed
            columns.append((residual(q) - start) / signed)
        return np.stack(columns, axis=1)

    first = np.array([n.begin for n in free]) if begin is None else begin
    first = np.clip(first, low + 1e-12, high - 1e-12)
    try:
        found = least_squares(
            residual, first, jacobian, (low, high), x_scale=[n.size for n in free], max_nfev=most,
            xtol=1e-7, ftol=1e-6,
        )  # fmt: skip
    except (WavesimError, np.linalg.LinAlgError, ValueError):
        return None
    samples = sum(int(p.usable.sum()) for p in problem.patterns)
    return FitSolution(
        values=_values(problem, start, found.x),
        numbers=found.x,
        chi2=2 * float(found.cost),
        freedom=max(samples - found.x.size, 1),
        jacobian=np.asarray(found.jac),
        residual=found.fun,
        samples=samples,
        evaluations=count[0],
        ended=found.status != 0,
    )


def _values(problem: FitProblem, start: Values, numbers: Floats) -> Values:
    moved = iter(numbers)
    return tuple(
        v if key.whole else key.outer(float(next(moved)))
        for key, v in zip(problem.keys, start, strict=True)
    )


def _residual(
    problem: FitProblem, start: Values, numbers: Floats, free: list[FreeNumber]
) -> Floats:
    """(photograph - fit) / noise at all usable samples, then what is expected of nuisances."""
    parts = []
    shown = fitted_values(problem, start, numbers)
    for pattern, fitted in zip(problem.patterns, shown, strict=True):
        value, noise = wanted(pattern)
        parts.append(((value - fitted) / noise)[pattern.usable])
    expected = [
        (v - n.usual) / n.tolerance for v, n in zip(numbers, free, strict=True) if n.tolerance
    ]
    return np.concatenate([*parts, np.array(expected)])


def wanted(pattern: PhotographPattern) -> tuple[Floats, Floats]:
    """What is compared and its error: values as they are, or linear light of a known tone."""
    noise = np.hypot(pattern.noise, _FLOOR)
    if pattern.linear or pattern.reading.tone == "fitted":
        return pattern.value, noise
    light, slope = known_tone(pattern.reading.tone, pattern.value)
    return light, noise * np.maximum(slope, 0.05)


def fitted_values(problem: FitProblem, start: Values, numbers: Floats) -> list[Floats]:
    """(n, c) of each photograph, as `wanted` has it."""
    values = _values(problem, start, numbers)
    parts = problem.parts(numbers)
    light = [
        nuisances.light(model.light(values), part)
        for nuisances, model, part in zip(problem.nuisances, problem.models, parts, strict=True)
    ]
    found: dict[int, Floats] = {}
    for group in problem.groups:
        shown = _shown(problem, group, [light[k] for k in group], [parts[k] for k in group])
        found.update(zip(group, shown, strict=True))
    return [found[k] for k in range(len(light))]


def _shown(
    problem: FitProblem, group: tuple[int, ...], light: list[Floats], parts: list[Floats]
) -> list[Floats]:
    """The light of photographs that share a tone curve, through the best one."""
    members = [problem.nuisances[k] for k in group]
    compared = [wanted(m.pattern) for m in members]
    used = [m.pattern.usable for m in members]
    if not members[0].tone_fitted:
        columns = [
            _each(light[0][:, c], compared[0][0][:, c], compared[0][1][:, c], used[0][:, c],
                  fitted_linear)
            for c in range(light[0].shape[1])
        ]  # fmt: skip
        return [np.stack(columns, axis=1)]
    scale = max(float(light[0][used[0]].max(initial=0.0)), 1e-300)
    flat = []
    for nuisances, bright, part in zip(members, light, parts, strict=True):
        exposure = float(np.exp(nuisances.values_of(part, "exposure").sum()))
        gains = np.exp(np.concatenate([[0.0], nuisances.values_of(part, "gain")]))
        background = np.exp(nuisances.values_of(part, "background"))
        flat.append((bright / scale * (gains * exposure) + background).ravel())
    whole = _each(
        np.concatenate(flat),
        np.concatenate([value.ravel() for value, _ in compared]),
        np.concatenate([noise.ravel() for _, noise in compared]),
        np.concatenate([u.ravel() for u in used]),
        fitted_curve,
    )
    split = np.split(whole, np.cumsum([f.size for f in flat])[:-1])
    return [part.reshape(m.pattern.value.shape) for part, m in zip(split, members, strict=True)]


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
