"""What least-squares solutions are worth: errors, rivals, residual, and what is shown of them."""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Floats, Indices
from wavesim.fitting.fitted import MISFIT, Fit, FittedPhotograph, FittedValue
from wavesim.fitting.keys import changed
from wavesim.fitting.remarks import Findings, remarks_of
from wavesim.fitting.squares import MONOCHROME, FitProblem, FitSolution, fitted_values, wanted
from wavesim.light import cautions
from wavesim.scene import Scene

_RIVAL = 4.0  # rise of chi^2 over its own for one degree up to which values fit as well
_MOST_RIVALS = 3
_APART = 0.02  # of a value: solutions nearer than that are one
_BLOCKS = 24  # of a photograph, whose errors count as independent
_CORRELATED = 10.0  # samples that count as one, where rivals are weighed
CAMERA = 3e-3  # of a length: channels of cameras lie a few nanometres apart from sRGB's
_ROWS, _RINGS = 2.5e-5, 1.2e-4  # of a length: resampling of turned rows, of rings (fit_coverage)


def finished(scene: Scene, problem: FitProblem, found: list[FitSolution]) -> Fit:
    """The best solution (`found` has it first) with its errors and rivals."""
    best = found[0]
    moved = len(problem.moved)
    covariance = _covariance(problem, best)[:moved, :moved]
    error = np.sqrt(np.maximum(np.diag(covariance), 0.0))
    curvature = _inverse(best.jacobian)[:moved, :moved]
    plain = np.sqrt(np.maximum(np.diag(curvature), 1e-300))
    correlation = curvature / np.outer(plain, plain)
    rivals = _rivals(found)
    values = _values(scene, problem, best, error, rivals)
    residual = _relative_residual(problem, best)
    findings = Findings(
        values=values,
        correlation=correlation,
        keys=tuple(key.key for key in problem.moved),
        at_limit=_at_limit(problem, best),
        rivals=tuple(
            dict(zip((k.key for k in problem.keys), s.values, strict=True)) for s in rivals
        ),
        camera=CAMERA if _unknown_camera(scene, problem) else 0.0,
        apertures=scene.aperture.kind,
        pitch_m=scene.aperture.mean_pitch_m,
    )
    return Fit(
        title=scene.title,
        values=values,
        correlation=correlation,
        keys=findings.keys,
        rivals=findings.rivals,
        residual=residual,
        fits=residual < MISFIT,
        iterations=sum(s.evaluations for s in found),
        compared=_compared(problem, best),
        scene=changed(scene, problem.keys, best.values),
        remarks=remarks_of(findings),
        cautions=cautions(scene.source),
    )


def _values(
    scene: Scene,
    problem: FitProblem,
    best: FitSolution,
    error: Floats,
    rivals: list[FitSolution],
) -> tuple[FittedValue, ...]:
    errors, found = iter(error), []
    for number, (key, value) in enumerate(zip(problem.keys, best.values, strict=True)):
        sigma = float("nan") if key.whole else float(next(errors))
        if key.logarithmic:
            sigma = float(np.hypot(sigma, _floor(scene, problem))) * value
        others = tuple(
            sorted({s.values[number] for s in rivals if _differ(s.values[number], value)})
        )
        unit = "rulings" if key.is_error_period and not key.unit else key.unit
        found.append(FittedValue(key.key, unit, value, sigma, others))
    return tuple(found)


def _differ(a: float, b: float) -> bool:
    return abs(a - b) > _APART * max(abs(a), abs(b))


def _rivals(found: list[FitSolution]) -> list[FitSolution]:
    """Other values whose best fit is no worse than chance allows."""
    best = found[0]
    scale = max(best.chi2 / best.freedom, 0.05) * _CORRELATED
    rivals: list[FitSolution] = []
    for solution in found[1:]:
        new = all(
            any(_differ(a, b) for a, b in zip(solution.values, other.values, strict=True))
            for other in (best, *rivals)
        )
        if new and solution.chi2 - best.chi2 < _RIVAL * scale:
            rivals.append(solution)
    return rivals[:_MOST_RIVALS]


def _floor(scene: Scene, problem: FitProblem) -> float:
    """Relative error of a length that no residual shows: camera, resampling of rows or rings."""
    if _unknown_camera(scene, problem):
        return CAMERA
    return _RINGS if any(pattern.radial for pattern in problem.patterns) else _ROWS


def _unknown_camera(scene: Scene, problem: FitProblem) -> bool:
    """Whether colours of white light came through sensitivities that are not known."""
    return scene.source.kind not in MONOCHROME and not all(p.linear for p in problem.patterns)


def _at_limit(problem: FitProblem, best: FitSolution) -> tuple[str, ...]:
    """Keys that ended at the edge of their range."""
    found = []
    for key, value in zip(problem.keys, best.values, strict=True):
        ends = (key.inner(key.low), key.inner(key.high))
        if not key.whole and min(abs(key.inner(value) - end) for end in ends) < 1e-3:
            found.append(key.key)
    return tuple(found)


def _covariance(problem: FitProblem, best: FitSolution) -> Floats:
    """H^-1 (sum over blocks g g^T) H^-1 with H = J^T J and g = J^T r of each block.

    Robust against errors that neighbouring samples and channels share (White 1980, Econometrica
    48, 817, over clusters): 24 blocks along each photograph, n / (n - k) for their number. What
    nuisances are expected to be counts in H.
    """
    inverse = _inverse(best.jacobian)
    n = best.samples
    scores = best.jacobian[:n] * best.residual[:n, None]
    blocks = _blocks(problem)
    count = int(blocks.max()) + 1
    summed = np.zeros((count, scores.shape[1]))
    np.add.at(summed, blocks, scores)
    few = count / max(count - len(problem.moved), 1)
    plain = inverse * max(best.chi2 / best.freedom, 0.0)
    priors = best.jacobian[n:].T @ best.jacobian[n:]
    robust = inverse @ (summed.T @ summed * few + priors) @ inverse
    moved = len(problem.moved)
    larger = np.trace(robust[:moved, :moved]) > np.trace(plain[:moved, :moved])
    return np.asarray(robust if larger else plain)


def _inverse(jacobian: Floats) -> Floats:
    """(J^T J)^-1, with columns of one size while it is taken: metres stand beside logarithms.

    NaN for what changes nothing in the photographs.
    """
    size = np.maximum(np.linalg.norm(jacobian, axis=0), 1e-300)
    even = jacobian / size
    with np.errstate(invalid="ignore"):
        return np.asarray(np.linalg.pinv(even.T @ even, rcond=1e-12) / np.outer(size, size))


def _blocks(problem: FitProblem) -> Indices:
    """Number of the block that each used sample belongs to."""
    parts = []
    for number, pattern in enumerate(problem.patterns):
        n = pattern.x_m.size
        along = np.arange(n) * _BLOCKS // n + number * _BLOCKS
        parts.append(np.broadcast_to(along[:, None], pattern.usable.shape)[pattern.usable])
    return np.concatenate(parts)


def _relative_residual(problem: FitProblem, best: FitSolution) -> float:
    """rms difference of photographs and fit over the spread of the photographs."""
    difference, spread = 0.0, 0.0
    fitted = fitted_values(problem, best.values, best.numbers)
    for pattern, shown in zip(problem.patterns, fitted, strict=True):
        value, _ = wanted(pattern)
        difference += float((((value - shown) ** 2)[pattern.usable]).sum())
        spread += float((((value - value[pattern.usable].mean()) ** 2)[pattern.usable]).sum())
    return float(np.sqrt(difference / max(spread, 1e-300)))


def _compared(problem: FitProblem, best: FitSolution) -> tuple[FittedPhotograph, ...]:
    found = []
    shown = fitted_values(problem, best.values, best.numbers)
    parts = problem.parts(best.numbers)
    for k, (nuisances, model, part) in enumerate(
        zip(problem.nuisances, problem.models, parts, strict=True)
    ):
        pattern = nuisances.pattern
        x = nuisances.positions_m(part, pattern.x_m)
        x = x if pattern.radial else x + model.origin_m
        value, _ = wanted(pattern)
        slant = nuisances.values_of(part, "slant").sum()
        found.append(FittedPhotograph(pattern, np.asarray(x), value, shown[k], float(slant)))
    return tuple(found)
