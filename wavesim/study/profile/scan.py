"""The engine's amplitude along one order: on an even grid, or at any positions.

I(mu) = |sum over kinds  E(mu) sum_j w_j exp(-2 pi i mu x_j / d)|^2,   mu = d u
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wavesim.aperture import Aperture, Comb, Rays
from wavesim.arrays import Complexes, Floats
from wavesim.diffraction.far import amplitude
from wavesim.diffraction.far.exact import turn
from wavesim.diffraction.far.sampling import in_blocks
from wavesim.errors import LimitError
from wavesim.grating_equation import propagating, sine_of_order
from wavesim.plate.memory import available_bytes

_EDGE = 21.0  # amplitude exp(-21) at the ends: the sharp ends' tails stay below 1e-20 of a line
_TOLERANCE = 1e-14  # asked of the transform
_BLOCK = 8192  # samples per transform, for rulings up to _LARGE
_LARGE = 1e5
_BYTES = 64  # per sample while a scan is made


@dataclass(frozen=True)
class Illumination:
    """One wavelength on one aperture.

    Attributes
    ----------
    aperture : with its defects
    sine_in : sin(alpha)
    wavelength_m : [m] in the bench's air
    """

    aperture: Aperture
    sine_in: float
    wavelength_m: float

    @property
    def pitch_m(self) -> float:
        """Mean pitch d [m], which turns u into mu."""
        return self.aperture.pitch_m

    @property
    def reach(self) -> tuple[float, float]:
        """Smallest and largest mu that propagates."""
        return propagating(self.wavelength_m, pitch_m=self.pitch_m, sine_in=self.sine_in)

    def sine(self, mu: Floats) -> Floats:
        """sin(beta) at any mu (n,)."""
        sine = sine_of_order(mu, self.wavelength_m, pitch_m=self.pitch_m, sine_in=self.sine_in)
        return np.asarray(sine)

    @property
    def of_a_point(self) -> Illumination:
        """The same in the light of one source point."""
        return replace(self, aperture=self.aperture.towards())

    @property
    def in_power(self) -> list[tuple[float, Illumination]]:
        """What adds up in power: all of it, or the chords of a round beam."""
        return [
            (fraction, replace(self, aperture=part)) for fraction, part in self.aperture.in_power
        ]

    @property
    def edge_amplitude(self) -> float:
        """Amplitude of the beam at its ends over the greatest within."""
        combs = self.aperture.combs
        edge = max(float(np.abs(comb.weight[[0, -1]]).max()) for comb in combs)
        return edge / max(float(np.abs(comb.weight).max()) for comb in combs)

    def amplitude(self, mu: Floats) -> Complexes:
        """A [m] at any mu (n,), exact to 1e-12 of the peak."""
        found: Complexes = amplitude(self.aperture, self.sine_in, self.sine(mu), self.wavelength_m)
        return found

    def intensity(self, mu: Floats) -> Floats:
        """|A|^2 [m2] at any mu (n,), exact to 1e-12 of the peak amplitude."""
        total = np.zeros(mu.shape)
        for fraction, part in self.in_power:
            found = part.amplitude(mu)
            total += fraction * (found.real**2 + found.imag**2)
        return total


@dataclass(frozen=True, eq=False)
class OrderScan:
    """|A|^2 [m2] on the even grid mu = first + k step; `level` is (n,)."""

    first: float
    step: float
    level: Floats

    @property
    def mu(self) -> Floats:
        """(n,) continuous order."""
        return np.asarray(self.first + self.step * np.arange(self.level.size), dtype=np.float64)


def scan(light: Illumination, first: float, last: float, *, fineness: float) -> OrderScan:
    """Sample |A|^2 from `first` to `last` in orders, `fineness` times per 1/(aperture width).

    Cost: one non-uniform FFT of all rulings per kind of element and 8192 samples (per 819,200 of
    a million rulings). Where there is no light, less than 1e-24 of the perfect line is left (up
    to 100,000 rulings, tests/test_profile.py; at isolated positions 5e-22 for a million).

    Raises
    ------
    LimitError
        The samples would not fit into free memory.
    """
    step = light.pitch_m / (light.aperture.width_m * fineness)
    count = max(16, math.ceil((last - first) / step) + 1)
    free = available_bytes()
    if free is not None and count * _BYTES > free / 2:
        raise LimitError(
            f"a scan of {count:,} places needs {count * _BYTES / 2**30:.1f} GiB",
            expected="fewer orders, or a smaller ruling",
        )
    level = np.zeros(count)
    for fraction, part in light.in_power:
        found = _sampled(part, first, step, count)
        level += fraction * (found.real**2 + found.imag**2)
    return OrderScan(first, step, level)


def _sampled(light: Illumination, first: float, step: float, count: int) -> Complexes:
    """A [m] (count,) on an even grid of orders, its phase counted from the aperture's middle."""
    pitch = light.pitch_m
    total = np.zeros(count, dtype=np.complex128)
    for comb in light.aperture.combs:
        part = _interference(comb, light.aperture.centre_m, first / pitch, step / pitch, count)
        _envelope(part, comb, light, first, step)
        total += part
    return total


def _interference(
    comb: Comb, centre_m: float, start_per_m: float, step_per_m: float, count: int
) -> Complexes:
    """sum_j w_j exp(-2 pi i u (x_j - centre)) at u = start + k step, k = 0 .. count-1.

    A non-uniform FFT rounds every angle to 1e-16 of a turn, and sample k of its block is turned by
    k times that, alike for many rulings: a block of 60,000 samples has false ghosts of 1e-23 of a
    line. So the blocks are short, as far as a large ruling leaves time for it.
    """
    x = comb.position_m - centre_m
    angle = 2 * np.pi * step_per_m * x
    out = np.empty(count, dtype=np.complex128)

    def fill(begin: int, end: int) -> None:
        from finufft import nufft1d1

        n = end - begin
        weight = turn(comb.weight, x, start_per_m + (begin + n // 2) * step_per_m)
        nufft1d1(angle, weight, n, out=out[begin:end], isign=-1, eps=_TOLERANCE, nthreads=1)

    in_blocks(fill, count, block=int(_BLOCK * max(1.0, x.size / _LARGE) ** 2))
    return out


def _envelope(
    part: Complexes,
    comb: Comb,
    light: Illumination,
    first: float,
    step: float,
) -> None:
    def multiply(begin: int, end: int) -> None:
        mu = first + step * np.arange(begin, end)
        sine = np.clip(light.sine(mu.astype(np.float64)), -1.0, 1.0)
        part[begin:end] *= comb.element.amplitude(Rays(light.sine_in, sine, light.wavelength_m))

    in_blocks(multiply, part.size)


def softened(light: Illumination, *, edge: float | None = None) -> Illumination:
    """The same ruling seen through a beam that fades to exp(-21) at its ends.

    Lines become Gaussian, about three times as wide, and lose the tails of a sharp end: what
    stands between the orders is then ghosts and diffuse light alone. `edge` is the amplitude that
    the beam has at its ends over its middle, by default the light's own.
    """
    edge = light.edge_amplitude if edge is None else edge
    strength = max(_EDGE + math.log(max(edge, 1e-300)), 0.0)
    return faded(light, lambda along: np.asarray(np.exp(-strength * along**2)))


def out_of_focus(light: Illumination, beta_rad: float, vergence_per_m: float) -> Illumination:
    """The same ruling as seen in a plane before or behind the focus of a direction.

    Weights times exp(i pi (x cos beta)^2 V / lambda), V = 1 / (f + defocus) - 1 / f: the phase by
    which waves that converge to f miss that plane (Fresnel's approximation; Born & Wolf 8.8).
    """
    wave = math.pi * math.cos(beta_rad) ** 2 * vergence_per_m / light.wavelength_m

    def bent(comb: Comb) -> Comb:
        phase = np.exp(1j * wave * (comb.position_m - light.aperture.centre_m) ** 2)
        return Comb(comb.element, comb.position_m, comb.weight * phase)

    combs = tuple(bent(comb) for comb in light.aperture.combs)
    return replace(light, aperture=replace(light.aperture, combs=combs))


def within_lens(light: Illumination, ends_m: tuple[float, float]) -> Illumination:
    """The rulings between two ends [m], which the camera lens lets through.

    Raises
    ------
    LimitError
        None are left.
    """
    low, high = ends_m
    if (low, high) == light.aperture.span_m:
        return light

    def left(comb: Comb) -> Comb:
        inside = (comb.position_m >= low) & (comb.position_m <= high)
        return replace(comb, position_m=comb.position_m[inside], weight=comb.weight[inside])

    combs = tuple(comb for comb in map(left, light.aperture.combs) if comb.position_m.size)
    if not combs:
        raise LimitError(
            "passes no light of this order",
            key="bench.camera_lens",
            expected="a larger lens, one nearer to the rulings, or another order",
        )
    return replace(light, aperture=replace(light.aperture, combs=combs))


def faded(light: Illumination, taper: Callable[[Floats], Floats]) -> Illumination:
    """The same ruling in a beam multiplied by `taper` of -1 to 1 from end to end."""
    low, high = light.aperture.span_m
    half, middle = (high - low) / 2, (high + low) / 2

    def weakened(comb: Comb) -> Comb:
        along = np.clip((comb.position_m - middle) / half, -1.0, 1.0)
        return Comb(comb.element, comb.position_m, comb.weight * taper(along))

    combs = tuple(weakened(comb) for comb in light.aperture.combs)
    return replace(light, aperture=replace(light.aperture, combs=combs))


def weight_moments(aperture: Aperture) -> tuple[float, float, float]:
    """Sums over the rulings of |w|, |w|^2 and |w|^4, over all kinds of element at a position."""
    combs = aperture.combs
    same = all(comb.position_m.size == combs[0].position_m.size for comb in combs)
    if same and len(combs) > 1:
        weight = np.abs(np.sum([comb.weight for comb in combs], axis=0))
    else:
        weight = np.abs(np.concatenate([comb.weight for comb in combs]))
    return float(weight.sum()), float(np.sum(weight**2)), float(np.sum(weight**4))
