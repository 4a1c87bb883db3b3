"""Refractive index of transparent materials by name, from published dispersion formulas.

Of the wavelength in air, relative to air, at 20 degC, as spectrometers measure and catalogues give
it; plain arithmetic, for numbers and arrays.

References
----------
[1] Borosilicate crown N-BK7: glass catalogue of January 2017, Sellmeier coefficients; 0.3 to
    2.5 um, 1e-5 by melt.
[2] I. H. Malitson, J. Opt. Soc. Am. 55, 1205 (1965): fused silica, 0.21 to 3.71 um, 3e-5.
[3] G. Beadie et al., Appl. Opt. 54, F139 (2015): acrylic (PMMA), 0.42 to 1.62 um, 2e-4.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

Number = Any  # a float or an array of them


def _crown(square: Number) -> Number:
    terms = (1.03961212, 0.00600069867), (0.231792344, 0.0200179144), (1.01046945, 103.560653)
    return 1 + sum(b * square / (square - c) for b, c in terms)


def _silica(square: Number) -> Number:
    terms = (0.6961663, 0.0684043), (0.4079426, 0.1162414), (0.8974794, 9.896161)
    return 1 + sum(b * square / (square - c**2) for b, c in terms)


def _acrylic(square: Number) -> Number:
    falling = 2.3678e-2, -4.2137e-3, 7.3417e-4, -4.5042e-5
    rest = sum(term / square ** (k + 1) for k, term in enumerate(falling))
    return 2.1778 + 6.1209e-3 * square - 1.5004e-3 * square**2 + rest


# square of the index over the square of the wavelength [um2]
_SQUARES: dict[str, Callable[[Number], Number]] = {
    "crown glass": _crown, "fused silica": _silica, "acrylic": _acrylic,
}  # fmt: skip
NAMES = tuple(_SQUARES)


def index(name: str, wavelength_m: Number) -> Number:
    """Index of one of NAMES. (...) [m] -> (...)."""
    return _SQUARES[name]((wavelength_m * 1e6) ** 2) ** 0.5
