"""A spectrum as piecewise quartics: exact integrals over any wavelength bin.

A table of straight pieces is held exactly; a smooth or peaked function is held by pieces that are
halved until the quartic through five of its points meets the function between them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Literal

import numpy as np
from numpy.typing import ArrayLike

from wavesim.arrays import Floats, Indices, frozen
from wavesim.threads import each, in_threads

Level = Literal["radiance", "irradiance"]

POINTS = np.array([-1.0, -0.5, 0.0, 0.5, 1.0])  # where a piece is sampled, on [-1, 1]
_BETWEEN = np.array([-0.75, -0.25, 0.25, 0.75])  # where it is checked
_TO_COEFFICIENTS = np.linalg.inv(np.vander(POINTS, increasing=True)).T
_CHECK = np.vander(_BETWEEN, 5, increasing=True).T
_TOGETHER = 4096  # pieces at a time
_INTEGRAL = np.array([2.0, 0.0, 2.0 / 3.0, 0.0, 2.0 / 5.0])  # of powers of t from -1 to 1
_MOMENT = np.array([0.0, 2.0 / 3.0, 0.0, 2.0 / 5.0, 0.0])
_DEEPEST = 40  # halvings of one piece
_DARK = 1e-280  # a density of no account, where doubles lose their digits


@dataclass(frozen=True)
class Spectrum:
    """Spectral density over air wavelength, as quartics on pieces that do not overlap.

    Attributes
    ----------
    lo_m, hi_m : (n,) arrays [m]
        Ends of the pieces, ascending; there may be gaps, where the density is zero.
    coefficient : (n, 5) array [per m]
        Density sum_k c_k t^k with t from -1 to 1 along the piece.
    kind_of_level : str
        "radiance" [W m-2 sr-1 m-1] or "irradiance" [W m-2 m-1].
    features_m : float [m]
        Full width at half maximum of the narrowest feature; infinite for a smooth continuum.
    error : float
        Relative error of the density against the model it stands for, as built.

    Spectra are shared between exposures: the arrays cannot be written to.
    """

    lo_m: Floats
    hi_m: Floats
    coefficient: Floats
    kind_of_level: Level
    features_m: float = np.inf
    error: float = 0.0

    def __post_init__(self) -> None:
        for name in ("lo_m", "hi_m", "coefficient"):
            object.__setattr__(self, name, frozen(getattr(self, name)))

    @cached_property
    def support_m(self) -> tuple[tuple[float, float], ...]:
        """Intervals that hold the power, ascending [m]."""
        if self.lo_m.size == 0:
            return ()
        gaps = np.flatnonzero(self.lo_m[1:] > self.hi_m[:-1] * (1.0 + 1e-14))
        starts = self.lo_m[np.concatenate(([0], gaps + 1))]
        ends = self.hi_m[np.concatenate((gaps, [self.lo_m.size - 1]))]
        return tuple((float(a), float(b)) for a, b in zip(starts, ends, strict=True))

    @cached_property
    def _running(self) -> tuple[Floats, Floats]:
        """Power, and moment about lo_m[0], of all pieces before each end; (n + 1,) both."""
        c, half = self.coefficient, (self.hi_m - self.lo_m) / 2.0
        power = half * (c @ _INTEGRAL)
        inner = half**2 * (c @ _MOMENT)
        middle = (self.lo_m + self.hi_m) / 2.0 - self.lo_m[0]
        return frozen(_cumulative(power)), frozen(_cumulative(inner + middle * power))

    def integrate(self, edges_lo_m: ArrayLike, edges_hi_m: ArrayLike) -> tuple[Floats, Floats]:
        """Power in each bin and its centre of power.

        P = integral of the density from lo to hi;  c = (1/P) integral of wavelength x density.
        Exact for the pieces to about 1e-12 of P (1e-9 of P for a bin of a millionth of a piece);
        bins may be of any width, disjoint, overlapping or outside the support. About 0.1 us a
        bin and 10 ns a piece within it.

        Parameters
        ----------
        edges_lo_m, edges_hi_m : (k,) arrays [m]
            lo <= hi.

        Returns
        -------
        power : (k,) array [W m-2 sr-1 or W m-2]
        centroid_m : (k,) array [m]
            The middle of the bin where there is no power.
        """
        lo = np.ascontiguousarray(edges_lo_m, dtype=np.float64)
        hi = np.ascontiguousarray(edges_hi_m, dtype=np.float64)
        if self.lo_m.size == 0:
            return np.zeros(lo.shape), (lo + hi) / 2.0
        from wavesim.light import kernels

        pieces = (self.lo_m, self.hi_m, self.coefficient, *self._running)
        power, centroid = np.empty(lo.shape), np.empty(lo.shape)

        def some(some_bins: slice) -> None:
            first, last = self._within(lo[some_bins], hi[some_bins])
            kernels.integrate(
                pieces,
                lo[some_bins],
                hi[some_bins],
                first,
                last,
                power[some_bins],
                centroid[some_bins],
            )

        in_threads(some, lo.size, few=_TOGETHER)
        return power, centroid

    def _within(self, lo_m: Floats, hi_m: Floats) -> tuple[Indices, Indices]:
        """First and last piece of each bin."""
        from wavesim.light import kernels

        if lo_m.size < _TOGETHER or (np.diff(lo_m) < 0).any() or (np.diff(hi_m) < 0).any():
            first = np.searchsorted(self.hi_m, lo_m, side="right")
            return first, np.searchsorted(self.lo_m, hi_m, side="left") - 1
        first, last = np.empty(lo_m.size, np.int64), np.empty(lo_m.size, np.int64)
        kernels.within(self.lo_m, self.hi_m, lo_m, hi_m, first, last)
        return first, last

    def total(self) -> float:
        """Power of the whole spectrum [W m-2 sr-1 or W m-2]."""
        return float(self._running[0][-1]) if self.lo_m.size else 0.0

    def density(self, wavelength_m: ArrayLike) -> Floats:
        """Spectral density at any wavelengths [per m]; zero outside the support. (...) -> (...)."""
        wavelength = np.asarray(wavelength_m, dtype=np.float64)
        if self.lo_m.size == 0:
            return np.zeros(wavelength.shape)
        piece = np.clip(np.searchsorted(self.lo_m, wavelength, side="right") - 1, 0, None)
        inside = (wavelength >= self.lo_m[piece]) & (wavelength <= self.hi_m[piece])
        return np.where(inside, self._on_piece(wavelength, piece), 0.0)

    def _on_piece(self, wavelength_m: Floats, piece: Indices) -> Floats:
        lo, hi = self.lo_m[piece], self.hi_m[piece]
        t = (2.0 * wavelength_m - lo - hi) / (hi - lo)
        c = self.coefficient
        total = c[piece, 4]
        for k in range(3, -1, -1):
            total = total * t + c[piece, k]
        return np.asarray(total, dtype=np.float64)

    def scaled(self, factor: float, kind_of_level: Level | None = None) -> Spectrum:
        """The same spectrum times a number, optionally renamed radiance or irradiance."""
        kind = kind_of_level or self.kind_of_level
        return replace(self, coefficient=self.coefficient * factor, kind_of_level=kind)

    def with_error(self, error: float) -> Spectrum:
        """The same spectrum with another stated error."""
        return replace(self, error=error)

    def nonnegative(self) -> Spectrum:
        """Pieces that a fit took below zero made straight between their ends, at least zero."""
        powers = np.vander(np.linspace(-1.0, 1.0, 17), 5, increasing=True).T
        low = np.flatnonzero((self.coefficient @ powers).min(axis=1, initial=0.0) < 0.0)
        ends = np.maximum(self.coefficient[low] @ powers[:, [0, -1]], 0.0)
        coefficient = self.coefficient.copy()
        coefficient[low] = 0.0
        coefficient[low, 0] = ends.mean(axis=1)
        coefficient[low, 1] = (ends[:, 1] - ends[:, 0]) / 2.0
        return replace(self, coefficient=coefficient)

    def clipped(self, lo_m: float, hi_m: float) -> Spectrum:
        """The part between two wavelengths."""
        if self.lo_m.size and self.lo_m[0] >= lo_m and self.hi_m[-1] <= hi_m:
            return self
        keep = np.flatnonzero((self.hi_m > lo_m) & (self.lo_m < hi_m))
        lo, hi = np.maximum(self.lo_m[keep], lo_m), np.minimum(self.hi_m[keep], hi_m)
        return self._resampled(lo, hi, keep)

    def _resampled(self, lo_m: Floats, hi_m: Floats, piece: Indices) -> Spectrum:
        samples = self._on_piece(sample_points(lo_m, hi_m), np.repeat(piece[:, None], 5, axis=1))
        return replace(self, lo_m=lo_m, hi_m=hi_m, coefficient=samples @ _TO_COEFFICIENTS)

    def times(
        self,
        transmittance: Callable[[Floats], Floats],
        *,
        breaks_m: ArrayLike = (),
        range_m: tuple[float, float] = (0.0, np.inf),
        tolerance: float = 1e-9,
        floor: float = 1e-3,
        fine_m: float = 0.0,
    ) -> Spectrum:
        """The spectrum behind a filter.

        Pieces are halved until the quartic of the product is right to `tolerance` of its largest
        value on the piece, or to `tolerance` x `floor` of the largest anywhere.

        Parameters
        ----------
        transmittance : function of wavelength [m], (...) -> (...)
        breaks_m : (k,) array [m]
            Where it has corners.
        range_m : pair [m]
            Outside, the filter passes nothing.
        fine_m : float [m]
            Pieces no wider than this are not checked: with a thousandth of the filter's width the
            error is 1e-3 of the piece's own curvature terms, below 1e-5 for the Sun.
        """
        inside = self.clipped(*range_m)
        ends = np.asarray(breaks_m, dtype=np.float64)
        lo, hi, piece = _split_at(inside.lo_m, inside.hi_m, np.unique(ends))

        def product(wavelength: Floats, part: Indices) -> Floats:
            from wavesim.light import kernels

            found = np.empty(wavelength.shape)
            segments = inside.lo_m, inside.hi_m, inside.coefficient, piece[part[:, 0]]
            kernels.density(*segments, wavelength, found)
            found *= transmittance(wavelength)
            return found

        lo, hi, coefficient = fit(product, lo, hi, tolerance=tolerance, floor=floor, fine_m=fine_m)
        error = self.error + tolerance
        return replace(self, lo_m=lo, hi_m=hi, coefficient=coefficient, error=error)


def from_function(
    density: Callable[[Floats], Floats],
    breaks_m: ArrayLike,
    kind_of_level: Level,
    *,
    features_m: float = np.inf,
    tolerance: float = 1e-10,
    floor: float = 1e-3,
) -> Spectrum:
    """Spectrum of any function [per m], between the first and the last of `breaks_m` [m].

    Breaks are corners of the function and positions that guide the halving to its narrow features:
    one at each line's centre and at its flanks is enough. The error is `tolerance` of the density,
    or of `floor` x the highest density where that is more.
    """
    ends = np.unique(np.asarray(breaks_m, dtype=np.float64))
    lo, hi, coefficient = fit(
        lambda wavelength, _part: density(wavelength),
        ends[:-1],
        ends[1:],
        tolerance=tolerance,
        floor=floor,
    )
    return Spectrum(lo, hi, coefficient, kind_of_level, features_m, tolerance)


def from_nodes(
    wavelength_m: Floats, density: Floats, kind_of_level: Level, *, features_m: float = np.inf
) -> Spectrum:
    """Spectrum of straight pieces through a table's points; held exactly. (n,), (n,)."""
    coefficient = np.zeros((wavelength_m.size - 1, 5))
    coefficient[:, 0] = (density[1:] + density[:-1]) / 2.0
    coefficient[:, 1] = (density[1:] - density[:-1]) / 2.0
    lo, hi = np.ascontiguousarray(wavelength_m[:-1]), np.ascontiguousarray(wavelength_m[1:])
    return Spectrum(lo, hi, coefficient, kind_of_level, features_m)


def from_grid(start_m: float, spacing_m: float, density: Floats, features_m: float) -> Spectrum:
    """Radiance on an even grid of 4 n + 1 points, as n pieces of five points each."""
    count = (density.size - 1) // 4
    samples = np.lib.stride_tricks.sliding_window_view(density, 5)[::4]
    ends = np.asarray(start_m + 4.0 * spacing_m * np.arange(count + 1), dtype=np.float64)
    return Spectrum(ends[:-1], ends[1:], samples @ _TO_COEFFICIENTS, "radiance", features_m)


def joined(*spectra: Spectrum) -> Spectrum:
    """Spectra on ascending, separate ranges as one."""
    first = spectra[0]
    return replace(
        first,
        lo_m=np.concatenate([s.lo_m for s in spectra]),
        hi_m=np.concatenate([s.hi_m for s in spectra]),
        coefficient=np.concatenate([s.coefficient for s in spectra]),
        features_m=min(s.features_m for s in spectra),
        error=max(s.error for s in spectra),
    )


def sample_points(lo_m: Floats, hi_m: Floats) -> Floats:
    """The five sample points of pieces (n,) -> (n, 5) [m]."""
    return np.asarray((lo_m + hi_m)[:, None] / 2.0 + (hi_m - lo_m)[:, None] / 2.0 * POINTS)


def fit(
    function: Callable[[Floats, Indices], Floats],
    lo_m: Floats,
    hi_m: Floats,
    *,
    tolerance: float,
    floor: float = 1e-3,
    fine_m: float = 0.0,
) -> tuple[Floats, Floats, Floats]:
    """Quartics that meet function(wavelength (n, 5), piece (n, 1)), pieces halved as needed."""
    fine = hi_m - lo_m <= fine_m
    part = np.arange(lo_m.size)[:, None]
    done = [_unchecked(function, lo_m[fine], hi_m[fine], part[fine])]
    highest = float(np.abs(done[0][2].sum(axis=1)).max(initial=0.0))  # at the pieces' ends
    lo_m, hi_m, part = lo_m[~fine], hi_m[~fine], part[~fine]
    for _ in range(_DEEPEST if lo_m.size else 0):
        samples = function(sample_points(lo_m, hi_m), part)
        coefficient = samples @ _TO_COEFFICIENTS
        size = np.abs(samples).max(axis=1, initial=0.0)
        highest = max(highest, float(size.max(initial=0.0)))
        good = hi_m - lo_m <= np.maximum(fine_m, 1e-13 * hi_m)
        open_ = np.flatnonzero(~good)
        middle, half = (lo_m + hi_m)[open_, None] / 2.0, (hi_m - lo_m)[open_, None] / 2.0
        check = function(middle + half * _BETWEEN, part[open_])
        miss = np.abs(check - coefficient[open_] @ _CHECK).max(axis=1, initial=0.0)
        good[open_] = miss <= tolerance * np.maximum(size[open_], floor * highest) + _DARK
        done.append((lo_m[good], hi_m[good], coefficient[good]))
        if good.all():
            break
        lo, hi, part = lo_m[~good], hi_m[~good], part[~good]
        lo_m = np.concatenate((lo, (lo + hi) / 2.0))
        hi_m = np.concatenate(((lo + hi) / 2.0, hi))
        part = np.concatenate((part, part))
    if len(done) == 1:
        return done[0]
    lo_all, hi_all = (np.concatenate([d[k] for d in done]) for k in (0, 1))
    order = np.argsort(lo_all, kind="stable")
    return lo_all[order], hi_all[order], np.concatenate([d[2] for d in done])[order]


def _unchecked(
    function: Callable[[Floats, Indices], Floats], lo_m: Floats, hi_m: Floats, part: Indices
) -> tuple[Floats, Floats, Floats]:
    """Quartics of pieces that are not halved, some at a time, which stay in the cache."""
    coefficient = np.empty((lo_m.size, 5))

    def some(first: int) -> None:
        some_bins = slice(first, first + _TOGETHER)
        coefficient[some_bins] = (
            function(sample_points(lo_m[some_bins], hi_m[some_bins]), part[some_bins])
            @ _TO_COEFFICIENTS
        )

    each(some, range(0, lo_m.size, _TOGETHER))
    return lo_m, hi_m, coefficient


def _split_at(lo_m: Floats, hi_m: Floats, breaks_m: Floats) -> tuple[Floats, Floats, Indices]:
    """Pieces cut at the breaks, and which piece each came from."""
    piece = np.searchsorted(lo_m, breaks_m, side="left") - 1
    cut = (piece >= 0) & (breaks_m < hi_m[np.maximum(piece, 0)]) if lo_m.size else piece > 0
    breaks, piece = breaks_m[cut], piece[cut]
    lo = np.concatenate((lo_m, breaks))
    order = np.argsort(lo)
    source = np.concatenate((np.arange(lo_m.size), piece))[order]
    hi = np.concatenate((hi_m, breaks))
    return lo[order], np.sort(hi), source


def _cumulative(values: Floats) -> Floats:
    running = np.zeros(values.size + 1)
    running[1:] = np.cumsum(values.astype(np.longdouble))
    return running
