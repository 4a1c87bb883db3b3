"""The ghosts of periodic errors: where each stands, how strong it is, what it is taken for.

Displacements sum_i A_i sin(2 pi x / P_i + phi_i) give, at mu = m + sum_i k_i / P_i, the amplitude

    sum over all (k_i) that meet there of  prod_i (-1)^k_i J_k_i(2 pi mu A_i / d) exp(i k_i phi_i)

so several periods multiply, and periods with a common multiple add in amplitude where their
ghosts coincide. The line itself is the same sum at mu = m.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.scene import PeriodicDefect, Scene
from wavesim.study.formulas import bessel, ghost_ratio_small, hard_edge_tail
from wavesim.study.predict.orders import Order
from wavesim.study.predict.steps import RulingSteps, steps_of
from wavesim.study.ruling import Ruling, defects_of

_HIGHEST = 40  # harmonics looked at per period; J_40(z) is below 1e-12 up to z = 18
_MOST_TERMS = 200_000
_CLOSE = 0.05  # of 1/N: ghosts nearer than this stand at the same position


@dataclass(frozen=True)
class Ghost:
    """One false line.

    Attributes
    ----------
    order : of the line it belongs to
    harmonics : k of each period, in the order of the scene's periodic defects
    mu : continuous order at which it stands
    wavelength_m : of the light that makes it [m]
    x_m : position on the plate [m]
    relative : strength over its line's, exact Bessel form, on a flat envelope
    small_error : the same by the small-error form, prod ((pi m A/d)^k / k!)^2
    observed : `relative` times the ratio of the envelopes: what the plate shows; beside a step,
        peak over peak, with what the broken line leaves at the ghost's position added in amplitude
    apparent_wavelength_m : wavelength that it would be taken for in its order [m]; nan in order 0
    edge_tail : mean level there of the tails that a hard edge gives the line; 0 in a Gaussian beam
    """

    order: int
    harmonics: tuple[int, ...]
    mu: float
    wavelength_m: float
    x_m: float
    relative: float
    small_error: float
    observed: float
    apparent_wavelength_m: float
    edge_tail: float

    @property
    def hidden(self) -> bool:
        """Whether the line's own tails cover it."""
        return self.observed < self.edge_tail


@dataclass(frozen=True, eq=False)
class Periods:
    """Periodic errors as the formulas take them: arrays (p,), amplitude A/d, period in rulings."""

    amplitude: Floats
    period: Floats
    phase_rad: Floats
    count: int
    steps: RulingSteps | None = None

    def amplitude_at(self, mu: float, harmonics: Floats) -> complex:
        """Sum over the rows of `harmonics` (t, p) of what each brings to mu."""
        z = 2 * np.pi * mu * self.amplitude
        parts = bessel_table(harmonics, z)
        sign = 1 - 2 * (np.abs(harmonics).sum(axis=1) % 2)
        turns = np.rint(mu - harmonics @ (1 / self.period)) * (self.count - 1)
        phase = harmonics @ self.phase_rad + np.pi * (turns % 2)
        return complex(np.sum(sign * parts.prod(axis=1) * np.exp(1j * phase)))


def bessel_table(harmonics: Floats, argument: Floats) -> Floats:
    """J_k(z), k (t, p) by z (p,) -> (t, p)."""
    return bessel(harmonics, argument[None, :])  # type: ignore[arg-type]


def periods_of(scene: Scene, ruled: Ruling) -> Periods:
    """The periodic defects of a scene."""
    found = [d for d in defects_of(scene, PeriodicDefect) if d.amplitude_m > 0]
    return Periods(
        np.array([d.amplitude_m / ruled.pitch_m for d in found]),
        np.array([d.period.in_rulings(ruled.pitch_m) for d in found]),
        np.array([d.phase_rad for d in found]),
        ruled.count,
        steps_of(scene, ruled),
    )


def fraction_left(periods: Periods, order: float) -> float:
    """What the periodic errors leave of the line itself, relative to the perfect one."""
    return abs(_line_amplitude(periods, order)) ** 2


def _line_amplitude(periods: Periods, order: float) -> complex:
    if periods.amplitude.size == 0:
        return 1.0
    rows = _rows(periods, abs(order) + 1.0, 1e-10)
    at_line = rows[_distance(rows @ (1 / periods.period)) * periods.count < _CLOSE]
    return periods.amplitude_at(order, at_line)


def ghosts_of(line: Order, ruled: Ruling, periods: Periods, *, above: float) -> tuple[Ghost, ...]:
    """All ghosts of a line stronger than `above` times it, by position.

    Ghosts farther than half an order from the line are listed with the line whose harmonics
    they are; those that leave the propagating range are not listed.
    """
    if periods.amplitude.size == 0 or ruled.count == 1:
        return ()
    rows = _rows(periods, abs(line.order) + 1.0, above * 1e-3)
    parent = _line_amplitude(periods, line.order)
    found = []
    for group in _groups(rows, periods):
        mu = line.order + float(group[0] @ (1 / periods.period))
        ghost = _ghost(line, ruled, periods, mu, group, parent)
        if ghost is not None and ghost.relative >= above:
            found.append(ghost)
    return tuple(sorted(found, key=lambda ghost: ghost.mu))


def _rows(periods: Periods, order: float, above: float) -> Floats:
    """(t, p) harmonics whose strength at `order` passes `above`, the line's own row included."""
    ladders = []
    for amplitude in periods.amplitude:
        k = np.arange(-_HIGHEST, _HIGHEST + 1, dtype=np.float64)
        strength = bessel_table(k[:, None], np.array([2 * np.pi * order * amplitude]))[:, 0] ** 2
        ladders.append([int(n) for n in k[(strength > above * 1e-2) | (k == 0)]])
    if math.prod(len(ladder) for ladder in ladders) > _MOST_TERMS:
        ladders = [[k for k in ladder if abs(k) <= 3] for ladder in ladders]
    return np.array(list(itertools.product(*ladders)), dtype=np.float64)


def _distance(offset: Floats) -> Floats:
    """To the nearest whole number."""
    return np.asarray(np.abs(offset - np.rint(offset)))


def _groups(rows: Floats, periods: Periods) -> list[Floats]:
    """Rows that stand at the same position, simplest first; the line itself is left out.

    Positions a whole order apart belong to different lines and the same position: each group keeps
    as its first row the one of fewest harmonics.
    """
    offset = rows @ (1 / periods.period)
    rows = rows[np.lexsort((offset, np.abs(rows).sum(axis=1)))]
    offset = rows @ (1 / periods.period)
    groups: list[Floats] = []
    grouped = _distance(offset) * periods.count < _CLOSE
    for j in range(rows.shape[0]):
        if grouped[j]:
            continue
        same = _distance(offset - offset[j]) * periods.count < _CLOSE
        groups.append(
            np.concatenate([rows[j : j + 1], rows[same & (np.arange(rows.shape[0]) != j)]])
        )
        grouped |= same
    return groups


def _ghost(
    line: Order, ruled: Ruling, periods: Periods, mu: float, group: Floats, parent: complex
) -> Ghost | None:
    sine = float(ruled.sine_out(mu, line.wavelength_m))
    if abs(sine) >= 1 or parent == 0:
        return None
    offset = mu - round(mu)
    amplitude = periods.amplitude_at(mu, group)
    relative = abs(amplitude / parent) ** 2
    shown = relative
    if periods.steps is not None and offset:
        shown = periods.steps.ghost_over_line(amplitude, parent, mu=mu, order=line.order)
    efficiency = float(ruled.efficiency(mu, line.wavelength_m))
    envelope = efficiency / line.efficiency if line.efficiency else math.nan
    tail = float(hard_edge_tail(mu - line.order, ruled.count)) if ruled.uniform and offset else 0.0
    return Ghost(
        order=line.order,
        harmonics=tuple(int(k) for k in group[0]),
        mu=mu,
        wavelength_m=line.wavelength_m,
        x_m=float(ruled.x_m(sine)),
        relative=relative,
        small_error=math.prod(
            ghost_ratio_small(line.order, int(k), amplitude=float(a))
            for k, a in zip(group[0], periods.amplitude, strict=True)
        ),
        observed=shown * envelope,
        apparent_wavelength_m=ruled.wavelength_seen_m(line.order, mu, line.wavelength_m),
        edge_tail=tail,
    )
