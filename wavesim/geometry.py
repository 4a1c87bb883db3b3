"""Grating geometry in the bench's air: position x, angle beta, continuous order mu, wavelength.

    x = x_0 + f tan(beta - beta_0)                      plate and camera (origin x_0, axis beta_0)
    x = x_0 + f sin(delta) / cos(delta + tilt)          of a tilted plate, delta = beta - beta_0
    mu lambda' = d (sin alpha + sin beta)               `wavesim.grating_equation`
    lambda' = lambda n(standard air) / n(bench's air)   wavelengths are given as in standard air

alpha and beta have the same sign on the same side of the normal, in transmission and reflection
alike; order 0 lies at beta = -alpha. Everything is exact: no small angles. Valid for directions
in the plane across the rulings (y = 0 on the plate); `plate.geometry` adds the conical rest.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np

from wavesim.arrays import Floats
from wavesim.grating_equation import (
    order_of_sine,
    propagating,
    sine_of_order,
    wavelength_of_sine,
)
from wavesim.light.air import STANDARD, AirLike, AirState, relative_to_standard

if TYPE_CHECKING:
    from wavesim.scene import Scene

Values = Floats | float | int

_STEPS = 3  # of the fixed point from the bench's air to standard air; each gains four digits


@dataclass(frozen=True)
class GratingGeometry:
    """A grating on its bench, as far as directions go.

    Attributes
    ----------
    alpha_rad : [rad] angle of incidence
    axis_rad : [rad] diffraction angle beta_0 of the camera's axis
    focal_m : [m] f, what turns tan(angle) into x: the plate's distance, defocus included
    pitch_m : [m] d; NaN where the aperture has none, and then no order is defined
    air : along the bench
    origin_m : [m] x_0, position of the camera's axis on the plate
    tilt_rad : [rad] of the plate about its upright middle line
    """

    alpha_rad: float
    axis_rad: float
    focal_m: float
    pitch_m: float = math.nan
    air: AirState = STANDARD
    origin_m: float = 0.0
    tilt_rad: float = 0.0

    @cached_property
    def sine_in(self) -> float:
        """sin(alpha)."""
        return math.sin(self.alpha_rad)

    def beta_rad(self, x_m: Values) -> Floats:
        """Diffraction angle [rad] that reaches x: beta_0 + arctan((x - x_0) / f)."""
        x = np.asarray(x_m) - self.origin_m
        return beta_of_x(x, self.axis_rad, self.focal_m, self.tilt_rad)

    def x_per_rad(self, beta_rad: float) -> float:
        """dx / d(beta) [m/rad] on the plate: f cos(tilt) / cos^2(beta - beta_0 + tilt)."""
        aside = math.cos(beta_rad - self.axis_rad + self.tilt_rad)
        return self.focal_m * math.cos(self.tilt_rad) / aside**2

    def sine_of_x(self, x_m: Values) -> Floats:
        """sin(beta) at x [m]."""
        return np.asarray(np.sin(self.beta_rad(x_m)))

    def x_of_sine(self, sine_out: Values) -> Floats:
        """x [m] of sin(beta); NaN where no ray reaches the plate's plane."""
        with np.errstate(invalid="ignore"):
            angle = np.arcsin(np.asarray(sine_out, dtype=np.float64))
            aside = angle - self.axis_rad
            beyond = ~(np.maximum(np.abs(aside), np.abs(aside + self.tilt_rad)) < math.pi / 2)
        inside = np.where(beyond, np.nan, angle)
        return self.origin_m + x_of_beta(inside, self.axis_rad, self.focal_m, self.tilt_rad)

    def bench_wavelength_m(self, wavelength_m: Values) -> Floats:
        """Wavelength [m] in the bench's air, which the grating diffracts, from standard air."""
        return bench_wavelength(self.air, wavelength_m)

    def standard_wavelength_m(self, bench_wavelength_m: Values) -> Floats:
        """Wavelength [m] in standard air of one in the bench's air."""
        return standard_wavelength(self.air, bench_wavelength_m)

    def sine_of_order(self, mu: Values, wavelength_m: Values) -> Floats:
        """sin(beta) at continuous orders, wavelengths in standard air; beyond +-1 evanescent."""
        bench = self.bench_wavelength_m(wavelength_m)
        order = np.asarray(mu)
        return np.asarray(sine_of_order(order, bench, pitch_m=self.pitch_m, sine_in=self.sine_in))

    def order_of_sine(self, sine_out: Values, wavelength_m: Values) -> Floats:
        """Continuous order mu = d (sin alpha + sin beta) / lambda' at sin(beta)."""
        bench = self.bench_wavelength_m(wavelength_m)
        sine = np.asarray(sine_out)
        return np.asarray(order_of_sine(sine, bench, pitch_m=self.pitch_m, sine_in=self.sine_in))

    def x_m(self, mu: Values, wavelength_m: Values) -> Floats:
        """x [m] of continuous orders at wavelengths in standard air (broadcast); NaN where none."""
        return self.x_of_sine(self.sine_of_order(mu, wavelength_m))

    def order(self, x_m: Values, wavelength_m: Values) -> Floats:
        """Continuous order at x [m] for wavelengths in standard air (broadcast)."""
        return self.order_of_sine(self.sine_of_x(x_m), wavelength_m)

    def wavelength_m(self, x_m: Values, order: Values) -> Floats:
        """Wavelength [m] in standard air whose order lies at x; of any sign."""
        bench = wavelength_of_sine(
            self.sine_of_x(x_m), np.asarray(order), pitch_m=self.pitch_m, sine_in=self.sine_in
        )
        return self.standard_wavelength_m(bench)

    def same_direction_m(self, wavelength_m: float, order: float, other: float) -> float:
        """Wavelength [m] whose order `other` goes where this wavelength's `order` goes."""
        bench = self.bench_wavelength_m(wavelength_m)
        return float(self.standard_wavelength_m(bench * order / other))

    def propagating(self, wavelength_m: float) -> tuple[float, float]:
        """Smallest and largest continuous order that propagates (|sin beta| = 1)."""
        bench = float(self.bench_wavelength_m(wavelength_m))
        return propagating(bench, pitch_m=self.pitch_m, sine_in=self.sine_in)


def grating_geometry(scene: Scene) -> GratingGeometry:
    """The geometry of a scene's bench and of its aperture's mean pitch."""
    bench, air = scene.bench, scene.bench.air
    pitch = scene.aperture.mean_pitch_m
    return GratingGeometry(
        alpha_rad=bench.alpha_rad,
        axis_rad=bench.camera_axis_rad,
        focal_m=bench.image_distance_m,
        pitch_m=math.nan if pitch is None else pitch,
        air=AirState(air.temperature_K, air.pressure_Pa, air.humidity, air.co2),
        tilt_rad=bench.plate_tilt_rad,
    )


def beta_of_x(x_m: Values, axis_rad: float, focal_m: float, tilt_rad: float = 0.0) -> Floats:
    """Diffraction angle [rad] at x [m] from the camera's axis, along a plate that may be tilted."""
    x = np.asarray(x_m)
    behind = focal_m + x * math.sin(tilt_rad)
    return np.asarray(axis_rad + np.arctan(x * math.cos(tilt_rad) / behind))


def x_of_beta(beta_rad: Values, axis_rad: float, focal_m: float, tilt_rad: float = 0.0) -> Floats:
    """Distance x [m] from the camera's axis along the plate: f tan(beta - beta_0) where it stands
    upright, f sin(delta) / cos(delta + tilt), delta = beta - beta_0, where it is tilted."""
    tangent = np.tan(np.asarray(beta_rad) - axis_rad)
    return np.asarray(focal_m * tangent / (math.cos(tilt_rad) - math.sin(tilt_rad) * tangent))


def bench_wavelength(air: AirLike, wavelength_m: Values) -> Floats:
    """Wavelength [m] in the bench's air of light that has `wavelength_m` in standard air."""
    given = np.asarray(wavelength_m, dtype=np.float64)
    return given if air == STANDARD else np.asarray(given * relative_to_standard(given, air))


def standard_wavelength(air: AirLike, bench_wavelength_m: Values) -> Floats:
    """Wavelength [m] in standard air of light that has `bench_wavelength_m` on the bench."""
    bench = np.asarray(bench_wavelength_m, dtype=np.float64)
    if air == STANDARD:
        return bench
    found = bench
    for _ in range(_STEPS):
        found = bench / relative_to_standard(np.abs(found), air)
    return np.asarray(found)
