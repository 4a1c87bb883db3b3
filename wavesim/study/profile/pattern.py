"""Ghosts near their line as a pattern: the line and its copies, added in amplitude.

    |A(u)|^2 = |a L(u - u_0) + sum_k c_k L(u - u_k)|^2

L is the ideal line in the windowed beam, known; c_k complex and u_k are the ghosts'. Fitted to the
windowed profile by least squares, positions and strengths come free of what the line leaves there.
Holds for periodic errors; where the ruling has others, the residual is part of the errors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from wavesim.arrays import Complexes, Floats
from wavesim.study.profile.search import FoundGhost
from wavesim.study.profile.windows import Windowed

_BEYOND = 4.0  # line widths beyond the outermost ghost that are fitted
MOST = 4  # pairs of ghosts fitted together, the strongest
_STRAYED = 1.0  # line widths by which a fitted position may leave the maximum that was found
_TRIALS = 60
_CORRELATED = 8.0  # samples of the residual that go together
_ABOUT = (0.75, 4.0)  # line widths from a ghost between which unexplained light is averaged
_ALONE = 8.0  # line widths about a line without ghosts
_CELL = 1.2  # line widths: a resolution cell of speckle
_TAKEN = 1.5  # cells that a ghost fitted there takes away
HALVED = 2.0  # a strong line shows of a weak field the part in phase with it, half of its power
UNEXPLAINED = 0.3  # of a ghost's amplitude: with more of the light unexplained it is none


@dataclass(frozen=True)
class PatternFit:
    """A fit of line and ghosts.

    Attributes
    ----------
    ghosts : positions from the line's peak, strengths, and their errors, in the order given
    contrast : of each, its strength over the unexplained light about it, cell by cell
    cells : of each, how many independent cells tell that light
    residual : rms of the amplitude that line and ghosts leave unexplained, over the line's
    unexplained : (offsets, light there that they leave, over the line's peak)
    """

    ghosts: list[FoundGhost]
    contrast: list[float]
    cells: list[float]
    residual: float
    unexplained: tuple[Floats, Floats]

    def left_at(self, distance: float, width: float) -> float:
        """Mean unexplained light about a distance from the line, to both sides."""
        offset, light = self.unexplained
        beyond = min(distance, float(offset.max()) - 2 * width)
        return float(np.mean(light[np.abs(np.abs(offset) - beyond) < 2 * width]))


def fitted(window: Windowed, ghosts: list[FoundGhost]) -> PatternFit:
    """Line and ghosts (positions from the line's peak), fitted together in a narrow window."""
    model = _Model.about(window, ghosts)
    from scipy.optimize import least_squares

    start = model.start
    best = least_squares(
        lambda q: np.abs(model.amplitude(q)) - model.measured, start, jac=model.slopes,
        x_scale=np.maximum(np.abs(start), 0.1), max_nfev=_TRIALS,
    )  # fmt: skip
    residual = math.sqrt(2 * best.cost / max(model.u.size - start.size, 1))
    covariance = np.linalg.pinv(best.jac.T @ best.jac) * _CORRELATED * residual**2
    found = [model.ghost(k, best.x, covariance, residual) for k in range(len(ghosts))]
    tested = [model.tested(k, best.x, np.asarray(best.fun)) for k in range(len(ghosts))]
    contrast, cells = [t[0] for t in tested], [t[1] for t in tested]
    unexplained = (model.u, HALVED * np.square(best.fun))
    return PatternFit(found, contrast, cells, residual, unexplained)


@dataclass(frozen=True, eq=False)
class _Model:
    """Unknowns q: line's height and shift; shifts of n ghosts; real, then imaginary parts of the
    n ghosts' amplitudes and of their second harmonics', which stand at twice the distance.
    """

    window: Windowed
    ghosts: list[FoundGhost]
    u: Floats
    measured: Floats

    @classmethod
    def about(cls, window: Windowed, ghosts: list[FoundGhost]) -> _Model:
        """The samples about line and ghosts."""
        width = window.wings.width
        reach = max((abs(g.mu) for g in ghosts), default=_ALONE * width) + _BEYOND * width
        near = np.abs(window.offset) < reach
        return cls(window, ghosts, window.offset[near], np.sqrt(window.level[near]))

    @cached_property
    def position(self) -> Floats:
        """(n,) of the ghosts, from the line."""
        return np.array([g.mu for g in self.ghosts])

    @cached_property
    def size(self) -> Floats:
        """(n,) amplitudes of the ghosts over the line's."""
        return np.sqrt([g.strength for g in self.ghosts])

    @property
    def start(self) -> Floats:
        """The ghosts as they were found, in phase between real and imaginary."""
        none = np.zeros(len(self.ghosts))
        first = none + math.sqrt(0.5)
        return np.concatenate([[1.0, 0.0], none, first, none, first, none])

    def amplitude(self, q: Floats) -> Complexes:
        """(samples,) of line, ghosts and second harmonics; the latter start from nothing."""
        n, width, wings = len(self.ghosts), self.window.wings.width, self.window.wings
        position, parts = self.position + q[2 : 2 + n] * width, self._parts(q)
        first = wings.signed(self.u[:, None] - position) @ (self.size * parts[:n])
        second = wings.signed(self.u[:, None] - 2 * position) @ (self.size**2 * parts[n:])
        return np.asarray(q[0] * wings.signed(self.u - q[1] * width) + first + second)

    def slopes(self, q: Floats) -> Floats:
        """(samples, unknowns): how |amplitude| changes with each."""
        n, width, wings = len(self.ghosts), self.window.wings.width, self.window.wings
        position, parts = self.position + q[2 : 2 + n] * width, self._parts(q)
        once, twice = self.u[:, None] - position, self.u[:, None] - 2 * position
        first = wings.signed(once) * self.size
        second = wings.signed(twice) * self.size**2 * self._doubled
        moved = wings.slope(once) * (self.size * parts[:n])
        moved = moved + 2 * wings.slope(twice) * (self.size**2 * parts[n:])
        line = self.u - q[1] * width
        columns = np.concatenate(
            [
                wings.signed(line)[:, None], -q[0] * width * wings.slope(line)[:, None],
                -width * moved, first, second, 1j * first, 1j * second,
            ], axis=1,
        )  # fmt: skip
        amplitude = self.amplitude(q)
        phase = np.conj(amplitude) / np.maximum(np.abs(amplitude), 1e-300)
        return np.asarray((phase[:, None] * columns).real)

    @cached_property
    def _doubled(self) -> Floats:
        """1 for ghosts whose second harmonic is fitted, 0 for others.

        It must lie within the samples and not be one of the ghosts itself.
        """
        width, twice = self.window.wings.width, 2 * self.position
        within = np.abs(twice) < float(self.u.max()) - width
        itself = (np.abs(twice[:, None] - self.position) < width).any(axis=1)
        return np.asarray(within & ~itself, dtype=np.float64)

    def _parts(self, q: Floats) -> Complexes:
        n = len(self.ghosts)
        used = np.concatenate([np.ones(n), self._doubled])
        return np.asarray((q[2 + n : 2 + 3 * n] + 1j * q[2 + 3 * n :]) * used)

    def ghost(self, k: int, q: Floats, covariance: Floats, residual: float) -> FoundGhost:
        """The k-th one as fitted, or as it was where the fit knows it no better."""
        ghost, n, width = self.ghosts[k], len(self.ghosts), self.window.wings.width
        each, size = [2 + n + k, 2 + 3 * n + k], float(self.size[k])
        parts, moved = q[each] * size, float(q[2 + k]) * width
        strength = float(parts @ parts / q[0] ** 2)
        along = parts / math.sqrt(max(strength, 1e-300))
        error = math.sqrt(float(along @ covariance[np.ix_(each, each)] @ along)) * size
        amplitude = math.sqrt(strength)
        strayed = abs(moved) > _STRAYED * width or residual > UNEXPLAINED * amplitude
        if strayed or error * 2 * amplitude >= ghost.strength_error:
            return ghost
        return replace(
            ghost,
            mu=ghost.mu + moved,
            strength=strength,
            mu_error=width * max(math.sqrt(covariance[2 + k, 2 + k]), 1e-4),
            strength_error=max(2 * amplitude * error, 1e-4 * strength),
        )

    def tested(self, k: int, q: Floats, residual: Floats) -> tuple[float, float]:
        """Its strength over the unexplained light about it, and the cells that tell this."""
        n, width = len(self.ghosts), self.window.wings.width
        position = self.position + q[2 : 2 + n] * width
        apart = np.abs(self.u - position[k]) / width
        about = (apart > _ABOUT[0]) & (apart < _ABOUT[1])
        if not about.any():
            return 0.0, 0.0
        unexplained = HALVED * float(np.mean(residual[about] ** 2))
        others = np.count_nonzero(np.abs(position - position[k]) < _ABOUT[1] * width) - 1
        cells = np.count_nonzero(about) * (self.u[1] - self.u[0]) / (_CELL * width)
        strength = float(self.size[k] ** 2 * abs(self._parts(q)[k]) ** 2 / q[0] ** 2)
        return strength / max(unexplained, 1e-300), float(cells - _TAKEN * others)
