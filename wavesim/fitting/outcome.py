"""What a solution of least squares is worth: errors, rivals, misfit, and what is shown of it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from wavesim.fitting.fitted import MISFIT, Compared, Fit, Value, remarks_of
from wavesim.fitting.keys import changed
from wavesim.fitting.squares import MONOCHROME, Problem, Solution, fitted_values, wanted
from wavesim.scene import Scene

Floats = NDArray[np.float64]
Values = tuple[float, ...]

_RIVAL = 4.0  # rise of chi^2 over its own for one degree up to which a count fits as well
_MOST_RIVALS = 3
_BLOCKS = 24  # of a photograph, whose errors count as independent
_CORRELATED = 10.0  # samples that count as one, where rival counts are weighed
CAMERA = 3e-3  # of a length: channels of cameras lie a few nanometres apart from sRGB's
_ROWS, _RINGS = 5e-5, 3e-4  # of a length: resampling of turned rows, of rings (fit_coverage)
_CAMERA_REMARK = (
    f"errors include {100 * CAMERA:.1g} % for the spectral sensitivities of the camera, which are "
    "taken for those of sRGB"
)


def finished(scene: Scene, problem: Problem, found: dict[Values, Solution]) -> Fit:
    best = min(found.values(), key=lambda s: s.chi2)
    moved = len(problem.moved)
    covariance = _covariance(problem, best)[:moved, :moved]
    error = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    correlation = covariance / np.maximum(np.outer(error, error), 1e-300)
    errors = iter(error)
    values = []
    for number, (key, value) in enumerate(zip(problem.keys, best.values, strict=True)):
        sigma = float("nan") if key.whole else float(next(errors))
        if key.logarithmic:
            sigma = float(np.hypot(sigma, _floor(scene, problem)))
        own = sigma * value if key.logarithmic else sigma
        others = _alternatives(found, best, number) if key.whole else ()
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


def _floor(scene: Scene, problem: Problem) -> float:
    """Relative error of a length that no residual shows: camera, resampling of rows or rings."""
    if _unknown_camera(scene, problem):
        return CAMERA
    return _RINGS if any(pattern.radial for pattern in problem.patterns) else _ROWS


def _unknown_camera(scene: Scene, problem: Problem) -> bool:
    """Whether colours of white light came through sensitivities that nobody told."""
    return scene.source.kind not in MONOCHROME and not all(p.linear for p in problem.patterns)


def _at_limit(problem: Problem, best: Solution) -> list[str]:
    """Keys that ended at the edge of their range."""
    found = []
    for key, value in zip(problem.keys, best.values, strict=True):
        ends = (key.inner(key.low), key.inner(key.high))
        if not key.whole and min(abs(key.inner(value) - end) for end in ends) < 1e-3:
            found.append(key.key)
    return found


def _covariance(problem: Problem, best: Solution) -> Floats:
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


def _blocks(problem: Problem) -> NDArray[np.intp]:
    """Number of the block that each used sample belongs to."""
    parts = []
    for number, pattern in enumerate(problem.patterns):
        n = pattern.x_m.size
        along = np.arange(n) * _BLOCKS // n + number * _BLOCKS
        parts.append(np.broadcast_to(along[:, None], pattern.usable.shape)[pattern.usable])
    return np.concatenate(parts)


def _alternatives(found: dict[Values, Solution], best: Solution, number: int) -> tuple[int, ...]:
    """Other whole numbers of a key whose best fit is no worse than chance allows."""
    scale = max(best.chi2 / best.freedom, 0.05) * _CORRELATED
    others = {
        round(s.values[number])
        for s in found.values()
        if s.values[number] != best.values[number] and s.chi2 - best.chi2 < _RIVAL * scale
    }
    return tuple(sorted(others))[:_MOST_RIVALS]


def _misfit(problem: Problem, best: Solution) -> float:
    """rms difference of photographs and fit over the spread of the photographs."""
    difference, spread = 0.0, 0.0
    fitted = fitted_values(problem, best.values, best.numbers)
    for pattern, shown in zip(problem.patterns, fitted, strict=True):
        value, _ = wanted(pattern)
        difference += float((((value - shown) ** 2)[pattern.usable]).sum())
        spread += float((((value - value[pattern.usable].mean()) ** 2)[pattern.usable]).sum())
    return float(np.sqrt(difference / max(spread, 1e-300)))


def _compared(problem: Problem, best: Solution) -> tuple[Compared, ...]:
    rest = list(best.numbers[len(problem.moved) :])
    found = []
    for pattern, shown in zip(
        problem.patterns, fitted_values(problem, best.values, best.numbers), strict=True
    ):
        extra = problem.nuisances(pattern)
        placed = not (pattern.radial or pattern.left_m is not None)
        shift = rest[0] if placed else 0.0
        rest = rest[extra:]
        found.append(Compared(pattern, pattern.x_m, shown, float(shift)))
    return tuple(found)
