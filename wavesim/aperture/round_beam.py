"""Rulings that the round edge of a uniform beam cuts: what is left of their heights.

Before a tall source slit two heights of a ruling do not interfere, and the far field is the mean
over chords of the beam; before a low slit or a point each ruling counts by the height left of it
(`Aperture.towards`), and plates are made of strips (`plane.strips`).
"""

from __future__ import annotations

import math

import numpy as np

from wavesim.aperture.combs import Chord
from wavesim.aperture.illumination import BeamProfile, along_rulings, beam_of
from wavesim.constants import VISIBLE_HI_M
from wavesim.scene import Scene
from wavesim.scene.aperture import Ruled, Slits

_CHORDS = 64  # of a round beam (tests/test_illumination.py)
_TALL = 9.0  # source slit in lambda / (illuminated height): 1e-3 of a line by chords


def heights_add_in_power(scene: Scene) -> bool:
    """Whether a beam's round edge cuts the rulings, and the source slit is tall."""
    return cut_by_beam(scene) and scene.bench.far_field and tall_slit(scene)


def cut_by_beam(scene: Scene) -> bool:
    """Whether the round edge of a uniform beam cuts a ruled aperture's rectangle."""
    ruled, beam = scene.aperture, beam_of(scene.bench)
    if not isinstance(ruled, Ruled) or not beam.round_edge:
        return False
    return not beam.covers(_half_width_m(ruled), ruled.height_m / 2)


def _half_width_m(ruled: Ruled) -> float:
    """Distance [m] of the farther edge of the ruled width from the axis, without defects."""
    if isinstance(ruled, Slits) and ruled.slits is not None:
        return max(abs(s.centre_m) + s.width_m / 2 for s in ruled.slits)
    pitch = ruled.mean_pitch_m or 0.0
    widest = getattr(ruled, "width_m", None) if isinstance(ruled, Slits) else pitch
    return ((ruled.rulings - 1) * pitch + (widest or pitch)) / 2


def tall_slit(scene: Scene) -> bool:
    """Whether the source slit is so tall that heights on the aperture do not interfere.

    Two heights that are lambda / (the slit's angle) apart add up in intensity: light may then
    be added up over the aperture's height, chord by chord of the beam.
    """
    slit, focal = scene.source.slit, scene.bench.source_focal_m
    if slit is None or focal is None:
        return False
    angle = 2 * math.sin(math.atan(slit.height_m / 2 / focal))
    height = along_rulings(beam_of(scene.bench), getattr(scene.aperture, "height_m", 0.0)).height_m
    return angle * height >= _TALL * VISIBLE_HI_M


def chords_of(beam: BeamProfile, scene: Scene, half_height_m: float) -> tuple[Chord, ...]:
    """Gauss-Legendre points in t over the height y = R sin t: half width R cos t / cos alpha."""
    if not cut_by_beam(scene):
        return ()
    radius = beam.radius_m
    top = math.asin(min(1.0, half_height_m / radius))
    t, w = np.polynomial.legendre.leggauss(_CHORDS)
    angle, part = top * (t + 1) / 2, top * w / 2
    fraction = part * np.cos(angle) * radius / half_height_m
    half = beam.half_axes_m[0] * np.cos(angle)
    both = zip(half, fraction, strict=True)
    return tuple(Chord(float(h), float(f), beam.middle_m) for h, f in both)
