"""Fields that leave a face into a half-space, from the modes computed along the face.

They are spanned by the orthogonal vectors of an ordered Schur form, since eigenvectors are nearly
parallel in deep grooves. Evanescent modes go where they fall away. The waves of travelling orders,

    exp(i alpha_n x +- i beta_n y)

are one where an order passes off, and there the smallest error d of beta_n^2 in computed modes
makes one of sqrt(d) in beta_n. The space that both span together (at grazing exp(i alpha_n x) and
y exp(i alpha_n x)) is computed as well as any other. Out of it are taken the fields that hold
nothing of the wave coming in: by Green's theorem (`face`) for that wave, whose beta_n is exact.
"""

from __future__ import annotations

import numpy as np

from wavesim.arrays import Complexes, Flags, Indices
from wavesim.grooves.schur import schur_form
from wavesim.grooves.waves import IncidentWaves

_NEAR = 0.05  # of |kappa^2|: orders beyond grazing by less are told apart as travelling ones are
_CLEAR = 0.05  # of |kappa^2|: with a larger imaginary part, all modes clearly rise or fall


def known_orders(wave: IncidentWaves, eps: Complexes) -> Indices:
    """Orders of one wave (a batch of one) that travel, or nearly so; none in a metal."""
    squared = wave.transverse(eps)[0]
    if abs(squared.imag) > _CLEAR * abs(squared):
        return np.empty(0, dtype=np.intp)
    order = wave.orders(eps + 0j)
    order = np.arange(order[0] - 1, order[-1] + 2)
    alpha = wave.alpha[0] + 2 * np.pi * order
    return np.asarray(order[squared.real - alpha**2 > -_NEAR * abs(squared)])


def falling(
    matrix: Complexes, shift: complex, up: Complexes, down: Complexes, *, rising: bool
) -> Complexes:
    """(2 n, n + k) orthogonal vectors that span the modes of known exponents, and of the others
    those that fall away.

    Parameters
    ----------
    matrix : (2 n, 2 n) with eigenvalues 1 / (rho - shift)
    up, down : (k,) known exponents
    rising : whether they fall away upwards
    """
    from scipy.linalg.lapack import ztrsen

    triangle, basis = schur_form(matrix)
    rho = np.asarray(shift + 1 / np.diag(triangle))
    falling_ones = _divided(rho, np.concatenate([up, down]), rising=rising)
    ordered = ztrsen(falling_ones.astype(np.int32), triangle, basis, job="N")[1]
    return np.asarray(ordered[:, : int(falling_ones.sum())])


def _divided(rho: Complexes, known: Complexes, *, rising: bool) -> Flags:
    """(2 n,) whether a mode is one of the 2 k known ones, or of the n - k that fall away."""
    group = _nearest(rho, known)
    falls = np.array(rho.imag if rising else -rho.imag)
    falls[group] = -np.inf
    falling_ones = np.zeros(rho.size, dtype=np.bool_)
    falling_ones[np.argsort(-falls, kind="stable")[: (rho.size - known.size) // 2]] = True
    falling_ones[group] = True
    return falling_ones


def _nearest(rho: Complexes, target: Complexes) -> list[int]:
    """Index of one exponent for each target, none twice."""
    apart = np.abs(rho - target[:, None])
    chosen: list[int] = []
    for row in apart:
        row[chosen] = np.inf
        chosen.append(int(np.argmin(row)))
    return chosen


def without_incoming(received: Complexes) -> Complexes:
    """(m, m - k) unit combinations of m fields in which k waves coming in (k, m) are not."""
    from scipy.linalg import qr

    scaled = received / np.linalg.norm(received, axis=1, keepdims=True)
    return np.asarray(qr(np.conj(scaled).T)[0][:, received.shape[0] :])
