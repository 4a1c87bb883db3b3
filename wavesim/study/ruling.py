"""What the formulas need to know of a scene's ruling: its parts before any defect."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TypeVar

import numpy as np

from wavesim import aperture
from wavesim.aperture import Aperture, Comb, Element, Rays
from wavesim.aperture.combs import within
from wavesim.aperture.round_beam import heights_add_in_power
from wavesim.arrays import Complexes, Floats
from wavesim.errors import LimitError
from wavesim.geometry import GratingGeometry, grating_geometry
from wavesim.scene import Defect, Ruled, Scene

_Defect = TypeVar("_Defect", bound=Defect)
_EVEN = 1e-6  # of the pitch; listed slits closer than this to a lattice count as even


@dataclass(frozen=True, eq=False)
class Ruling:
    """A ruling without its defects, in the beam of its bench.

    Attributes
    ----------
    bare : the aperture as the engine sees it, without defects
    geometry : between position, angle, order and wavelength, in the bench's air
    uniform : whether every illuminated ruling gets the same amplitude over the same height
    in_power : whether a round beam cuts the rulings and its heights add up in power
    """

    bare: Aperture
    geometry: GratingGeometry
    uniform: bool
    in_power: bool = False

    @property
    def sine_in(self) -> float:
        """sin(alpha)."""
        return self.geometry.sine_in

    @property
    def axis_rad(self) -> float:
        """Diffraction angle of the camera's axis [rad]."""
        return self.geometry.axis_rad

    @property
    def focal_m(self) -> float:
        """f [m], what turns tan(beta - axis) into x on the plate."""
        return self.geometry.focal_m

    @property
    def element(self) -> Element:
        """The single slit or groove."""
        return self.bare.combs[0].element

    @property
    def position_m(self) -> Floats:
        """(n,) [m] ideal positions of the rulings in the beam."""
        return self.bare.combs[0].position_m

    @property
    def weight(self) -> Complexes:
        """(n,) amplitude at each ruling relative to the beam's middle, and the part of the height
        that a round beam leaves of it."""
        return self.bare.towards().combs[0].weight

    @property
    def in_round_beam(self) -> bool:
        """Whether a beam's round edge cuts the rulings."""
        return bool(self.bare.chords)

    def aperture_parts(self) -> list[tuple[float, Comb]]:
        """Rulings whose light adds up in amplitude, and what each part counts in power."""
        if not self.in_power:
            return [(1.0, self.bare.towards().combs[0])]
        comb = self.bare.combs[0]
        return [(c.fraction, within(comb, c)) for c in self.bare.chords]

    def peak_power(self) -> float:
        """(sum w)^2 at the line's peak, or its mean over the heights that add up in power."""
        parts = self.aperture_parts()
        return sum(fraction * float(np.abs(c.weight).sum()) ** 2 for fraction, c in parts)

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
        """(sum w)^2 / sum w^2: the rulings that count against diffuse light; N in even light."""
        weight = np.abs(self.weight)
        return float(weight.sum() ** 2 / np.sum(weight**2))

    def bench_m(self, wavelength_m: float) -> float:
        """The wavelength in the air along the bench [m], which is what the rulings diffract."""
        return float(self.geometry.bench_wavelength_m(wavelength_m))

    def sine_out(self, mu: Floats | float, wavelength_m: float) -> Floats:
        """sin(beta) at the continuous order mu; beyond +-1 nothing propagates."""
        return self.geometry.sine_of_order(mu, wavelength_m)

    def x_m(self, sine_out: Floats | float) -> Floats:
        """Position on the plate [m]; not a number where nothing gets there."""
        return self.geometry.x_of_sine(sine_out)

    def efficiency(self, mu: Floats | float, wavelength_m: float) -> Floats:
        """|E / d|^2: share of the light on the grating that order mu gets (scalar theory)."""
        sine = np.atleast_1d(self.sine_out(mu, wavelength_m))
        inside = np.abs(sine) < 1
        rays = Rays(self.sine_in, np.where(inside, sine, 0.0), self.bench_m(wavelength_m))
        efficiency = np.abs(self.element.amplitude(rays) / self.pitch_m) ** 2
        return np.where(inside, efficiency, 0.0).reshape(np.shape(mu))

    def wavelength_seen_m(self, order: int, mu: float, wavelength_m: float) -> float:
        """Wavelength [m] that would have its order `order` where this one has mu."""
        return self.geometry.same_direction_m(wavelength_m, mu, order) if order else math.nan


def ruling(scene: Scene) -> Ruling:
    """The ruling of a scene.

    Raises
    ------
    LimitError
        The aperture is not one of rulings, or its slits are not even.
    """
    if not isinstance(scene.aperture, Ruled):
        raise LimitError(
            "has no rulings",
            key="aperture.kind",
            value=scene.aperture.kind,
            expected="slits, wires or a grating",
        )
    bare = aperture.build(with_aperture(scene, defects=()), whole=True)
    if not _even(bare):
        raise LimitError(
            "the slits differ in width or spacing, but the formulas need equal ones",
            key="aperture.slits",
            expected="slits given by count, width and pitch",
        )
    weight = np.abs(bare.combs[0].weight)
    return Ruling(
        bare=bare,
        geometry=replace(grating_geometry(scene), pitch_m=bare.pitch_m),
        uniform=not bare.chords and bool(np.ptp(weight) <= 1e-9 * weight.max()),
        in_power=heights_add_in_power(scene),
    )


def ruling_seen(scene: Scene) -> Ruling | None:
    """The ruling of a scene, or None where there are no orders to speak of on its plate."""
    try:
        return ruling(scene) if scene.bench.far_field else None
    except LimitError:
        return None


def beam_notes(ruled: Ruling) -> tuple[str, ...]:
    """How the heights of rulings add up that a beam's round edge cuts; none where none does."""
    if not ruled.in_round_beam:
        return ()
    how = (
        "with so tall a source slit their heights add in power, but ghosts and diffuse light "
        "given here are those of a point source"
        if ruled.in_power
        else "each is weighted by its illuminated height, as in the middle row of the plate"
    )
    return (f"the beam's round edge cuts the rulings; {how}",)


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
