"""The grating equation, solved for each of its quantities.

    d (sin alpha + sin beta) = mu lambda

d is the pitch [m], alpha the angle of incidence, beta that of diffraction, mu the continuous order
(m at a whole one) and lambda the wavelength in the medium of both angles [m]. Both angles have the
same sign on the same side of the normal, in transmission and reflection alike, so that order 0
lies at beta = -alpha (Born & Wolf, Principles of Optics, section 8.6.1).

Numbers, or arrays that broadcast; what comes back is of the same kind.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from wavesim.arrays import Floats, Indices, Integers

    Values = float | Floats | Indices | Integers


def sine_of_order(mu: Values, wavelength_m: Values, *, pitch_m: float, sine_in: Values) -> Any:
    """sin(beta) = mu lambda / d - sin(alpha); beyond +-1 nothing propagates."""
    return mu * wavelength_m / pitch_m - sine_in


def order_of_sine(
    sine_out: Values, wavelength_m: Values, *, pitch_m: float, sine_in: Values
) -> Any:
    """mu = d (sin(alpha) + sin(beta)) / lambda."""
    return pitch_m * (sine_in + sine_out) / wavelength_m


def wavelength_of_sine(sine_out: Values, mu: Values, *, pitch_m: float, sine_in: Values) -> Any:
    """lambda = d (sin(alpha) + sin(beta)) / mu [m]; of any sign."""
    return pitch_m * (sine_in + sine_out) / mu


def propagating(wavelength_m: float, *, pitch_m: float, sine_in: float) -> tuple[float, float]:
    """Smallest and largest continuous order that propagates, d (sin(alpha) -+ 1) / lambda."""
    per_sine = pitch_m / wavelength_m
    return (sine_in - 1) * per_sine, (sine_in + 1) * per_sine
