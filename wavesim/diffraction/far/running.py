"""The running integral of the far-field power over u, as a table read in constant time.

    T(u) = integral from u_0 to u of |A(u')|^2 du'    [m]

Everything a plate needs is a difference of T: the power between the two edges of a pixel at
any wavelength is T(p2 / lambda) - T(p1 / lambda), however much structure lies between them.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from wavesim.arrays import Complexes, Floats
from wavesim.compiled import compiled
from wavesim.diffraction.far.resampling import resampled
from wavesim.threads import each

CELLS = 8  # cells of the table per 1 / (aperture width), at least
_SMALL = 16384  # cells that cost next to nothing
_BEFORE, _AFTER = 5, 6  # samples used left of a cell's start and right of it
_DEGREE = 5
_TOGETHER = 1 << 16  # cells that one thread adds up

Spans = list[tuple[float, float]]


@dataclass(frozen=True, eq=False)
class RunningIntegral:
    """Piecewise polynomials of the running integral.

    Attributes
    ----------
    start_per_m : u of the first cell's left edge [1/m]
    step_per_m : width of a cell [1/m]
    once : (n, 6) [m]; in cell j, with t from 0 to 1, T = sum_k once[j, k] t^k
    twice : (n, 7) or None; the running integral of T over u / step, same reading

    Notes
    -----
    |A|^2 is band-limited to the aperture's width W, so the coefficients of a cell are a fixed
    linear map of twelve samples about it, found once by least squares over that band. Error
    measured against Gauss-Legendre quadrature: below 1e-6 of the local peak times 1/W at eight
    cells per 1/W (tests/test_farfield.py); rounding of the sum adds 1e-16 of the total.
    """

    start_per_m: float
    step_per_m: float
    once: Floats
    twice: Floats | None = None

    def read(self, u_per_m: Floats) -> Floats:
        """T [m] at those u, which must lie inside the table."""
        return self._polynomial(self.once, u_per_m)

    def read_twice(self, u_per_m: Floats) -> Floats:
        """Integral of T over u [1] at those u.

        Raises
        ------
        ValueError
            The table was made without its second integral.
        """
        if self.twice is None:
            raise ValueError("this table holds no second integral; make it with integrate_again")
        return self._polynomial(self.twice, u_per_m) * self.step_per_m

    def _polynomial(self, coefficients: Floats, u_per_m: Floats) -> Floats:
        s = (np.asarray(u_per_m) - self.start_per_m) / self.step_per_m
        if s.size and not (s.min() > -1 and s.max() < coefficients.shape[0] + 1):
            raise ValueError("these directions lie outside the table")
        found = np.empty(s.shape)
        _read(coefficients, s.ravel(), found.reshape(-1))
        return found


@compiled(fastmath=False)
def _read(coefficients, s, out):  # type: ignore[no-untyped-def]
    """out[n] = the polynomial of the cell that s[n] lies in."""
    degree = coefficients.shape[1] - 1
    for n in range(s.size):
        cell = min(max(int(np.floor(s[n])), 0), coefficients.shape[0] - 1)
        t = s[n] - cell
        value = coefficients[cell, degree]
        for k in range(degree - 1, -1, -1):
            value = value * t + coefficients[cell, k]
        out[n] = value


def cells_for(width_m: float, first_per_m: float, last_per_m: float) -> int:
    """Cells per 1/W: `CELLS`, and up to eight times as many where the table stays small.

    A table of few cells is cheap, and its error falls with the fifth power of their number.
    """
    spans = width_m * (last_per_m - first_per_m) + 1.0
    return int(np.clip(_SMALL / spans, CELLS, 8 * CELLS))


def integral_of(
    power: Callable[[Floats], Floats],
    width_m: float,
    first_per_m: float,
    last_per_m: float,
    *,
    again: bool = False,
    costly: bool = False,
) -> RunningIntegral:
    """Running integral of a function of u that is band-limited to `width_m`.

    A `costly` one is asked for as few values as tell it (`resampling`: 1e-8 of its peak nearby).
    """
    cells = cells_for(width_m, first_per_m, last_per_m)
    step = 1.0 / (cells * width_m)
    start, count = guarded(first_per_m, last_per_m, step)

    def on_grid(first: float, apart: float, number: int) -> Floats:
        return power(first + apart * np.arange(number, dtype=np.float64))

    if costly:
        samples = resampled(on_grid, width_m, start, step, count)
    else:
        samples = on_grid(start, step, count)
    table = integrate(samples, start, step, cells)
    return integrate_again(table) if again else table


def guarded(first_per_m: float, last_per_m: float, step_per_m: float) -> tuple[float, int]:
    """Start and number of the samples needed to integrate from `first_per_m` to `last_per_m`."""
    cells = int(np.ceil((last_per_m - first_per_m) / step_per_m)) + 2
    return first_per_m - (_BEFORE + 0.5) * step_per_m, cells + _BEFORE + _AFTER


def integrate(
    samples: Floats,
    start_per_m: float,
    step_per_m: float,
    cells: int = CELLS,
    spans: Spans | None = None,
) -> RunningIntegral:
    """Running integral of samples of |A|^2 [m2] taken every `step_per_m` from `start_per_m`.

    Parameters
    ----------
    samples : (n,) with at least `cells` samples per 1/(aperture width)
    spans : stretches of u [1/m], ascending and apart, of which alone the table is made; each
        begins at a T of its own
    """
    count = samples.size - _BEFORE - _AFTER
    once = np.empty((count, _DEGREE + 1))
    start = start_per_m + _BEFORE * step_per_m
    stencil = _stencil(cells // CELLS * CELLS) * step_per_m
    parts = _parts(count, start, step_per_m, spans)
    _add_up(once, parts, lambda a, z: _fill(samples, stencil, once, a, z))
    return RunningIntegral(start, step_per_m, once)


def integrate_again(table: RunningIntegral, spans: Spans | None = None) -> RunningIntegral:
    """The same table with the running integral of T over u / step beside it."""
    once = table.once
    twice = np.empty((once.shape[0], _DEGREE + 2))
    parts = _parts(once.shape[0], table.start_per_m, table.step_per_m, spans)
    _add_up(twice, parts, lambda a, z: _fill_twice(once, twice, a, z))
    return RunningIntegral(table.start_per_m, table.step_per_m, once, twice)


def _parts(
    count: int, start_per_m: float, step_per_m: float, spans: Spans | None
) -> list[tuple[int, int]]:
    """Cells first .. last - 1 of parts of a table that are made side by side."""
    wanted = [(0, count)]
    if spans is not None:
        cells = [[(u - start_per_m) / step_per_m for u in span] for span in spans]
        wanted = [(max(int(a) - 1, 0), min(int(z) + 2, count)) for a, z in cells]
    return [(n, min(n + _TOGETHER, z)) for a, z in wanted for n in range(a, z, _TOGETHER)]


def _add_up(table: Floats, parts: list[tuple[int, int]], fill: Callable[[int, int], float]) -> None:
    """Fill the parts of a table, each from 0 on, and lift each by those that it follows."""
    totals = each(lambda part: fill(*part), parts)
    first = 0
    for k, (a, z) in enumerate(parts):
        if k and parts[k - 1][1] < a:
            first = k
        if k > first:
            table[a:z, 0] += math.fsum(totals[first:k])


@lru_cache(maxsize=8)
def _stencil(cells: int) -> Floats:
    """(5, 12): coefficients 1 to 5 of a cell from the twelve samples about it, step 1.

    A sample train exp(i theta n) with |theta| <= 2 pi / cells asks for the quintic nearest to
    (exp(i theta t) - 1) / (i theta) that meets it at both ends of the cell; the twelve weights are
    the least-squares answer over all theta, favouring small lags as an aperture's
    autocorrelation does.
    """
    theta = np.linspace(0.0, 2 * np.pi / cells, 241)[1:]
    wanted = np.vstack([_best_quintic(theta), _best_quintic(-theta)])
    theta = np.concatenate([theta, -theta])
    samples = np.exp(1j * np.outer(theta, np.arange(-_BEFORE, _AFTER + 1)))
    favour = (1.05 - np.abs(theta) * cells / (2 * np.pi))[:, None]
    a = np.vstack([(favour * samples).real, (favour * samples).imag, samples.real[:1] * 0 + 1e3])
    b = np.vstack([(favour * wanted).real, (favour * wanted).imag, [[1e3, 0.0, 0.0, 0.0, 0.0]]])
    return np.ascontiguousarray(np.linalg.lstsq(a, b, rcond=None)[0].T)


def _best_quintic(theta: Floats) -> Complexes:
    """(n, 5) coefficients 1 to 5 of the quintic for each theta."""
    t = 0.5 - 0.5 * np.cos(np.pi * (np.arange(24) + 0.5) / 24)
    exact = np.expm1(1j * np.outer(theta, t)) / (1j * theta[:, None])
    whole = np.expm1(1j * theta) / (1j * theta)
    bubble = (t * (1 - t))[:, None] * t[:, None] ** np.arange(4)
    b = (exact - whole[:, None] * t) @ np.linalg.pinv(bubble).T
    return np.stack(
        [whole + b[:, 0], b[:, 1] - b[:, 0], b[:, 2] - b[:, 1], b[:, 3] - b[:, 2], -b[:, 3]],
        axis=1,
    )


@compiled(fastmath=False)
def _fill(samples, stencil, once, first, last):  # type: ignore[no-untyped-def]
    """Cells first .. last - 1, from 0 on; what they add up to."""
    total = 0.0
    lost = 0.0
    for j in range(first, last):
        once[j, 0] = total
        whole = 0.0
        for k in range(stencil.shape[0]):
            value = 0.0
            for n in range(stencil.shape[1]):
                value += stencil[k, n] * samples[j + n]
            once[j, k + 1] = value
            whole += value
        y = whole - lost
        new = total + y
        lost = (new - total) - y
        total = new
    return total


@compiled(fastmath=False)
def _fill_twice(once, twice, first, last):  # type: ignore[no-untyped-def]
    """The same of the second integral."""
    total = 0.0
    lost = 0.0
    for j in range(first, last):
        twice[j, 0] = total
        whole = 0.0
        for k in range(once.shape[1]):
            twice[j, k + 1] = once[j, k] / (k + 1)
            whole += twice[j, k + 1]
        y = whole - lost
        new = total + y
        lost = (new - total) - y
        total = new
    return total
