"""The bench as the person measuring knows it: from position to wavelength, and how well.

    beta = viewing + arctan((x - origin) / focal),    lambda = d (sin alpha + sin beta) / m

exact; wavelengths are then taken from the bench's air to standard air.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import InputError
from wavesim.geometry import GratingGeometry
from wavesim.light.air import STANDARD, AirState

if TYPE_CHECKING:
    from wavesim.scene import Scene


@dataclass(frozen=True)
class Uncertainties:
    """Standard uncertainties of what is known about the instrument; zero where none is admitted.

    Attributes
    ----------
    pitch, focal : relative
    incidence_rad, viewing_rad : [rad] of alpha and of the camera's axis
    origin_m : [m] of the camera's axis on the plate
    temperature_K : [K] of the air along the bench
    distortion : of the lens's cubic term, see `Instrument`
    solved, covariance : names of the instrument's fields that known lines gave, and the covariance
        of their errors (k, k) in SI units, the lines' residuals included
    slit : part of the slit image's width by which uneven light may move its middle
        (2 %: common practice, no source)
    """

    pitch: float = 0.0
    focal: float = 0.0
    incidence_rad: float = 0.0
    viewing_rad: float = 0.0
    origin_m: float = 0.0
    temperature_K: float = 1.0  # noqa: N815  (the unit is K)
    slit: float = 0.02
    distortion: float = 0.0
    solved: tuple[str, ...] = ()
    covariance: tuple[tuple[float, ...], ...] = ()


@dataclass(frozen=True)
class Instrument:
    """Grating and bench.

    Attributes
    ----------
    pitch_m : [m] d
    focal_m : [m] of the camera, what turns tan(angle) into x
    alpha_rad : [rad] angle of incidence
    viewing_rad : [rad] diffraction angle of the camera's axis
    origin_m : [m] x of the camera's axis on the plate
    rulings : N where known; sets the width of a line and where its subsidiary maxima may lie
    air : along the bench
    uncertainties : standard uncertainties
    distortion : k of the camera lens: tan(angle) t from the axis is seen at t (1 + k t^2)
    tilt_rad : [rad] of the plate about its upright middle line
    """

    pitch_m: float
    focal_m: float
    alpha_rad: float = 0.0
    viewing_rad: float = 0.0
    origin_m: float = 0.0
    rulings: int | None = None
    air: AirState = STANDARD
    uncertainties: Uncertainties = field(default_factory=Uncertainties)
    distortion: float = 0.0
    tilt_rad: float = 0.0

    def __post_init__(self) -> None:
        for key, value in (("pitch", self.pitch_m), ("camera", self.focal_m)):
            if not (math.isfinite(value) and value > 0):
                raise InputError("is not above zero", key=key, value=value, expected="a length")
        for key, value in (("incidence", self.alpha_rad), ("viewing", self.viewing_rad)):
            if not abs(value) < math.pi / 2:
                raise InputError(
                    "reaches 90 degrees", key=key, value=value, expected="a smaller angle"
                )

    @property
    def geometry(self) -> GratingGeometry:
        """Between position, angle, order and wavelength."""
        return GratingGeometry(
            alpha_rad=self.alpha_rad, axis_rad=self.viewing_rad, focal_m=self.focal_m,
            pitch_m=self.pitch_m, air=self.air, origin_m=self.origin_m, tilt_rad=self.tilt_rad,
        )  # fmt: skip

    def sine(self, x_m: Floats | float) -> Floats:
        """sin(alpha) + sin(beta) at positions on the plate; (...) [m] -> (...)."""
        return np.asarray(self.geometry.sine_in + self.geometry.sine_of_x(self._straight_m(x_m)))

    def position(self, sine: Floats | float) -> Floats:
        """x [m] where sin(alpha) + sin(beta) has these values; NaN where the camera sees none."""
        return self._bent_m(self.geometry.x_of_sine(np.asarray(sine) - self.geometry.sine_in))

    def wavelength(self, x_m: Floats | float, order: Floats | int) -> Floats:
        """Wavelength in standard air [m] of light of an order at x."""
        return self.geometry.wavelength_m(self._straight_m(x_m), order)

    def position_m(self, wavelength_m: Floats | float, order: Floats | int) -> Floats:
        """x [m] where a wavelength (standard air) of an order falls; NaN where nowhere."""
        return self._bent_m(self.geometry.x_m(order, wavelength_m))

    def _bent_m(self, x_m: Floats) -> Floats:
        """Where the lens shows what a perfect one would show at x."""
        t = (np.asarray(x_m) - self.origin_m) / self.focal_m
        return np.asarray(self.origin_m + self.focal_m * t * (1 + self.distortion * t**2))

    def _straight_m(self, x_m: Floats | float) -> Floats:
        """Where a perfect lens would show what is seen at x: three steps of Newton's method.

        Of all positions at once; scipy's brentq takes one."""
        tangent = (np.asarray(x_m, dtype=np.float64) - self.origin_m) / self.focal_m
        t, k = tangent, self.distortion
        for _ in range(3 if k else 0):
            t = t - (t * (1 + k * t**2) - tangent) / (1 + 3 * k * t**2)
        return np.asarray(self.origin_m + self.focal_m * t)

    def dispersion(self, x_m: float, order: int) -> float:
        """d lambda / d x at x [m of wavelength per m of plate]."""
        step = 1e-6 * self.focal_m
        both = self.wavelength(np.array([x_m - step, x_m + step]), order)
        return float(both[1] - both[0]) / (2 * step)

    def shift(self, x_m: float, order: int, **change: float) -> float:
        """Change of the wavelength read at x when fields of the instrument change by so much."""
        other = replace(self, **{k: getattr(self, k) + v for k, v in change.items()})
        return float(other.wavelength(x_m, order) - self.wavelength(x_m, order))


def of_scene(scene: Scene, *, uncertainties: Uncertainties | None = None) -> Instrument:
    """The instrument that a scene's bench and aperture make.

    Raises
    ------
    InputError
        The aperture has no pitch.
    """
    from wavesim.scene import Ruled, Slits

    aperture, bench = scene.aperture, scene.bench
    pitch = aperture.mean_pitch_m
    if pitch is None and isinstance(aperture, Slits):
        listed = aperture.slits[0].width_m if aperture.slits else None
        pitch = aperture.width_m or listed  # the zeros of one slit are at whole multiples
    if pitch is None or not isinstance(aperture, Ruled):
        raise InputError(
            "has no pitch, so its plate gives no wavelengths", key="aperture.kind",
            value=aperture.kind, expected="a grating, or several slits or wires",
        )  # fmt: skip
    air = bench.air
    return Instrument(
        pitch_m=pitch,
        focal_m=bench.image_distance_m,
        alpha_rad=bench.alpha_rad,
        viewing_rad=bench.camera_axis_rad,
        rulings=lit_rulings(scene, pitch, aperture.rulings),
        tilt_rad=bench.plate_tilt_rad,
        air=AirState(air.temperature_K, air.pressure_Pa, air.humidity, air.co2),
        uncertainties=uncertainties or Uncertainties(),
    )


def lit_rulings(scene: Scene, pitch_m: float, rulings: int) -> int:
    """Rulings within the beam."""
    beam = scene.bench.beam
    if beam is None:
        return rulings
    cosine, half = math.cos(scene.bench.alpha_rad), rulings * pitch_m / 2
    middle, reach = beam.offset_m / cosine, beam.diameter_m / 2 / cosine
    across = min(half, middle + reach) - max(-half, middle - reach)
    return max(1, min(rulings, int(across / pitch_m)))
