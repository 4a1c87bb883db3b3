# mypy: disable-error-code="no-untyped-def, no-untyped-call, untyped-decorator"
"""Compiled loops: integrals of a piecewise spectrum, and the transmission of thousands of lines.

Imported only when a spectrum is integrated or the Sun is built, because numba takes a while.
"""

from __future__ import annotations

import math

import numpy as np

from wavesim.compiled import compiled

# three-point Gauss-Legendre: exact to degree 5, so for a quartic density and its first moment
_NODE = math.sqrt(0.6)
_SIDE = 5.0 / 9.0
_MIDDLE = 8.0 / 9.0
_jit = compiled(fastmath=False, error_model="python")
_SHORT = 64  # segments in a bin up to which they are summed one by one


@compiled(inline="always", fastmath=False, error_model="python")
def _value(c, k, t):
    return c[k, 0] + t * (c[k, 1] + t * (c[k, 2] + t * (c[k, 3] + t * c[k, 4])))


@_jit
def _part(lo, hi, c, k, a, b, origin):
    """Power and first moment about `origin` of segment k between a and b."""
    middle, half = 0.5 * (lo[k] + hi[k]), 0.5 * (hi[k] - lo[k])
    centre, reach = 0.5 * (a + b), 0.5 * (b - a)
    t0, dt = (centre - middle) / half, reach / half * _NODE
    left = _SIDE * _value(c, k, t0 - dt)
    right = _SIDE * _value(c, k, t0 + dt)
    power = reach * (left + _MIDDLE * _value(c, k, t0) + right)
    return power, reach * reach * _NODE * (right - left) + (centre - origin) * power


@_jit
def density(lo, hi, c, piece, wavelength, out):
    """out (n, m) = density of the segments `piece` (n,) at wavelength (n, m)."""
    for i in range(piece.size):
        k = piece[i]
        for j in range(wavelength.shape[1]):
            out[i, j] = _value(c, k, (2.0 * wavelength[i, j] - lo[k] - hi[k]) / (hi[k] - lo[k]))


@_jit
def within(lo, hi, edges_lo, edges_hi, firsts, lasts):
    """First and last segment of each bin; the edges ascend."""
    first, last = 0, -1
    for i in range(edges_lo.size):
        while first < hi.size and hi[first] <= edges_lo[i]:
            first += 1
        while last + 1 < lo.size and lo[last + 1] < edges_hi[i]:
            last += 1
        firsts[i], lasts[i] = first, last


@_jit
def integrate(pieces, edges_lo, edges_hi, firsts, lasts, power, centroid):
    """Power and centre of power of every bin; see `Spectrum.integrate`.

    `pieces` = (lo, hi, c, powers, moments); `powers` and `moments` (n + 1,) are running sums over
    whole segments, moments about lo[0]. A bin's light comes from its segments first to last.
    Bins of up to 64 whole segments are summed directly, because a difference of running sums
    loses digits in a narrow bin.
    """
    lo, hi, c, powers, moments = pieces
    for i in range(edges_lo.size):
        a, b = edges_lo[i], edges_hi[i]
        middle = 0.5 * (a + b)
        first, last = firsts[i], lasts[i]
        total, moment = 0.0, 0.0
        if last - first > _SHORT:
            p, m = _part(lo, hi, c, first, max(a, lo[first]), hi[first], middle)
            total, moment = total + p, moment + m
            p = powers[last] - powers[first + 1]
            total += p
            moment += moments[last] - moments[first + 1] + (lo[0] - middle) * p
            p, m = _part(lo, hi, c, last, lo[last], min(b, hi[last]), middle)
            total, moment = total + p, moment + m
        else:
            for k in range(first, last + 1):
                p, m = _part(lo, hi, c, k, max(a, lo[k]), min(b, hi[k]), middle)
                total, moment = total + p, moment + m
        power[i] = total
        centroid[i] = min(max(middle + moment / total, a), b) if total > 0.0 else middle


@_jit
def _narrow(x, y, table, step):
    """Voigt profile by its Taylor series in y; table[n] holds the n-th term on a grid of x."""
    position = abs(x) / step
    k = int(position)
    f = position - k
    total = 0.0
    for n in range(table.shape[1] - 1, -1, -1):
        total = total * y + (table[k, n] + f * (table[k + 1, n] - table[k, n]))
    return total


@_jit
def _wide(x, y, scale, series):
    """Voigt profile by Weideman's series; see `wavesim.light.voigt`."""
    z = complex(x, y)
    pole = scale - 1j * z
    ratio = (scale + 1j * z) / pole
    total = 0.0 + 0.0j
    for n in range(series.size):
        total = total * ratio + series[n]
    return (2.0 * total / (pole * pole) + 0.5641895835477563 / pole).real


@_jit
def _tail(x, y):
    """Real part of i z / sqrt(pi) / (z^2 - 1/2): for |z| > 8, error |z|^-4 / 2 of the tail."""
    xx, yy = x * x, y * y
    a = yy - xx + 0.5
    return 0.5641895835477563 * y * (xx + yy + 0.5) / (a * a + 4.0 * xx * yy)


@_jit
def _profile(x, y, table, step, scale, series):
    square = x * x + y * y
    if square > 64.0:
        return _tail(x, y)
    if y < 0.15:
        return _narrow(x, y, table, step)
    return _wide(x, y, scale, series)


@_jit
def transmission(start, spacing, count, stride, lines, cut, near, tools):
    """Product over lines of 1 - depth V(x)/V(0) on the grid start + spacing * arange(count).

    Within `near` of its centre (5 Gaussian or 3 Lorentz widths for a broad line) a line is
    evaluated at every node; its wing on a grid `stride` times coarser, out to where it takes away
    less than `cut`. So that the coarse grid carries something smooth, the wing is continued
    inwards by a flat cap, which the fine grid divides out again.

    lines (n, 4): centre, depth, Gaussian and Lorentz FWHM, in the grid's unit.
    Returns fine (count,) and coarse (count // stride + 5,), the latter starting two steps early;
    the transmission is fine x the coarse product interpolated.
    """
    table, step, scale, series = tools
    fine = np.ones(count)
    coarse = np.ones(count // stride + 5)
    wide = spacing * stride
    origin = start - 2.0 * wide
    for n in range(lines.shape[0]):
        centre, depth, gaussian, lorentz = lines[n]
        unit = 2.0 * 0.8325546111576977 / gaussian
        y = 0.5 * lorentz * unit
        scaled = depth / _profile(0.0, y, table, step, scale, series)
        reach = max(near, 5.0 * gaussian, 3.0 * lorentz)
        edge = scaled * _profile(reach * unit, y, table, step, scale, series)
        far = reach * max(1.0, math.sqrt(edge / cut))
        for k in range(
            max(0, math.ceil((centre - far - origin) / wide)),
            min(coarse.size - 1, math.floor((centre + far - origin) / wide)) + 1,
        ):
            x = abs(origin + k * wide - centre)
            if x > reach:
                coarse[k] *= 1.0 - scaled * _tail(x * unit, y)
            else:
                u = 1.0 - (x / reach) ** 2
                coarse[k] *= 1.0 - edge * (1.0 + u + u * u)
        for k in range(
            max(0, math.ceil((centre - reach - start) / spacing)),
            min(count - 1, math.floor((centre + reach - start) / spacing)) + 1,
        ):
            x = start + k * spacing - centre
            u = 1.0 - (x / reach) ** 2
            v = scaled * _profile(x * unit, y, table, step, scale, series)
            fine[k] *= (1.0 - v) / (1.0 - edge * (1.0 + u + u * u))
    return fine, coarse


@_jit
def spread(fine, coarse, stride):
    """fine x the coarse grid read by four-point Lagrange interpolation."""
    result = np.empty_like(fine)
    for i in range(fine.size):
        k = i // stride
        f = (i - k * stride) / stride
        a, b, c, d = (
            coarse[k + 1],
            coarse[k + 2],
            coarse[k + 3],
            coarse[min(k + 4, coarse.size - 1)],
        )
        result[i] = fine[i] * (
            -a * f * (f - 1.0) * (f - 2.0) / 6.0
            + b * (f + 1.0) * (f - 1.0) * (f - 2.0) / 2.0
            - c * (f + 1.0) * f * (f - 2.0) / 2.0
            + d * (f + 1.0) * f * (f - 1.0) / 6.0
        )
    return result


@_jit
def optical_depth(wavelength, centre, strength, gaussian, lorentz, scale, series):
    """Sum of strength x Voigt profile of unit area over lines of one pair of widths; (n,)."""
    unit = 2.0 * 0.8325546111576977 / gaussian
    y = 0.5 * lorentz * unit
    total = np.zeros(wavelength.size)
    for i in range(wavelength.size):
        for k in range(centre.size):
            x = (wavelength[i] - centre[k]) * unit
            near = x * x + y * y <= 64.0
            value = _wide(x, y, scale, series) if near else _tail(x, y)
            total[i] += strength[k] * value
        total[i] *= unit * 0.5641895835477563
    return total
