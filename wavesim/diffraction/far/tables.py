"""The aperture's far-field power as running integrals over u, ready for any wavelength."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import chain
from typing import Literal

import numpy as np

from wavesim.aperture.combs import Aperture, Comb, within
from wavesim.aperture.elements import Element, Rays
from wavesim.arrays import Complexes, Floats
from wavesim.diffraction.far.mixing import Mixing, mixing
from wavesim.diffraction.far.resampling import resampled
from wavesim.diffraction.far.running import (
    CELLS,
    RunningIntegral,
    Spans,
    cells_for,
    guarded,
    integrate,
    integrate_again,
)
from wavesim.diffraction.far.sampling import TOLERANCE, in_blocks, sampled

_MANY = 3  # kinds of element that are worth blending
Envelope = Callable[[Rays], Complexes | Floats]


@dataclass(frozen=True, eq=False)
class Term:
    """A running integral over u, and the smooth factor it is to be multiplied by.

    Attributes
    ----------
    integral : of a product of two interference functions (or of the whole |A|^2) over u
    envelopes : the two elements whose amplitudes multiply it, or None if it is whole
    part : which part of the product of the two the integral holds
    """

    integral: RunningIntegral
    envelopes: tuple[Element, Element] | None = None
    part: Literal["power", "real", "imaginary"] = "power"

    def factor(self, first: Complexes | Floats, second: Complexes | Floats) -> Floats:
        """Factor [m2] from the amplitudes of its two envelopes at any rays."""
        if self.part == "power":
            return np.asarray(first.real**2 + first.imag**2)
        product = first * np.conj(second)
        return np.asarray(2 * product.real if self.part == "real" else -2 * product.imag)


@dataclass(frozen=True, eq=False)
class FarField:
    """Interference functions on an even grid of u.

    Attributes
    ----------
    elements, amplitude : the kinds of element and their interference functions (n,); one pair
        with the whole amplitude [m] if every element depends on u alone
    start_per_m, step_per_m : the grid [1/m]
    cells : grid steps per 1/(aperture width)
    whole : whether the amplitude holds the envelopes already
    mixing : strengths of the elements where they were blended from more, or None
    averaged : ((r, s), B_r B_s*) averaged over the chords of a round beam, instead of
        `amplitude`; empty where all rulings are illuminated over the whole height
    """

    elements: tuple[Element, ...]
    amplitude: tuple[Complexes, ...]
    start_per_m: float
    step_per_m: float
    cells: int
    whole: bool
    mixing: Mixing | None = None
    averaged: tuple[tuple[tuple[int, int], Complexes | Floats], ...] = ()

    def terms(self, *, again: bool, spans: Spans | None = None) -> Iterator[Term]:
        """|A|^2 = sum of terms, each integrated over u (and once more if `again`), over all of it
        or over some stretches of u [1/m].

        |sum_r E_r B_r|^2 = sum_r |E_r|^2 |B_r|^2
                          + 2 sum_{r<s} Re(E_r E_s*) Re(B_r B_s*) - Im(E_r E_s*) Im(B_r B_s*)

        with the interference functions B of u alone and the envelopes E smooth.
        """
        for r, s in self.pairs:
            pair = None if self.whole else (self.elements[r], self.elements[s])
            product = self._product(r, s)
            if r == s:
                yield Term(self._integral(product.real, again, spans), pair)
            else:
                yield Term(self._integral(product.real.copy(), again, spans), pair, "real")
                yield Term(self._integral(product.imag.copy(), again, spans), pair, "imaginary")

    @property
    def pairs(self) -> tuple[tuple[int, int], ...]:
        """Kinds of element r <= s whose product counts."""
        return tuple(pair for pair, _ in self.averaged) or self._pairs(self.amplitude)

    def _pairs(self, amplitude: tuple[Complexes, ...]) -> tuple[tuple[int, int], ...]:
        kinds = range(len(amplitude))
        return tuple(
            (r, s)
            for r in kinds
            for s in kinds[r:]
            if r == s or self.mixing is None or self.mixing.counts(r, s)
        )

    def _product(self, r: int, s: int) -> Complexes | Floats:
        if self.averaged:
            return dict(self.averaged)[r, s]
        if r == s:
            return _power(self.amplitude[r])
        return np.asarray(self.amplitude[r] * np.conj(self.amplitude[s]))

    def averaging(self, others: Iterator[tuple[float, FarField]]) -> FarField:
        """The same with products averaged over far fields, each with its fraction."""
        averaged: dict[tuple[int, int], Complexes | Floats] = {}
        for fraction, other in others:
            for r, s in other.pairs:
                part = fraction * other._product(r, s)
                averaged[r, s] = averaged[r, s] + part if (r, s) in averaged else part
        return replace(self, amplitude=(), averaged=tuple(averaged.items()))

    def _integral(self, samples: Floats, again: bool, spans: Spans | None) -> RunningIntegral:
        table = integrate(samples, self.start_per_m, self.step_per_m, self.cells, spans)
        return integrate_again(table, spans) if again else table


def table_bytes(aperture: Aperture, first_per_m: float, last_per_m: float) -> int:
    """Memory that the far field and its tables need [bytes], before anything is allocated."""
    cells = CELLS * aperture.width_m * (last_per_m - first_per_m) + 64
    kinds = 1 if aperture.of_u_alone else len(aperture.combs)
    return int(cells * (16 * (kinds + 1) + 8 + 48 + 56))


def far_field(
    aperture: Aperture, first_per_m: float, last_per_m: float, tolerance: float = TOLERANCE
) -> FarField:
    """Interference functions between two frequencies [1/m], right to `tolerance` of the peak.

    Cost: one non-uniform FFT of CELLS * W * (last - first) samples per kind of element, and for
    each chord of a round beam.
    """
    if aperture.chords:
        return _chords_averaged(aperture, first_per_m, last_per_m, tolerance)
    return _straight(aperture, aperture, first_per_m, last_per_m, tolerance)


def _chords_averaged(
    aperture: Aperture, first_per_m: float, last_per_m: float, tolerance: float
) -> FarField:
    """|A|^2 averaged over the height of a round beam, each chord with its own rulings."""

    def fields() -> Iterator[tuple[float, FarField]]:
        for chord in aperture.chords:
            combs = tuple(within(comb, chord) for comb in aperture.combs)
            part = replace(aperture, combs=combs, chords=())
            yield chord.fraction, _straight(part, aperture, first_per_m, last_per_m, tolerance)

    if aperture.of_u_alone:
        return _power_averaged(aperture, first_per_m, last_per_m, tolerance)
    parts = fields()
    fraction, first = next(parts)
    return first.averaging(chain([(fraction, first)], parts))


def _power_averaged(
    aperture: Aperture, first_per_m: float, last_per_m: float, tolerance: float
) -> FarField:
    """The same where every element depends on u alone: each chord at as few u as tell its power."""
    grid = _grid(aperture.width_m, first_per_m, last_per_m)
    return _of_power(aperture, grid, tolerance)


def smoothed_far_field(
    aperture: Aperture,
    first_per_m: float,
    last_per_m: float,
    grid_m: float,
    longest_m: float,
    tolerance: float = TOLERANCE,
) -> FarField:
    """The power of the far field between two frequencies [1/m] without its fine structure.

    No lag above `longest_m` is left, and all below two thirds of it are; the elements depend on u
    alone. The grid is that of an aperture of the width `grid_m`. Cost: one non-uniform FFT of
    (W + longest) * (last - first) samples, and for each chord.
    """
    grid = _grid(grid_m, first_per_m, last_per_m)
    return _of_power(aperture, grid, tolerance, longest_m)


def _of_power(
    aperture: Aperture,
    grid: tuple[int, float, float, int],
    tolerance: float,
    longest_m: float | None = None,
) -> FarField:
    cells, start, step, count = grid

    def power(first: float, apart: float, number: int) -> Floats:
        return _power_at(aperture, first, apart, number, tolerance)

    samples = resampled(power, aperture.width_m, start, step, count, longest_m=longest_m)
    elements = (aperture.combs[0].element,)
    return FarField(elements, (), start, step, cells, whole=True, averaged=(((0, 0), samples),))


def _power_at(
    aperture: Aperture, start_per_m: float, step_per_m: float, count: int, tolerance: float
) -> Floats:
    """|A|^2 [m2] (count,) on an even grid of u, averaged over the chords of a round beam; the
    elements depend on u alone."""
    grid = start_per_m, step_per_m, count
    if not aperture.chords:
        return _power(_amplitude(aperture.combs, aperture.centre_m, *grid, tolerance))
    total = np.zeros(count)
    for chord in aperture.chords:
        combs = tuple(within(comb, chord) for comb in aperture.combs)
        power = _power(_amplitude(combs, aperture.centre_m, *grid, tolerance))
        power *= chord.fraction
        total += power
    return total


def _amplitude(
    combs: tuple[Comb, ...],
    centre_m: float,
    start: float,
    step: float,
    count: int,
    tolerance: float,
) -> Complexes:
    """A [m] (count,) of elements that depend on u alone."""
    whole: Complexes | None = None
    for comb in combs:
        if comb.position_m.size:
            part = sampled(comb, centre_m, start, step, count, tolerance)
            part = _enveloped(part, comb.element.amplitude, start, step)
            whole = part if whole is None else np.add(whole, part, out=whole)
    return np.zeros(count, dtype=np.complex128) if whole is None else whole


def _grid(width_m: float, first_per_m: float, last_per_m: float) -> tuple[int, float, float, int]:
    """Cells to 1 / (aperture width), start, step and number of samples."""
    cells = cells_for(width_m, first_per_m, last_per_m)
    step = 1.0 / (cells * width_m)
    start, count = guarded(first_per_m, last_per_m, step)
    return cells, start, step, count


def _straight(
    part: Aperture,
    aperture: Aperture,
    first_per_m: float,
    last_per_m: float,
    tolerance: float,
) -> FarField:
    """Interference functions of rulings that are part of an aperture, on the aperture's grid."""
    cells, start, step, count = _grid(aperture.width_m, first_per_m, last_per_m)
    elements = tuple(comb.element for comb in part.combs)
    if aperture.of_u_alone:
        whole = _amplitude(part.combs, aperture.centre_m, start, step, count, tolerance)
        return FarField(elements[:1], (whole,), start, step, cells, whole=True)
    parts = (
        sampled(comb, aperture.centre_m, start, step, count, tolerance)
        if comb.position_m.size
        else np.zeros(count, dtype=np.complex128)
        for comb in part.combs
    )
    return _blended(FarField(elements, (), start, step, cells, whole=False), parts, count)


def _blended(bare: FarField, parts: Iterator[Complexes], count: int) -> FarField:
    """Interference functions of few blends of the elements, if they are many."""
    if len(bare.elements) < _MANY:
        return replace(bare, amplitude=tuple(parts))
    mixed = mixing(bare.elements)
    blended = np.zeros((mixed.strength.size, count), dtype=np.complex128)
    for r, part in enumerate(parts):
        for k, row in enumerate(blended):
            row += mixed.matrix[k, r] * part
    blends = mixed.blends(bare.elements)
    return replace(bare, elements=blends, amplitude=tuple(blended), mixing=mixed)


def _power(amplitude: Complexes) -> Floats:
    power = np.square(amplitude.real)
    part = np.square(amplitude.imag)
    power += part
    return np.asarray(power)


def _enveloped(part: Complexes, amplitude: Envelope, start: float, step: float) -> Complexes:
    """An interference function times its element's amplitude, in place."""

    def multiply(first: int, last: int) -> None:
        u: Floats = start + step * np.arange(first, last, dtype=np.float64)
        part[first:last] *= amplitude(Rays(0.0, u, 1.0))

    in_blocks(multiply, part.size)
    return part
