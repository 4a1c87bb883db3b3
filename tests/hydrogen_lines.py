"""Balmer lines of hydrogen with their fine structure, from theory.

Dirac levels with the reduced mass, plus the Lamb shift of 2s; strengths from hydrogenic radial
integrals and the standard sharing of a multiplet. Used to make and to check the lamp table.
"""

from __future__ import annotations

from math import factorial, sqrt

import numpy as np

_ALPHA = 7.2973525693e-3  # CODATA 2018
_ELECTRON_PER_M = 299_792_458.0 * 9.1093837015e-31 / 6.62607015e-34  # m c / h
_MASS_RATIO = 1836.15267343
_LAMB_2S_PER_M = 1057.845e6 / 299_792_458.0  # 2s above 2p1/2


def level_per_m(n: int, orbital: int, twice_j: int) -> float:
    """Term value above the ionization limit (negative) [1/m]."""
    k = (twice_j + 1) / 2
    lost = k - sqrt(k * k - _ALPHA**2)
    dirac = 1.0 / sqrt(1.0 + (_ALPHA / (n - lost)) ** 2) - 1.0
    reduced = _MASS_RATIO / (1.0 + _MASS_RATIO)
    lamb = _LAMB_2S_PER_M * 8 / n**3 if orbital == 0 else 0.0
    return _ELECTRON_PER_M * reduced * dirac + lamb


def _radial(n: int, orbital: int, r: np.ndarray) -> np.ndarray:
    from scipy.special import eval_genlaguerre

    norm = sqrt((2 / n) ** 3 * factorial(n - orbital - 1) / (2 * n * factorial(n + orbital)))
    x = 2 * r / n
    return (
        norm * np.exp(-x / 2) * x**orbital * eval_genlaguerre(n - orbital - 1, 2 * orbital + 1, x)
    )


def _radial_square(n: int, upper: int, lower: int) -> float:
    r = np.linspace(0.0, 40.0 + 4.0 * n * n, 200_001)
    product = _radial(n, upper, r) * _radial(2, lower, r) * r**3
    return float(np.trapezoid(product, r) ** 2)


# shares of a multiplet between (upper 2j, lower 2j), for orbital numbers (upper, lower)
_SHARES = {
    (1, 0): {(3, 1): 2 / 3, (1, 1): 1 / 3},
    (0, 1): {(1, 3): 2 / 3, (1, 1): 1 / 3},
    (2, 1): {(5, 3): 9 / 15, (3, 1): 5 / 15, (3, 3): 1 / 15},
}


def components(n: int) -> list[tuple[float, float, str]]:
    """Vacuum wavelength [m], share of the power (sum 1), name of each component of n -> 2."""
    rows = []
    for (upper, lower), shares in _SHARES.items():
        strength = 2 * max(upper, lower) * _radial_square(n, upper, lower)
        for (ju, jl), fraction in shares.items():
            wavenumber = level_per_m(n, upper, ju) - level_per_m(2, lower, jl)
            name = f"2{'spd'[lower]}{jl}/2-{n}{'spd'[upper]}{ju}/2"
            rows.append((1.0 / wavenumber, strength * fraction * wavenumber**4, name))
    total = sum(row[1] for row in rows)
    return sorted((w, s / total, name) for w, s, name in rows)
