"""Where the theory stops for a scene, in sentences."""

from __future__ import annotations

import math

from wavesim.scene import DepthDefect, Grating, PeriodicDefect, Scene
from wavesim.study.predict.bench_errors import bench_errors
from wavesim.study.predict.orders import Order
from wavesim.study.ruling import Ruling, beam_notes, defects_of

_FEW_WAVELENGTHS = 5.0  # pitch over wavelength (common practice, no source)
_STEEP_RAD = math.radians(15)  # facet angle (common practice, no source)
_MANY = 100  # rulings from which on somebody may look for ghosts
_FAR = 0.1  # Fresnel number of the half width below which the axis is within 1 % of the far field
_SMALL_ERROR = 0.2  # 2 pi m A / d beyond which the small-error form is off by more than 1 %


def limits_of(scene: Scene, ruled: Ruling, lines: tuple[Order, ...]) -> tuple[str, ...]:
    """Sentences on scalar theory, far field, beam and small errors."""
    longest = max((line.wavelength_m for line in lines), default=550e-9)
    found = [*_scalar(scene, ruled, longest), *_far_field(scene, ruled, longest)]
    found += bench_errors(scene, ruled, lines)
    found += _beam(ruled)
    found += _small_error(scene, ruled, lines)
    if defects_of(scene, DepthDefect):
        found.append("grooves of varying depth: loss and diffuse light are first-order estimates")
    return tuple(found)


def _scalar(scene: Scene, ruled: Ruling, longest_m: float) -> list[str]:
    if isinstance(scene.aperture, Grating) and scene.aperture.rigorous:
        return [
            "efficiencies here are from scalar theory; the plate uses rigorous theory (see "
            "wavesim efficiency)"
        ]
    ratio = ruled.pitch_m / longest_m
    found = []
    if ratio < _FEW_WAVELENGTHS:
        found.append(
            f"the pitch is {ratio:.2g} wavelengths at {longest_m * 1e9:.0f} nm: scalar theory "
            "gives positions, line shapes and ghost-to-line ratios correctly, but not "
            "efficiencies; ghosts of real metal gratings agree with it in order of magnitude "
            "(Fano 1948)"
        )
    angle = getattr(getattr(scene.aperture, "groove", None), "facet_angle_rad", 0.0)
    if abs(angle) > _STEEP_RAD:
        found.append("steep facets shadow each other: the efficiencies given here are too high")
    if isinstance(scene.aperture, Grating) and not found:
        found.append("scalar theory: without polarisation and anomalies")
    return found


def _far_field(scene: Scene, ruled: Ruling, longest_m: float) -> list[str]:
    bench = scene.bench
    if bench.far_field:
        return []
    if bench.camera_m is not None:
        return ["the plate is out of focus or the lens has aberrations: widths and ghosts given "
            "here are those in focus"]  # fmt: skip
    half = ruled.bare.width_m / 2
    number = half**2 / (longest_m * bench.camera_focal_m)
    text = f"Fresnel number {number:.2g}"
    if number < _FAR:
        return [f"no camera lens, {text}: the far-field formulas hold within about 1 % on the axis"]
    return [f"no camera lens, {text}: near field, where these formulas do not hold"]


def _beam(ruled: Ruling) -> list[str]:
    if ruled.uniform:
        if ruled.count <= _MANY:
            return []
        return [
            "the ruling ends sharply: between the orders the wings of a line fall only to "
            f"{0.5 / ruled.count**2:.1g} of it and hide fainter ghosts; a Gaussian beam has no "
            "such wings"
        ]
    if ruled.in_round_beam:
        return list(beam_notes(ruled))
    edge = float(abs(ruled.weight[[0, -1]]).max()) if ruled.count > 1 else 0.0
    if edge > 1e-3:
        return [f"the ruling cuts the Gaussian beam at {edge:.1g} of its amplitude"]
    return []


def _small_error(scene: Scene, ruled: Ruling, lines: tuple[Order, ...]) -> list[str]:
    highest = max((abs(line.order) for line in lines), default=0)
    largest = max((d.amplitude_m for d in defects_of(scene, PeriodicDefect)), default=0.0)
    argument = 2 * math.pi * highest * largest / ruled.pitch_m
    if argument <= _SMALL_ERROR:
        return []
    return [
        f"2 pi m A / d reaches {argument:.2g} in order {highest}: there the small-error formula "
        "for ghosts fails and the exact one is needed"
    ]
