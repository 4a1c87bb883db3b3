"""Combs: each kind of element repeated at its positions, and the aperture made of them."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from wavesim.aperture.elements import Element, Slit
from wavesim.aperture.illumination import Along
from wavesim.arrays import Complexes, Floats


@dataclass(frozen=True, eq=False)
class Comb:
    """One kind of element at many positions.

    Attributes
    ----------
    element : the envelope
    position_m : (n,) [m] centres, ascending within rounding, along the direction of dispersion
    weight : (n,) complex amplitude of each element relative to the open beam
    whole : how many slits or rulings they are pieces of, or None where each is whole
    """

    element: Element
    position_m: Floats
    weight: Complexes
    whole: int | None = None

    @property
    def count(self) -> int:
        """Slits or rulings."""
        return self.position_m.size if self.whole is None else self.whole


@dataclass(frozen=True)
class Chord:
    """Part of the rulings' height where a round beam illuminates the same width.

    Attributes
    ----------
    half_m : [m] rulings within |x - middle_m| <= half_m are illuminated there
    fraction : of the height; those of all chords add up to 1
    middle_m : [m] of what is illuminated
    """

    half_m: float
    fraction: float
    middle_m: float = 0.0


@dataclass(frozen=True, eq=False)
class Aperture:
    """Everything the far field needs to know of the plate in the parallel beam.

    Attributes
    ----------
    combs : the kinds of element with their positions
    height_m : [m] illuminated height of the rulings, along y
    pitch_m : [m] mean distance between neighbours; the width of a lone element
    limits : sentences about where the theory stops for this aperture
    gaussian_m : [m] 1/e amplitude radius along y of a Gaussian beam; infinite in an even one
    chords : what a round beam leaves of the rulings at each height; empty where all of them
        are illuminated over the whole height
    round_m : [m] radius of that beam along y
    round_half_m : [m] half width of its footprint along x
    """

    combs: tuple[Comb, ...]
    height_m: float
    pitch_m: float
    limits: tuple[str, ...] = ()
    gaussian_m: float = math.inf
    chords: tuple[Chord, ...] = ()
    round_m: float = math.inf
    round_half_m: float = math.inf

    @cached_property
    def span_m(self) -> tuple[float, float]:
        """Left and right edge of the whole aperture [m]."""
        lo = min(float(c.position_m.min()) - c.element.width_m / 2 for c in self.combs)
        hi = max(float(c.position_m.max()) + c.element.width_m / 2 for c in self.combs)
        return lo, hi

    @property
    def width_m(self) -> float:
        """Full width [m]: |A(u)|^2 holds no frequency above it."""
        return self.span_m[1] - self.span_m[0]

    @property
    def centre_m(self) -> float:
        """Middle of the aperture [m]."""
        return (self.span_m[0] + self.span_m[1]) / 2

    @property
    def elements(self) -> int:
        """How many elements there are in all; several combs at the same positions are one."""
        positions = {(c.count, c.position_m[0], c.position_m[-1]) for c in self.combs}
        return sum(count for count, _, _ in positions)

    @property
    def along(self) -> Along:
        """Amplitude along the rulings."""
        return Along(self.height_m, self.gaussian_m, self.round_m if self.chords else math.inf)

    @property
    def open_area_m2(self) -> float:
        """Integral of the squared amplitude over the aperture [m2]."""
        if not self.chords:
            return self.open_width_m * self.along.power_m
        return self.along.power_m * sum(
            chord.fraction * open_width(within(comb, chord))
            for chord in self.chords
            for comb in self.combs
        )

    @property
    def in_power(self) -> tuple[tuple[float, Aperture], ...]:
        """What adds up in power and how much it counts: all of it, or a round beam's chords."""
        if not self.chords:
            return ((1.0, self),)
        return tuple((chord.fraction, self._at(chord)) for chord in self.chords)

    def _at(self, chord: Chord) -> Aperture:
        combs = tuple(within(comb, chord) for comb in self.combs)
        return replace(self, combs=tuple(c for c in combs if c.position_m.size), chords=())

    def towards(self, v_per_m: float = 0.0) -> Aperture:
        """As a direction with v along the rulings has it in light of one source point.

        A round beam leaves the height l_j of ruling j, so that its weight there is
        w_j l_j sinc(l_j v) / h. Itself where no beam's edge cuts the rulings.
        """
        if not self.chords:
            return self
        combs = tuple(self._by_height(comb, v_per_m) for comb in self.combs)
        return replace(self, combs=combs, chords=())

    def _by_height(self, comb: Comb, v_per_m: float) -> Comb:
        along = (comb.position_m - self.chords[0].middle_m) / self.round_half_m
        chord = 2 * self.round_m * np.sqrt(np.maximum(1 - np.square(along), 0.0))
        height = np.minimum(chord, self.height_m)
        weight = comb.weight * height * np.sinc(height * v_per_m) / self.height_m
        return replace(comb, weight=weight)

    @property
    def mean_height_m(self) -> float:
        """Open area over open width [m]: the height that a beam leaves on average."""
        return self.open_area_m2 / self.open_width_m

    def circle_m(self, cos_alpha: float) -> float:
        """Radius [m] of the circle about the axis, seen along the beam, that holds it."""
        lo, hi = self.span_m
        return math.hypot(max(abs(lo), abs(hi)) * cos_alpha, self.height_m / 2)

    @property
    def open_width_m(self) -> float:
        """Sum of |w|^2 times the element's open width [m], along the middle y = 0."""
        return sum(open_width(comb) for comb in self.combs)

    @property
    def in_phase(self) -> bool:
        """Whether all weights are real, so that |A(-u)| = |A(u)|."""
        return all(not np.any(c.weight.imag) for c in self.combs)

    @property
    def of_u_alone(self) -> bool:
        """Whether every element depends on u alone, so that one table serves all wavelengths."""
        return all(c.element.of_u_alone for c in self.combs)


def open_width(comb: Comb) -> float:
    """Sum of |w|^2 times the element's open width [m]."""
    return float(np.sum(np.abs(comb.weight) ** 2) * comb.element.open_width_m)


def within(comb: Comb, chord: Chord) -> Comb:
    """The elements whose middle a chord illuminates."""
    inside = np.abs(comb.position_m - chord.middle_m) <= chord.half_m
    return replace(comb, position_m=comb.position_m[inside], weight=comb.weight[inside])


def pieces(comb: Comb, width_m: float, reach_m: float) -> Comb:
    """The same slits as pieces that touch, `width_m` wide at most, within |x| <= reach_m [m].

    Other elements, and slits that are narrower, stay whole.
    """
    element = comb.element
    if not isinstance(element, Slit) or element.width_m <= width_m:
        return comb
    parts = math.ceil(element.width_m / width_m)
    width = element.width_m / parts
    most = min(parts, math.ceil(2 * reach_m / width) + 2)
    left = comb.position_m - element.width_m / 2
    first = np.clip(np.floor((-reach_m - left) / width), 0, parts - most)
    position = left[:, None] + (first[:, None] + np.arange(most) + 0.5) * width
    weight = np.repeat(comb.weight, most)
    return Comb(Slit(width), position.ravel(), weight, comb.count)
