"""What the formulas need to know of a scene's ruling: its parts before any defect."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property
from typing import TypeVar

import numpy as np

from wavesim import aperture
from wavesim.aperture import Aperture, Element, Rays
from wavesim.aperture.elements import Complexes, Floats
from wavesim.errors import LimitError
from wavesim.light.air import Air, relative_to_standard
from wavesim.scene import Defect, Ruled, Scene

_Defect = TypeVar("_Defect", bound=Defect)
_EVEN = 1e-6  # of the pitch; listed slits closer than this to a lattice count as even


@dataclass(frozen=True, eq=False)
class Ruling:
    """A ruling without its defects, in the beam of its bench.

    Attributes
    ----------
    bare : the aperture as the engine sees it, without defects
    sine_in : sin(alpha)
    axis_rad : diffraction angle of the camera's axis
    focal_m : [m] turns tan(beta - axis) into x on the plate
    uniform : whether every ruling lit is lit alike
    air : along the bench; wavelengths are given as in standard air
    """

    bare: Aperture
    sine_in: float
    axis_rad: float
    focal_m: float
    uniform: bool
    air: Air

    @property
    def element(self) -> Element:
        """The single slit or groove."""
        return self.bare.combs[0].element

    @property
    def position_m(self) -> Floats:
        """(n,) [m] ideal places of the rulings in the beam."""
        return self.bare.combs[0].position_m

    @property
    def weight(self) -> Complexes:
        """(n,) amplitude at each ruling relative to the beam's middle."""
        return self.bare.combs[0].weight

    @property
    def pitch_m(self) -> float:
        """Pitch [m]."""
        return self.bare.pitch_m

    @property
    def count(self) -> int:
        """Rulings in the beam."""
        return self.position_m.size

    @cached_property
    def effective_count(self) -> float:
        """(sum w)^2 / sum w^2: the rulings that count against diffuse light; N if lit alike."""
        weight = np.abs(self.weight)
        return float(weight.sum() ** 2 / np.sum(weight**2))

    def bench_m(self, wavelength_m: float) -> float:
        """The wavelength in the air along the bench [m], which is what the rulings diffract."""
        return bench_wavelength(self.air, wavelength_m)

    def sine_out(self, mu: Floats | float, wavelength_m: float) -> Floats:
        """sin(beta) at the continuous order mu; beyond +-1 nothing propagates."""
        return np.asarray(mu * self.bench_m(wavelength_m) / self.pitch_m - self.sine_in)

    def x_m(self, sine_out: Floats | float) -> Floats:
        """Place on the plate [m]: f tan(beta - axis); not a number where nothing gets there."""
        sine = np.asarray(sine_out, dtype=np.float64)
        with np.errstate(invalid="ignore"):
            angle = np.arcsin(sine) - self.axis_rad
        return np.where(np.abs(angle) < math.pi / 2, self.focal_m * np.tan(angle), np.nan)

    def efficiency(self, mu: Floats | float, wavelength_m: float) -> Floats:
        """|E / d|^2: share of the light on the grating that order mu gets (scalar theory)."""
        sine = np.atleast_1d(self.sine_out(mu, wavelength_m))
        inside = np.abs(sine) < 1
        rays = Rays(self.sine_in, np.where(inside, sine, 0.0), self.bench_m(wavelength_m))
        share = np.abs(self.element.amplitude(rays) / self.pitch_m) ** 2
        return np.where(inside, share, 0.0).reshape(np.shape(mu))

    def wavelength_seen_m(self, order: int, mu: float, wavelength_m: float) -> float:
        """Wavelength [m] that would have its order `order` where this one has mu."""
        return wavelength_m * mu / order if order else math.nan


def ruling(scene: Scene) -> Ruling:
    """The ruling of a scene.

    Raises
    ------
    LimitError
        The aperture is not one of rulings, or its slits are not even.
    """
    if not isinstance(scene.aperture, Ruled):
        raise LimitError(
            "has no rulings to speak of",
            key="aperture.kind",
            value=scene.aperture.kind,
            expected="slits, wires or a grating",
        )
    bare = aperture.build(with_aperture(scene, defects=()))
    if not _even(bare):
        raise LimitError(
            "the slits differ in width or distance, and the formulas ask for equal ones",
            key="aperture.slits",
            expected="slits given by count, width and pitch",
        )
    weight = np.abs(bare.combs[0].weight)
    return Ruling(
        bare=bare,
        sine_in=math.sin(scene.bench.alpha_rad),
        axis_rad=scene.bench.camera_axis_rad,
        focal_m=scene.bench.camera_focal_m,
        uniform=bool(np.ptp(weight) <= 1e-9 * weight.max()),
        air=scene.bench.air,
    )


def bench_wavelength(air: Air, wavelength_m: float) -> float:
    """Wavelength in the bench's air [m] of light that has `wavelength_m` in standard air."""
    return wavelength_m * float(relative_to_standard(wavelength_m, air))


def ruling_seen(scene: Scene) -> Ruling | None:
    """The ruling of a scene, or None where there are no orders to speak of on its plate."""
    try:
        return ruling(scene) if scene.bench.far_field else None
    except LimitError:
        return None


def source_angle_rad(scene: Scene) -> float:
    """Width of the source slit as the aperture sees it [rad]; 0 for a point or a laser's beam."""
    slit, focal = scene.source.slit, scene.bench.source_focal_m
    return 0.0 if slit is None or focal is None else slit.width_m / focal


def defects_of(scene: Scene, kind: type[_Defect]) -> tuple[_Defect, ...]:
    """The defects of one kind, in the scene's order."""
    every = getattr(scene.aperture, "defects", ())
    return tuple(defect for defect in every if isinstance(defect, kind))


def with_aperture(scene: Scene, **fields: object) -> Scene:
    """The scene with fields of its aperture changed (no check of their sense)."""
    return scene.model_copy(update={"aperture": scene.aperture.model_copy(update=fields)})


def _even(bare: Aperture) -> bool:
    if len(bare.combs) != 1:
        return False
    steps = np.diff(bare.combs[0].position_m)
    return steps.size < 2 or bool(np.ptp(steps) <= _EVEN * bare.pitch_m)
