"""Where anomalies are to be expected: orders that pass off, and surface plasmons.

Order m passes off along the surface where m lambda / d - sin alpha = +- n_medium (Rayleigh 1907):
the efficiencies of all others have a vertical tangent there. A plasmon of a metal surface is
excited, by light with its electric field across the grooves alone, near

    m lambda / d - sin alpha = +- Re sqrt(eps / (1 + eps))

(Raether, Surface Plasmons, 1988), a little to the long-wave side of the former; a deep groove
moves it on. Sines and wavelengths of air.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal

import numpy as np

from wavesim.arrays import Floats

_STEPS = 2000  # of the range in which a position is looked for
Kind = Literal["passing off", "passing off in the substrate", "surface plasmon"]


@dataclass(frozen=True)
class PredictedAnomaly:
    """A predicted anomaly.

    Attributes
    ----------
    position : wavelength [m] or angle [rad], whichever the curve runs over
    order : m of the order that passes off or excites the plasmon
    kind : what happens
    """

    position: float
    order: int
    kind: Kind


def predicted_anomalies(
    kind: Kind,
    lo: float,
    hi: float,
    grating: Callable[[Floats], tuple[Floats, Floats]],
    limit: Callable[[Floats], Floats],
) -> list[PredictedAnomaly]:
    """Positions within a range where an order's sine meets a limit.

    Parameters
    ----------
    grating : x -> (lambda / d, sin alpha)
    limit : x -> n_medium, or Re n_plasmon (not-a-number: none)
    """
    x = np.linspace(lo, hi, _STEPS)
    ratio, sine_in = grating(x)
    reach = limit(x)
    far = np.nanmax(np.abs(reach)) if np.isfinite(reach).any() else 0.0
    most = int(np.ceil((far + np.abs(sine_in).max()) / ratio.min()))
    found = []
    for m in range(-most, most + 1):
        if m == 0:
            continue
        for sign in (-1.0, 1.0):

            def apart(y: Floats, m: int = m, sign: float = sign) -> Floats:
                r, s = grating(np.atleast_1d(y))
                return m * r - s - sign * limit(np.atleast_1d(y))

            gap = apart(x)
            for k in np.flatnonzero(gap[:-1] * gap[1:] < 0):
                found.append(PredictedAnomaly(_root(apart, x[k], x[k + 1]), m, kind))
            found += [PredictedAnomaly(float(v), m, kind) for v in x[gap == 0]]
    return sorted(found, key=lambda anomaly: anomaly.position)


def _root(apart: Callable[[Floats], Floats], lo: float, hi: float) -> float:
    from scipy.optimize import brentq

    return float(brentq(lambda y: float(apart(np.array([y]))[0]), lo, hi, xtol=1e-16, rtol=1e-12))
