"""Random apertures in random beams, and the light that goes through each opening.

The light through the opening is counted on a fine grid of the aperture's plane, from the shapes'
own inequalities and the textbook beam: irradiance P / (pi R^2) in a uniform beam, and
(2 P / (pi R^2)) exp(-2 rho^2 / R^2) in a Gaussian one (Siegman, Lasers, 17.1), rho seen along the
beam. Edges send light beyond any plate: a fraction (perimeter / area) lambda / (2 pi^2 sin theta)
(for a disc the expansion of 1 - J0^2 - J1^2, Born & Wolf 8.5.2).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import NamedTuple

import numpy as np

from tests import bench
from wavesim.scene import Scene

POWER_W, WAVE_M = 1e-3, 450e-9
FOCAL_M, HALF_M = 0.05, 0.03  # camera and half the plate: sines up to 0.51
ACROSS, UP = 4000, 1000  # points at which the opening is looked at
Inside = Callable[[np.ndarray, np.ndarray], np.ndarray]


class Opening(NamedTuple):
    """A scene's [aperture], the same as an inequality, and its half width and height [m]."""

    text: str
    inside: Inside
    half_m: tuple[float, float]


def um(length_m: float) -> str:
    return f'"{length_m * 1e6:.9g} um"'


def disc(dice: np.random.Generator) -> Opening:
    r = dice.uniform(0.1e-3, 0.25e-3)
    text = f'kind = "disc"\ndiameter = {um(2 * r)}'
    return Opening(text, lambda x, y: np.hypot(x, y) < r, (r, r))


def ring(dice: np.random.Generator) -> Opening:
    r = dice.uniform(0.1e-3, 0.25e-3)
    text = f'kind = "annulus"\nouter = {um(2 * r)}\ninner = {um(r)}'
    return Opening(text, lambda x, y: (np.hypot(x, y) < r) & (np.hypot(x, y) > r / 2), (r, r))


def rectangle(dice: np.random.Generator) -> Opening:
    a, b = dice.uniform(0.05e-3, 0.2e-3, 2)
    text = f'kind = "rectangle"\nwidth = {um(2 * a)}\nheight = {um(2 * b)}'
    return Opening(text, lambda x, y: (abs(x) < a) & (abs(y) < b), (a, b))


def holes(dice: np.random.Generator) -> Opening:
    r, pitch = dice.uniform(20e-6, 35e-6), 80e-6
    text = (
        f'kind = "mesh"\ncount_x = 4\ncount_y = 4\npitch_x = {um(pitch)}\n'
        f'hole = {{ kind = "disc", diameter = {um(2 * r)} }}'
    )

    def inside(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        near_x, near_y = ((np.clip(np.floor(t / pitch), -2, 1) + 0.5) * pitch for t in (x, y))
        return np.hypot(x - near_x, y - near_y) < r

    return Opening(text, inside, (2 * pitch, 2 * pitch))


def slits(dice: np.random.Generator) -> Opening:
    count, width = int(dice.integers(1, 5)), dice.uniform(30e-6, 70e-6)
    pitch, half = width * dice.uniform(1.2, 2.0), dice.uniform(0.1e-3, 0.25e-3)
    across = f"pitch = {um(pitch)}\n" if count > 1 else ""
    text = f'kind = "slits"\ncount = {count}\nwidth = {um(width)}\n{across}height = {um(2 * half)}'

    def inside(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        t = x / pitch + (count - 1) / 2
        k = np.clip(np.rint(t), 0, count - 1)
        return (abs(t - k) * pitch < width / 2) & (abs(y) < half)

    return Opening(text, inside, (((count - 1) * pitch + width) / 2, half))


SHAPES = [disc, ring, rectangle, holes, slits]


class Case(NamedTuple):
    scene: Scene
    through_W: float  # noqa: N815  (the unit is W)
    lost: float  # fraction beyond the plate


def case_of(dice: np.random.Generator, obstacle: bool = False) -> Case:
    """A random aperture in a random laser beam, and the light through it."""
    shape = SHAPES[dice.integers(len(SHAPES))](dice)
    stop = 0.3e-3
    # the estimate of the lost light knows straight edges or round ones, not both
    obstacle = obstacle and not any(kind in shape.text for kind in ("slits", "rectangle"))
    if obstacle:
        shape = _reversed(shape, stop)
    radius, alpha = dice.uniform(0.08e-3, 0.5e-3), float(dice.choice([0.0, 0.3, 0.6]))
    kind = str(dice.choice(["none", "uniform", "gaussian"]))
    corner = math.hypot(shape.half_m[0] * math.cos(alpha), shape.half_m[1])
    if kind == "uniform" and "slits" not in shape.text:
        radius = max(radius, 1.01 * corner)  # cut holes are slow: tests/test_plane_plates.py
    beam = "" if kind == "none" else f'beam = {{ diameter = {um(2 * radius)}, profile = "{kind}" }}'
    scene = bench.scene(
        source=f'kind = "laser"\nwavelength = "{WAVE_M * 1e9} nm"\npower = "{POWER_W} W"',
        bench=f'collimator = "100 mm"\ncamera = "{FOCAL_M} m"\nincidence = "{alpha} rad"\n{beam}',
        aperture=shape.text,
        plate=f'width = "{2 * HALF_M} m"\nheight = "{2 * HALF_M} m"\npixel = "0.25 mm"',
        exposure='time = "1 s"',
    )
    if kind == "none":
        radius = 0.5e-3  # 1 mm is the least beam of a laser; these openings are smaller
    return Case(scene, *through(shape, kind, radius, alpha))


def _reversed(shape: Opening, stop: float) -> Opening:
    """The shape as an obstacle in a round stop."""
    return Opening(
        f"{shape.text}\nobstacle = true\nstop = {{ diameter = {um(2 * stop)} }}",
        lambda x, y: (np.hypot(x, y) < stop) & ~shape.inside(x, y),
        (stop, stop),
    )


def through(shape: Opening, kind: str, radius: float, alpha: float) -> tuple[float, float]:
    """Light through the opening [W], and the fraction of it that misses the plate."""
    a, b, cosine = *shape.half_m, math.cos(alpha)
    x = ((np.arange(ACROSS) + 0.5) / ACROSS * 2 - 1)[None, :] * a
    y = ((np.arange(UP) + 0.5) / UP * 2 - 1)[:, None] * b
    cell = 4 * a * b / (ACROSS * UP)
    rho = np.hypot(x * cosine, y)
    intensity = np.where(rho < radius, 1.0, 0.0) / (math.pi * radius**2)
    if kind == "gaussian":
        intensity = 2 / (math.pi * radius**2) * np.exp(-2 * (rho / radius) ** 2)
    light = intensity * shape.inside(x, y)
    light = np.pad(light, 1)
    upright = jumps(light, 1) * 2 * b / UP  # edges that send light along x
    upright_y = jumps(light, 0) * 2 * a / ACROSS
    view = math.atan(HALF_M / FOCAL_M)
    sides = [abs(math.sin(s * view - alpha) + math.sin(alpha)) for s in (1, -1)]
    edges = upright * (1 / sides[0] + 1 / sides[1]) / 2 + upright_y / math.sin(view)
    slanted = 1.0 if "slits" in shape.text or "rectangle" in shape.text else math.pi / 4
    lost = slanted * edges / (light.sum() * cell) * WAVE_M / (2 * math.pi**2)
    return POWER_W * cosine * float(light.sum()) * cell, lost


def jumps(light: np.ndarray, axis: int) -> float:
    """Sum of the steps at sharp edges; a beam that fades makes none."""
    step = np.abs(np.diff(light, axis=axis))
    either = np.maximum(*(np.delete(light, end, axis=axis) for end in (0, -1)))
    return float(step[step > 0.5 * either].sum())
