"""The amplitude of the far field at any directions, exact to 1e-12 of the peak."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from wavesim.aperture.combs import Aperture, Comb
from wavesim.aperture.elements import Rays
from wavesim.arrays import Complexes, Floats
from wavesim.diffraction.far.exact import direct_sum, frequency, turn

_TOLERANCE = 1e-14  # asked of the non-uniform FFT; it delivers about 1e-14 of the l1 norm
_DIRECT_COST = 20e-9  # [s] per element and direction, summed plainly (measured, one core)
_TRANSFORM_COST = 150e-9  # [s] per element of one non-uniform FFT (measured, one core)
_RING = 16.0


def amplitude(
    aperture: Aperture, sine_in: float, sine_out: Floats, wavelength_m: float
) -> Complexes:
    """Far-field amplitude per unit height,

        A = sum over kinds  E(u) sum_j w_j exp(-2 pi i u x_j),   u = (sin alpha + sin beta) / lambda

    Parameters
    ----------
    aperture : elements and positions
    sine_in : sin(alpha)
    sine_out : (n,) sin(beta), in any order
    wavelength_m : [m] in the air of the bench

    Returns
    -------
    (n,) complex [m]; |A|^2 du integrates to the open width (Parseval).

    Notes
    -----
    Whole orders are taken off in doubled precision, what remains goes to a non-uniform FFT
    (Barnett, Magland, af Klinteberg 2019, SIAM J. Sci. Comput. 41, C479) or, for few
    directions, to a compensated sum. Error: below 1e-12 of the peak against a sum in extended
    precision, 60,000 displaced rulings (tests/test_farfield.py). Scalar theory, far field.
    """
    sines = np.atleast_1d(np.asarray(sine_out, dtype=np.float64))
    u_hi, u_lo = frequency(sine_in, sines, wavelength_m)
    rays = Rays(sine_in, sines, wavelength_m)
    total = np.zeros(sines.shape, dtype=np.complex128)
    for comb in aperture.combs:
        total += comb.element.amplitude(rays) * interference(comb, u_hi, u_lo, aperture.pitch_m)
    return total


def amplitude_in_round_beam(
    aperture: Aperture, sine_in: float, sine_out: Floats, rise: Floats, wavelength_m: float
) -> Complexes:
    """The same where a round beam leaves another height of each ruling.

        A = sum over kinds  E(u) sum_j w_j l_j sinc(l_j v) / h exp(-2 pi i u x_j)

    v = rise / lambda, l_j the chord of the beam along ruling j, h the height. One amplitude for
    each different rise.
    """
    sines, rises = np.broadcast_arrays(np.atleast_1d(sine_out), rise)
    total = np.zeros(sines.shape, dtype=np.complex128)
    for value in np.unique(rises):
        chosen = rises == value
        weighted = aperture.towards(float(value) / wavelength_m)
        total[chosen] = amplitude(weighted, sine_in, sines[chosen], wavelength_m)
    return total


def interference(comb: Comb, u_hi: Floats, u_lo: Floats, pitch_m: float) -> Complexes:
    """Sum over positions of w exp(-2 pi i u x) at u = u_hi + u_lo [1/m]; shape of u_hi."""
    order = np.rint(u_hi * pitch_m)
    out = np.empty(u_hi.shape, dtype=np.complex128)
    for m in np.unique(order):
        near = np.flatnonzero(order == m)
        offset = (u_hi[near] - m / pitch_m) + u_lo[near]
        for rows in _rings(np.abs(offset) * pitch_m):
            chosen = near[rows]
            out[chosen] = _ring(comb, u_hi[chosen], u_lo[chosen], m / pitch_m)
    return out


def _rings(distance: Floats) -> list[npt.NDArray[np.intp]]:
    """Indices by distance from the order, a factor of `_RING` each.

    A non-uniform FFT places its frequencies with an error of eps times its widest one, and the
    amplitude changes like 1/distance: rings keep the product of the two at rounding level.
    """
    with np.errstate(divide="ignore"):
        ring = np.floor(np.log(np.maximum(distance, 1e-9)) / np.log(_RING))
    return [np.flatnonzero(ring == r) for r in np.unique(ring)]


def _ring(comb: Comb, u_hi: Floats, u_lo: Floats, centre: float) -> Complexes:
    n = comb.position_m.size
    if u_hi.size * n * _DIRECT_COST < n * _TRANSFORM_COST + 1e-3:
        out = np.empty(u_hi.shape, dtype=np.complex128)
        direct_sum(comb.weight, comb.position_m, u_hi, u_lo, out)
        return out
    from finufft import nufft1d3

    weight = turn(comb.weight, comb.position_m, centre)
    offset = (u_hi - centre) + u_lo
    reach = np.abs(offset).max()
    both_ways = np.concatenate([offset, [-reach, reach]])  # centred on the order
    result: Complexes = nufft1d3(
        2 * np.pi * comb.position_m, weight, both_ways, isign=-1, eps=_TOLERANCE, nthreads=1
    )
    return result[:-2]
