"""Where a wavelength's uncertainty comes from, part by part, added in quadrature.

    u^2 = (dlambda/dx)^2 (u_noise^2 + u_pixel^2 + u_slit^2) + u_pitch^2 + u_angles^2 + u_air^2

u_noise alone is statistical: what another photograph of the same lines would scatter by. The others
are doubts about what one plate cannot show; those common to all lines of a plate (pitch, angles,
air) do not average out over lines.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np

from wavesim.measuring.instrument import Instrument
from wavesim.measuring.peaks import Feature


@dataclass(frozen=True)
class Budget:
    """Standard uncertainties of one wavelength, all [m].

    Attributes
    ----------
    noise_m : placing the line on the plate: noise, grain, residual of its shape
    pixel_m : the same: neighbours that cannot be resolved, asymmetry, pixels that are not alike
    slit_m : uneven light across the source slit's image
    pitch_m : the grating's pitch
    angles_m : incidence, camera's axis and its foot on the plate, focal length, distortion, and all
        that was solved for from known lines
    air_m : temperature of the air
    """

    noise_m: float
    pixel_m: float
    slit_m: float
    pitch_m: float
    angles_m: float
    air_m: float

    @property
    def total_m(self) -> float:
        """All parts in quadrature [m]; the name that a line gets has no part in it."""
        return math.hypot(
            self.noise_m, self.pixel_m, self.slit_m, self.pitch_m, self.angles_m, self.air_m
        )


def budget(instrument: Instrument, feature: Feature, order: int, slit_image_m: float) -> Budget:
    """The budget of a line read in an order."""
    uncertainties, x = instrument.uncertainties, feature.x_m
    wavelength = abs(float(instrument.wavelength(x, order)))
    per_m = abs(instrument.dispersion(x, order))
    angles = [
        instrument.shift(x, order, alpha_rad=uncertainties.incidence_rad),
        instrument.shift(x, order, viewing_rad=uncertainties.viewing_rad),
        instrument.shift(x, order, origin_m=uncertainties.origin_m),
        instrument.shift(x, order, focal_m=uncertainties.focal * instrument.focal_m),
        instrument.shift(x, order, distortion=uncertainties.distortion),
        _solved(instrument, x, order),
    ]
    return Budget(
        noise_m=per_m * feature.x_noise_m,
        pixel_m=per_m * feature.x_doubt_m,
        slit_m=per_m * uncertainties.slit * slit_image_m,
        pitch_m=wavelength * uncertainties.pitch,
        angles_m=math.hypot(*angles),
        air_m=_air(instrument, x, order),
    )


def _solved(instrument: Instrument, x_m: float, order: int) -> float:
    """What the known lines leave open of all that was solved for together [m]."""
    uncertainties = instrument.uncertainties
    if not uncertainties.solved:
        return 0.0
    covariance = np.array(uncertainties.covariance)
    size = np.sqrt(np.diag(covariance))
    slope = [
        instrument.shift(x_m, order, **{name: float(step)}) / float(step) if step > 0 else 0.0
        for name, step in zip(uncertainties.solved, size, strict=True)
    ]
    return math.sqrt(max(float(np.array(slope) @ covariance @ np.array(slope)), 0.0))


def _air(instrument: Instrument, x_m: float, order: int) -> float:
    warmer = replace(
        instrument.air,
        temperature_K=instrument.air.temperature_K + instrument.uncertainties.temperature_K,
    )
    other = replace(instrument, air=warmer)
    return abs(float(other.wavelength(x_m, order) - instrument.wavelength(x_m, order)))
