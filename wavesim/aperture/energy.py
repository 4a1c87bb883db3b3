"""How far scalar theory of grooves keeps the energy: all orders together against what comes in.

An opening's transform depends on u alone, and Parseval's theorem keeps its energy whatever the
angles. A groove turns the phase of each order by that order's own angle (`grooves`: c holds cos
beta). That puts the blaze where mirrors and prisms throw the light, but its orders are no longer
the transform of one function: their powers need not add up to what the surface reflects,

    B = sum over propagating orders |E(m / d; beta_m)|^2 / (R d^2)

with sin beta_m = m lambda / d - sin alpha and R the reflectance.

With angles small B = 1 - O(beta^2); a blaze at 17 degrees gives 1.01 to 1.04, shallow grooves met
at a slant 0.8 to 0.96. No factor of obliquity for single orders mends it: Kirchhoff's method itself
(Beckmann and Spizzichino 1963, The Scattering of Electromagnetic Waves from Rough Surfaces, from
memory) takes the field on each facet as if the others were not there.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from wavesim.aperture.build import scalar_groove
from wavesim.aperture.elements import Rays
from wavesim.aperture.grooves import FacetGroove, SineGroove
from wavesim.arrays import Floats
from wavesim.grating_equation import order_of_sine, sine_of_order
from wavesim.light import Spectrum
from wavesim.scene import Scene
from wavesim.scene.aperture import Grating

STATED_FROM = 1e-3  # of the light: smaller differences are not mentioned
_WAVELENGTHS = 41  # between the ends of the light at which B is computed


def order_sum(groove: FacetGroove | SineGroove, sine_in: float, wavelength_m: Floats) -> Floats:
    """B [1] at wavelengths (k,) [m]; 1 where the orders hold just what the surface reflects."""
    pitch = groove.width_m
    orders = np.arange(
        math.ceil(order_of_sine(-1, wavelength_m.min(), pitch_m=pitch, sine_in=sine_in)),
        math.floor(order_of_sine(1, wavelength_m.min(), pitch_m=pitch, sine_in=sine_in)) + 1,
    )
    sine_out = sine_of_order(orders[:, None], wavelength_m, pitch_m=pitch, sine_in=sine_in)
    clear = replace(groove, surface=replace(groove.surface, wavelength_m=None, reflectance=1.0))
    amplitude = clear.amplitude(Rays(sine_in, np.clip(sine_out, -1.0, 1.0), wavelength_m))
    power = np.square(np.abs(amplitude) / pitch)
    return np.asarray(np.where(np.abs(sine_out) <= 1.0, power, 0.0).sum(axis=0))


def energy_notes(scene: Scene, spectrum: Spectrum) -> tuple[str, ...]:
    """A sentence where the orders of a scene's grooves do not hold the light, with its size."""
    grating = scene.aperture
    if not isinstance(grating, Grating) or grating.rigorous or grating.slit_width_m is not None:
        return ()
    ends = spectrum.support_m
    wavelengths = np.unique(np.linspace(ends[0][0], ends[-1][1], _WAVELENGTHS))
    found = order_sum(
        scalar_groove(grating, scene.folder), math.sin(scene.bench.alpha_rad), wavelengths
    )
    low, high = float(found.min()), float(found.max())
    if max(abs(low - 1), abs(high - 1)) < STATED_FROM:
        return ()
    size = f"{low:.1%}" if high - low < 5e-4 else f"{low:.1%} to {high:.1%}"
    return (
        "scalar theory does not conserve energy, since each order has a phase of its own: all "
        f"orders together carry {size.replace('%', ' %')} of the light that leaves the grooves; "
        'theory = "rigorous" conserves it',
    )
