"""Steps in a ruling: how they reshape a line and its ghosts, and the light between.

Before and after a step s the rulings' light differs in phase by 2 pi mu s/d, so every line and
ghost becomes |sum over the parts|^2, at mu = m + u

    S(u; mu) = sum_n w_n exp(-2 pi i (u n + mu e_n/d)) / sum_n w_n,   e_n the displacement by steps,

and away from a line the ends and steps leave (summation by parts; exact for even illumination)

    W(delta; mu) = sum over ends and steps of  [c_after - c_before] w exp(-2 pi i delta n)
                   / (1 - exp(-2 pi i delta)) / sum_n w_n,     c = exp(-2 pi i mu e/d),

which adds to a ghost in amplitude.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Complexes, Floats
from wavesim.scene import Scene, StepDefect
from wavesim.study.ruling import Ruling, defects_of

_SAMPLES = 1024  # rulings that stand for all of them over a line's own width
_ON_THE_LINE = 1e-9  # [orders] where the edges' waves say nothing: a ghost within the line itself
_ABOUT = 1.5  # 1/N to both sides of a position, where a line's or ghost's peak is looked for
_POINTS = 121


@dataclass(frozen=True, eq=False)
class RulingSteps:
    """The steps of a ruling in its beam.

    Attributes
    ----------
    before : (s,) [pitches from the ruling's middle] where each step lies, rising
    size : (s,) over the pitch
    along, weight : (n,) [pitches from the middle] and amplitude of rulings that stand for all
    ends : first position and one beyond the last [pitches from the middle]
    total : sum of all weights
    """

    before: Floats
    size: Floats
    along: Floats
    weight: Floats
    ends: tuple[float, float]
    total: float

    @property
    def positions(self) -> Floats:
        """(u,) offsets [orders] about a line that its peaks cover."""
        return _ABOUT / (self.ends[1] - self.ends[0]) * np.linspace(-1, 1, _POINTS)

    def shape(self, mu: float, u: Floats) -> Complexes:
        """S(u; mu) at offsets u (k,) -> (k,)."""
        moved = (self.along[:, None] >= self.before) @ self.size
        phase = np.outer(u, self.along) + (mu + u)[:, None] * moved
        mean = np.exp(-2j * np.pi * phase) @ self.weight / self.weight.sum()
        return np.asarray(mean, dtype=np.complex128)

    def wings(self, mu: float, delta: Floats) -> Complexes:
        """W(delta; mu) at distances delta (k,) from a line, without whole orders; S on the line."""
        edges = np.concatenate([[self.ends[0]], self.before, [self.ends[1]]]) - 0.5
        moved = np.concatenate([[0.0], np.cumsum(self.size)])
        turned = np.concatenate([[0.0], np.exp(-2j * np.pi * mu * moved), [0.0]])
        jump = np.diff(turned) * np.interp(edges, self.along, self.weight)
        interference = np.exp(-2j * np.pi * np.outer(delta, edges)) @ jump
        sine = np.sin(np.pi * delta)
        on = np.abs(sine) < _ON_THE_LINE
        beside = interference / (2j * np.where(on, 1.0, sine)) / self.total
        return np.asarray(np.where(on, self.shape(mu, delta), beside), dtype=np.complex128)

    def peak(self, mu: float) -> float:
        """Position of the maximum of |S|^2 about a line or ghost at mu."""
        return float((np.abs(self.shape(mu, self.positions)) ** 2).max())

    def ghost_over_line(self, ghost: complex, line: complex, *, mu: float, order: float) -> float:
        """Peak of a ghost at mu over its line's, its amplitude added to what the line leaves there.

        Parameters
        ----------
        ghost, line : amplitudes of both without any step
        """
        u = self.positions
        both = ghost * self.shape(mu, u) + line * self.wings(mu, mu + u - order)
        return float((np.abs(both) ** 2).max()) / (abs(line) ** 2 * self.peak(order))


def steps_of(scene: Scene, ruled: Ruling) -> RulingSteps | None:
    """The steps of a scene's ruling that lie within its beam; None where there are none."""
    rulings = getattr(scene.aperture, "rulings", ruled.count)
    along = ruled.position_m / ruled.pitch_m
    first, last = float(along[0]), float(along[-1])
    found = sorted(
        (d.rulings_before(rulings) - (rulings - 1) / 2, d.size_m / ruled.pitch_m)
        for d in defects_of(scene, StepDefect)
    )
    inside = [(n, size) for n, size in found if first < n <= last]
    if not inside:
        return None
    weight = np.abs(ruled.weight)
    fine = np.linspace(first - 0.5, last + 0.5, _SAMPLES + 1)
    middles = (fine[:-1] + fine[1:]) / 2
    return RulingSteps(
        before=np.array([n for n, _ in inside]),
        size=np.array([size for _, size in inside]),
        along=middles,
        weight=np.interp(middles, along, weight),
        ends=(first, last + 1.0),
        total=float(weight.sum()),
    )
