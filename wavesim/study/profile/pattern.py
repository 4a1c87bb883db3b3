"""Ghosts near their line as a pattern: the line and its copies, added in amplitude.

    |A(u)|^2 = |a L(u - u_0) + sum_k c_k L(u - u_k)|^2

L is the ideal line in the windowed beam, known; c_k complex and u_k are the ghosts'. Fitted to the
windowed profile by least squares, places and strengths come free of what the line leaves there.
Holds for periodic errors; where the ruling has others, the misfit is part of the errors.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from wavesim.arrays import Floats
from wavesim.study.profile.search import FoundGhost
from wavesim.study.profile.windows import Windowed

_BEYOND = 2.5  # line widths beyond the outermost ghost that are fitted
_MOST = 8  # ghosts fitted together, the strongest
_STRAYED = 1.0  # line widths by which a fitted place may leave the maximum that was found
_TRIALS = 60
_CORRELATED = 8.0  # samples of the misfit that go together
UNEXPLAINED = 0.3  # of a ghost's amplitude: with more of the light unexplained it is none


def fitted(window: Windowed, ghosts: list[FoundGhost]) -> tuple[list[FoundGhost], float]:
    """Ghosts (places from the line's peak) by a fit in a narrow window, where that is better.

    The second value is the rms of the amplitude that remains, over the line's.
    """
    width = window.wings.width
    chosen = sorted(ghosts, key=lambda g: -g.strength)[:_MOST]
    reach = max(abs(g.mu) for g in chosen) + _BEYOND * width
    near = np.abs(window.offset) < reach
    found, misfit = _fit(window, window.offset[near], np.sqrt(window.level[near]), chosen)
    by_place = {g.mu: new for g, new in zip(chosen, found, strict=True)}
    return [by_place.get(g.mu, g) for g in ghosts], misfit


def _fit(
    window: Windowed, u: Floats, amplitude: Floats, ghosts: list[FoundGhost]
) -> tuple[list[FoundGhost], float]:
    from scipy.optimize import least_squares

    width, count = window.wings.width, len(ghosts)
    place = np.array([g.mu for g in ghosts])
    size = np.sqrt([g.strength for g in ghosts])

    def model(q: Floats) -> Floats:
        line = q[0] * window.wings.signed(u - q[1] * width)
        copies = window.wings.signed(u[:, None] - place - q[2 : 2 + count] * width)
        parts = copies @ (size * (q[2 + count : 2 + 2 * count] + 1j * q[2 + 2 * count :]))
        return np.asarray(np.abs(line + parts) - amplitude)

    start = np.concatenate([[1.0, 0.0], np.zeros(count), np.full(2 * count, math.sqrt(0.5))])
    best = least_squares(model, start, x_scale=np.maximum(np.abs(start), 0.1), max_nfev=_TRIALS)
    misfit = math.sqrt(2 * best.cost / max(u.size - start.size, 1))
    variance = _CORRELATED * misfit**2
    covariance = np.linalg.pinv(best.jac.T @ best.jac) * variance
    out = []
    for k, ghost in enumerate(ghosts):
        moved, each = best.x[2 + k] * width, [2 + count + k, 2 + 2 * count + k]
        parts = best.x[each] * size[k]
        strength = float(parts @ parts / best.x[0] ** 2)
        along = parts / math.sqrt(max(strength, 1e-300))
        doubt = math.sqrt(float(along @ covariance[np.ix_(each, each)] @ along)) * size[k]
        amplitude_k = math.sqrt(strength)
        strayed = abs(moved) > _STRAYED * width or misfit > UNEXPLAINED * amplitude_k
        sharper = doubt * 2 * amplitude_k < ghost.strength_error
        if strayed or not sharper:
            out.append(ghost)
            continue
        out.append(
            replace(
                ghost,
                mu=ghost.mu + moved,
                strength=strength,
                mu_error=width * max(math.sqrt(covariance[2 + k, 2 + k]), 1e-4),
                strength_error=max(2 * amplitude_k * doubt, 1e-4 * strength),
            )
        )
    return out, misfit
