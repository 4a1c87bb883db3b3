"""From a scene's aperture to elements and positions."""

from __future__ import annotations

import math

import numpy as np

from wavesim.aperture.combs import Aperture, Comb
from wavesim.aperture.elements import Floats, Slit
from wavesim.errors import LimitError
from wavesim.scene import Bench, Scene
from wavesim.scene.aperture import Grating, Slits, Wires

_FEW_WAVELENGTHS = 3.0  # a scalar theory's absolute efficiencies end about here (common practice)
_SHORT_WAVE_M = 400e-9


def build(scene: Scene) -> Aperture:
    """Elements at their positions, with the illumination of the beam as weights.

    Raises
    ------
    LimitError
        The beam misses every element, or the kind of aperture is not one of rulings.
    """
    bare = _bare(scene)
    lit = [_illuminated(comb, scene.bench) for comb in bare.combs]
    combs = tuple(comb for comb in lit if comb.position_m.size)
    if not combs:
        raise LimitError(
            "the beam is narrower than the gap between two elements and passes none",
            key="bench.beam",
            expected="a beam wider than the pitch",
        )
    height = bare.height_m
    if scene.bench.beam is not None:
        height = min(height, scene.bench.beam.diameter_m)
    return Aperture(combs, height, bare.pitch_m, _limits(combs, bare.pitch_m))


def _bare(scene: Scene) -> Aperture:
    aperture = scene.aperture
    if isinstance(aperture, Slits) and aperture.slits is not None:
        return _listed(aperture)
    if isinstance(aperture, Slits) and aperture.width_m is not None:
        pitch = aperture.mean_pitch_m or aperture.width_m
        return _even(aperture.rulings, pitch, aperture.width_m, aperture.height_m)
    if isinstance(aperture, Wires):
        return _even(aperture.rulings - 1, aperture.pitch_m, aperture.gap_m, aperture.height_m)
    if isinstance(aperture, Grating) and aperture.slit_width_m is not None:
        pitch = aperture.resolved_pitch_m
        return _even(aperture.rulings, pitch, aperture.slit_width_m, aperture.height_m)
    raise LimitError(
        "this kind of aperture or groove cannot be exposed yet",
        key="aperture.kind",
        expected="slits, wires, or a grating with slit grooves",
    )


def even_positions(count: int, pitch_m: float) -> Floats:
    """(count,) [m] places `pitch_m` apart about zero."""
    return (np.arange(count) - (count - 1) / 2) * pitch_m


def _even(count: int, pitch: float, width: float, height: float) -> Aperture:
    comb = Comb(Slit(width), even_positions(count, pitch), np.ones(count, dtype=np.complex128))
    return Aperture((comb,), height, pitch if count > 1 else width)


def _listed(aperture: Slits) -> Aperture:
    """One comb for each distinct width."""
    slits = sorted(aperture.slits or (), key=lambda slit: slit.centre_m)
    combs = []
    for width in sorted({slit.width_m for slit in slits}):
        places = np.array([slit.centre_m for slit in slits if slit.width_m == width])
        combs.append(Comb(Slit(width), places, np.ones(places.size, dtype=np.complex128)))
    return Aperture(tuple(combs), aperture.height_m, aperture.mean_pitch_m or slits[0].width_m)


def _illuminated(comb: Comb, bench: Bench) -> Comb:
    """Weights by the beam: hard edge, or the amplitude of a Gaussian whose diameter is 1/e^2.

    The beam is met at alpha, so a length x on the aperture covers x cos(alpha) of it. One
    weight stands for a whole element: good while an element is small beside the beam.
    """
    if bench.beam is None:
        return comb
    across = comb.position_m * math.cos(bench.alpha_rad)
    radius = bench.beam.diameter_m / 2
    if bench.beam.profile == "gaussian":
        weight = comb.weight * np.exp(-((across / radius) ** 2))
        return Comb(comb.element, comb.position_m, weight)
    inside = np.abs(across) <= radius
    return Comb(comb.element, comb.position_m[inside], comb.weight[inside])


def _limits(combs: tuple[Comb, ...], pitch_m: float) -> tuple[str, ...]:
    smallest = min(comb.element.width_m for comb in combs)
    if min(pitch_m, smallest) >= _FEW_WAVELENGTHS * _SHORT_WAVE_M:
        return ()
    return (
        "the elements are only a few wavelengths wide: positions, line shapes and ratios of "
        "ghosts to lines hold, absolute efficiencies do not (scalar theory)",
    )
