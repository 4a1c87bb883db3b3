"""The engine asked directly: far-field intensity of a scene's aperture at one wavelength."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from wavesim import aperture
from wavesim.aperture import Aperture, Rays
from wavesim.arrays import Floats
from wavesim.diffraction import far
from wavesim.errors import LimitError
from wavesim.geometry import bench_wavelength
from wavesim.grating_equation import sine_of_order
from wavesim.scene import Grating, ListedSlit, Ruled, Scene, Slits, Wires
from wavesim.study.ruling import source_angle_rad, with_aperture

_SLIT_POINTS = (8, 64)  # Gauss points across the source slit, at least and at most
_GREEN_M = 550e-9  # stands for a source without a wavelength of its own: middle of the visible


@dataclass(frozen=True, eq=False)
class FarPattern:
    """Intensity against direction.

    Attributes
    ----------
    ruled : the aperture, defects and beam included
    sine_in : sin(alpha)
    wavelength_m : [m] in the bench's air
    slit_sine : width of the source slit as a sine, 0 for a point
    """

    ruled: Aperture
    sine_in: float
    wavelength_m: float
    slit_sine: float = 0.0

    @property
    def pitch_m(self) -> float:
        """Mean pitch [m]."""
        return self.ruled.pitch_m

    @property
    def count(self) -> int:
        """Elements in the beam."""
        return self.ruled.elements

    def sine(self, mu: Floats | float) -> Floats:
        """sin(beta) at continuous orders mu."""
        sine = sine_of_order(mu, self.wavelength_m, pitch_m=self.pitch_m, sine_in=self.sine_in)
        return np.asarray(sine)

    def intensity(self, mu: Floats | float) -> Floats:
        """|A|^2 [m2] at continuous orders, averaged over the source slit; shape of mu."""
        return self._over_slit(mu, self._bare)

    def interference(self, mu: Floats | float) -> Floats:
        """|A / E|^2, the positions' part alone, averaged likewise. One kind of element."""
        return self._over_slit(mu, self._divided)

    def _over_slit(self, mu: Floats | float, light: Callable[[Floats, float], Floats]) -> Floats:
        sine = np.atleast_1d(self.sine(mu))
        if self.slit_sine == 0.0:
            return light(sine, 0.0).reshape(np.shape(mu))
        t, w = np.polynomial.legendre.leggauss(self._slit_points())
        total = sum(
            weight / 2 * light(sine, self.slit_sine / 2 * offset)
            for offset, weight in zip(t, w, strict=True)
        )
        return np.asarray(total).reshape(np.shape(mu))

    def _slit_points(self) -> int:
        """Enough for a pattern that turns over once in lambda / W: six, and three a turn."""
        turns = self.slit_sine * self.ruled.width_m / self.wavelength_m
        return int(np.clip(6 + 3 * turns, *_SLIT_POINTS))

    def _bare(self, sine: Floats, offset: float) -> Floats:
        found = far.amplitude(self.ruled, self.sine_in + offset, sine, self.wavelength_m)
        return np.asarray(np.abs(found) ** 2)

    def _divided(self, sine: Floats, offset: float) -> Floats:
        rays = Rays(self.sine_in + offset, sine, self.wavelength_m)
        element = self.ruled.combs[0].element.amplitude(rays)
        return np.asarray(self._bare(sine, offset) / np.abs(element) ** 2)

    def displaced(self, by_m: Floats) -> FarPattern:
        """The same with its elements (n,) displaced [m]."""
        comb = self.ruled.combs[0]
        moved = replace(comb, position_m=comb.position_m + by_m)
        return replace(self, ruled=replace(self.ruled, combs=(moved,)))

    def at(self, wavelength_m: float) -> FarPattern:
        """The same at another wavelength."""
        return replace(self, wavelength_m=wavelength_m)


def pattern(scene: Scene, *, wavelength_m: float | None = None) -> FarPattern:
    """The pattern of a scene's aperture, its defects, beam and source slit included.

    Raises
    ------
    LimitError
        The aperture is not one of rulings.
    """
    if not isinstance(scene.aperture, Ruled):
        raise LimitError(
            "has no rulings to compare formulas with", key="aperture.kind",
            value=scene.aperture.kind, expected="slits, wires or grating",
        )  # fmt: skip
    return FarPattern(
        aperture.build(scene).towards(),  # a round beam's chords as a point source has them
        math.sin(scene.bench.alpha_rad),
        wavelength_m or wavelength(scene),
        source_angle_rad(scene) * math.cos(scene.bench.alpha_rad),
    )


def wavelength(scene: Scene) -> float:
    """The wavelength, in the bench's air, that formulas of one wavelength use for a scene [m].

    A laser's or diode's own; a lamp's strongest line; a band's middle; that of a bandpass
    filter; else 550 nm.
    """
    return float(bench_wavelength(scene.bench.air, _in_standard_air(scene)))


def _in_standard_air(scene: Scene) -> float:
    source = scene.source
    for item in source.filters:
        if item.kind == "bandpass":
            return item.centre_m
    if source.kind in ("laser", "led"):
        return float(source.wavelength_m)
    if source.kind == "band":
        return source.centre_m
    if source.kind == "lamp":
        from wavesim.light import lamps

        table = lamps.lines(source.element)
        return float(table.wavelength_m[np.argmax(table.strength)])
    return _GREEN_M


def without_beam(scene: Scene) -> Scene:
    """The scene with a beam that does not limit."""
    return scene.model_copy(update={"bench": scene.bench.model_copy(update={"beam": None})})


def counted(scene: Scene, count: int) -> Scene:
    """The scene with another number of equal elements."""
    kind = scene.aperture
    if isinstance(kind, Grating):
        return with_aperture(scene, count=count, ruled_width_m=None)
    if isinstance(kind, Wires):
        return with_aperture(scene, count=count + 1)
    return with_aperture(scene, count=count)


def scaled_pitch(scene: Scene, pitch_m: float) -> Scene:
    """The scene with another pitch, clear widths in proportion."""
    kind = scene.aperture
    if isinstance(kind, Grating):
        factor = pitch_m / kind.mean_pitch_m
        changes: dict[str, object] = {"pitch_m": pitch_m, "density_per_m": None}
        changes |= {"count": kind.rulings, "ruled_width_m": None}
        width = getattr(kind.groove, "width_m", None)
        if width is not None:
            changes["groove"] = kind.groove.model_copy(update={"width_m": width * factor})
        return with_aperture(scene, **changes)
    if isinstance(kind, Slits) and kind.slits is not None:
        factor = pitch_m / (kind.mean_pitch_m or pitch_m)
        slits = tuple(
            ListedSlit(centre_m=s.centre_m * factor, width_m=s.width_m * factor) for s in kind.slits
        )
        return with_aperture(scene, slits=slits)
    if isinstance(kind, (Slits, Wires)) and kind.pitch_m and kind.width_m:
        factor = pitch_m / kind.pitch_m
        return with_aperture(scene, pitch_m=pitch_m, width_m=kind.width_m * factor)
    return scene


def element_width_m(scene: Scene) -> float | None:
    """Clear width of equal openings [m]; None for grooves of a profile and for unequal slits."""
    kind = scene.aperture
    if isinstance(kind, Grating):
        return kind.slit_width_m
    if isinstance(kind, Wires):
        return kind.gap_m
    if isinstance(kind, Slits):
        if kind.slits is None:
            return kind.width_m
        widths = {s.width_m for s in kind.slits}
        return widths.pop() if len(widths) == 1 else None
    return None


def pitch_m(scene: Scene) -> float | None:
    """Pitch [m], None for a single slit."""
    return scene.aperture.mean_pitch_m


def rulings(scene: Scene) -> int:
    """Number of elements before the beam."""
    return scene.aperture.rulings if isinstance(scene.aperture, Ruled) else 0
