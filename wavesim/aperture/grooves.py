"""Grooves: elements that change the phase, in reflection or in transmission.

Scalar theory, thin relief. A surface at height h above the grating's plane (towards the light
in reflection, added glass in transmission) turns the phase by 2 pi h c with

    reflection      c = -(cos alpha + cos beta) / lambda        both passes
    transmission    c = (n cos alpha' - cos beta) / lambda      n sin alpha' = sin alpha,
                    n the index at that wavelength where a glass is named

so over one pitch d   E = integral exp(2 pi i (c h(x) - u x)) dx.
Shadowing of steep facets, polarisation and resonances are left out: with a pitch of a few
wavelengths positions and shapes of lines hold and absolute efficiencies do not (Loewen & Popov
1997, Diffraction Gratings and Applications, chapter 4).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from wavesim import glass
from wavesim.aperture.elements import Rays
from wavesim.arrays import Complexes, Floats
from wavesim.errors import LimitError

_PANEL_POINTS = 128  # of a composite rule; its cost does not grow with the phase
_PANEL_RAD = 150.0  # of phase within a panel; 128 points carry 200 to rounding
_MOST_PANELS = 160  # 20,480 points: some ten seconds of a plate
Mounting = Literal["reflection", "transmission"]


@dataclass(frozen=True, eq=False)
class GrooveSurface:
    """How a groove's height acts on the light.

    Attributes
    ----------
    mounting : "reflection" or "transmission"
    index : refractive index of a transmission grating
    glass : its material by name (`wavesim.glass`), instead of an index
    wavelength_m, reflectance : (k,) table of the power reflected, straight between its points
    """

    mounting: Mounting
    index: float = 1.5
    wavelength_m: Floats | None = None
    reflectance: Floats | float = 1.0
    glass: str | None = None

    def turns_per_m(self, rays: Rays) -> Floats:
        """c [1/m], turns of phase per height."""
        cos_out = np.sqrt(np.maximum(1 - np.asarray(rays.sine_out) ** 2, 0.0))
        if self.mounting == "reflection":
            cos_in = math.sqrt(max(1 - rays.sine_in**2, 0.0))
            return np.asarray(-(cos_in + cos_out) / rays.wavelength_m)
        index: Floats | float = self.index
        if self.glass is not None:
            index = glass.index(self.glass, np.asarray(rays.wavelength_m))
        inside = np.sqrt(np.square(index) - rays.sine_in**2)
        return np.asarray((inside - cos_out) / rays.wavelength_m)

    def amplitude(self, wavelength_m: Floats | float) -> Floats | float:
        """Amplitude kept by the surface, the root of the reflectance."""
        if self.wavelength_m is None:
            return np.sqrt(self.reflectance)
        return np.sqrt(np.interp(wavelength_m, self.wavelength_m, self.reflectance))

    @property
    def mean_reflectance(self) -> float:
        """Mean over its table."""
        return float(np.mean(self.reflectance))


@dataclass(frozen=True, eq=False)
class FacetGroove:
    """A profile of flat facets: blazed (one), binary (two), trapezoidal, multilevel, measured.

    E = sum over facets  w exp(2 pi i (c h_c - u x_c)) sinc(w (u - c s)),  w, s, x_c, h_c the
    width, slope, middle and middle height of a facet. Exact for the profile as given.

    Attributes
    ----------
    edge_m : (k + 1,) [m] facet edges, from -pitch/2 to pitch/2
    start_m, end_m : (k,) [m] heights at either end of each facet
    surface : reflection or transmission
    """

    edge_m: Floats
    start_m: Floats
    end_m: Floats
    surface: GrooveSurface

    @property
    def width_m(self) -> float:
        """The pitch [m]."""
        return float(self.edge_m[-1] - self.edge_m[0])

    @property
    def open_width_m(self) -> float:
        """Pitch times reflectance [m]."""
        return self.width_m * self.surface.mean_reflectance

    @property
    def of_u_alone(self) -> bool:
        """Never: the phase goes with height over wavelength."""
        return False

    @property
    def relief_m(self) -> float:
        """Largest height or depth [m] from the groove's middle plane."""
        return float(max(np.abs(self.start_m).max(), np.abs(self.end_m).max()))

    def deepened(self, factor: float) -> FacetGroove:
        """The same groove with its heights multiplied."""
        return replace(self, start_m=self.start_m * factor, end_m=self.end_m * factor)

    def amplitude(self, rays: Rays) -> Complexes:
        """E [m] at those rays."""
        u, c = rays.u, self.surface.turns_per_m(rays)
        total = np.zeros(np.broadcast_shapes(u.shape, c.shape), dtype=np.complex128)
        for k in np.flatnonzero(np.diff(self.edge_m) > 0):  # a level of no width adds nothing
            w = self.edge_m[k + 1] - self.edge_m[k]
            x = (self.edge_m[k + 1] + self.edge_m[k]) / 2
            h = (self.start_m[k] + self.end_m[k]) / 2
            slope = (self.end_m[k] - self.start_m[k]) / w
            total += w * np.sinc(w * (u - c * slope)) * np.exp(2j * np.pi * (c * h - u * x))
        return np.asarray(total * self.surface.amplitude(rays.wavelength_m))


@dataclass(frozen=True, eq=False)
class SineGroove:
    """h(x) = (depth / 2) cos(2 pi x / pitch), by Gauss-Legendre quadrature over the pitch.

    At whole orders |E|^2 / pitch^2 = J_m(pi c depth)^2 (Goodman, Introduction to Fourier
    Optics, section 4.4.4). A shallow groove takes one rule whose points follow the phase; a deep
    one as many panels of 128 points as keep the phase within each below 150 rad. Error below
    1e-13 of the pitch, and growing as 1e-16 of the phase.
    """

    pitch_m: float
    depth_m: float
    surface: GrooveSurface

    @property
    def width_m(self) -> float:
        """The pitch [m]."""
        return self.pitch_m

    @property
    def open_width_m(self) -> float:
        """Pitch times reflectance [m]."""
        return self.pitch_m * self.surface.mean_reflectance

    @property
    def of_u_alone(self) -> bool:
        """Never: the phase goes with height over wavelength."""
        return False

    @property
    def relief_m(self) -> float:
        """Half the depth [m]."""
        return self.depth_m / 2

    def deepened(self, factor: float) -> SineGroove:
        """The same groove with its depth multiplied."""
        return replace(self, depth_m=self.depth_m * factor)

    def amplitude(self, rays: Rays) -> Complexes:
        """E [m] at those rays."""
        u, c = rays.u, self.surface.turns_per_m(rays)
        node, weight = self._rule(float(np.abs(u).max()), float(np.abs(c).max()))
        total = np.zeros(np.broadcast_shapes(u.shape, c.shape), dtype=np.complex128)
        for t, w in zip(node, weight, strict=True):
            h = self.depth_m / 2 * math.cos(2 * math.pi * t)
            total += w * np.exp(2j * np.pi * (c * h - u * (t * self.pitch_m)))
        return np.asarray(self.pitch_m * total * self.surface.amplitude(rays.wavelength_m))

    def _rule(self, u_per_m: float, turns_per_m: float) -> tuple[Floats, Floats]:
        """Nodes and weights over one pitch, from -1/2 to 1/2, for the steepest phase asked for.

        Raises
        ------
        LimitError
            The groove is so deep that it would take more points than can be waited for.
        """
        across, deep = self.pitch_m * u_per_m, self.depth_m * turns_per_m
        phase_rad = 2 * math.pi * (math.pi * deep + across)  # at its steepest rate, over the pitch
        panels = max(1.0, phase_rad / _PANEL_RAD)
        if not panels <= _MOST_PANELS:
            raise LimitError(
                f"delays the phase by {deep:.2g} wavelengths, too much for scalar theory",
                key="aperture.groove.depth",
                value=f"{self.depth_m:g} m",
                expected="a shallower groove",
            )
        panels = math.ceil(panels)
        points = _PANEL_POINTS if panels > 1 else 32 + int(0.64 * phase_rad)
        node, weight = np.polynomial.legendre.leggauss(points)
        middle = (np.arange(panels) + 0.5) / panels - 0.5
        nodes = (middle[:, None] + node / (2 * panels)).ravel()
        return nodes, np.tile(weight / (2 * panels), panels)


def blazed(pitch_m: float, facet_angle_rad: float, surface: GrooveSurface) -> FacetGroove:
    """One facet over the pitch; a positive angle throws light into positive orders.

    In reflection the blaze is met at alpha + beta = 2 facet_angle; in transmission at
    sin alpha + sin beta = tan(facet_angle) (n cos alpha' - cos beta).
    """
    rise = math.tan(facet_angle_rad) * pitch_m / 2
    if surface.mounting == "reflection":
        rise = -rise
    edge = np.array([-pitch_m / 2, pitch_m / 2])
    return FacetGroove(edge, np.array([-rise]), np.array([rise]), surface)


def binary(pitch_m: float, depth_m: float, duty: float, surface: GrooveSurface) -> FacetGroove:
    """Two levels, the upper one `duty` of the pitch wide and in its middle."""
    half = duty * pitch_m / 2
    edge = np.array([-pitch_m / 2, -half, half, pitch_m / 2])
    level = np.array([-depth_m / 2, depth_m / 2, -depth_m / 2])
    return FacetGroove(edge, level, level, surface)


def trapezoidal(
    pitch_m: float, depth_m: float, top: float, bottom: float, surface: GrooveSurface
) -> FacetGroove:
    """A ridge in the middle, flat over `top` of the pitch, with `bottom` of it flat beside."""
    half_top, half_foot = top * pitch_m / 2, (1 - bottom) * pitch_m / 2
    edge = np.array([-pitch_m / 2, -half_foot, -half_top, half_top, half_foot, pitch_m / 2])
    low, high = -depth_m / 2, depth_m / 2
    start = np.array([low, low, high, high, low])
    return FacetGroove(edge, start, np.array([low, high, high, low, low]), surface)


def multilevel(pitch_m: float, depth_m: float, levels: int, surface: GrooveSurface) -> FacetGroove:
    """Levels of equal width that throw light into positive orders, as a blaze does.

    Where the phase of each step is 1 / levels of a turn, order 1 holds sinc^2(1 / levels) of the
    light (Goodman, Introduction to Fourier Optics, section on binary optics).
    """
    edge = np.linspace(-pitch_m / 2, pitch_m / 2, levels + 1)
    level = np.linspace(-depth_m / 2, depth_m / 2, levels)
    if surface.mounting == "reflection":
        level = level[::-1]
    return FacetGroove(edge, level, level, surface)


def measured(
    position: Floats, height_m: Floats, pitch_m: float, surface: GrooveSurface
) -> FacetGroove:
    """Straight facets between measured heights; `position` in [m] from 0 to the pitch."""
    edge = np.asarray(position) - pitch_m / 2
    middle = (height_m.max() + height_m.min()) / 2
    h = height_m - middle
    return FacetGroove(edge, h[:-1], h[1:], surface)
