"""Rulings that are not straight, parallel or equally long, as strips along the groove.

Each ruling is cut across into strips so short that a strip is straight and upright as far as
the plate can tell; a strip is a small rectangle at its own position, and the far field of them all
is one two-dimensional non-uniform sum.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from wavesim.aperture.build import no_light, piece_m, straight_rulings
from wavesim.aperture.combs import Aperture, Comb, pieces
from wavesim.aperture.elements import Element, Rays, Slit
from wavesim.aperture.illumination import BeamProfile, along_rulings, beam_of
from wavesim.aperture.plane.elements import Corners
from wavesim.aperture.plane.groups import Group, PlaneAperture
from wavesim.arrays import Complexes, Floats
from wavesim.constants import VISIBLE_LO_M
from wavesim.errors import LimitError
from wavesim.geometry import grating_geometry
from wavesim.scene import Scene
from wavesim.scene.aperture import Ruled
from wavesim.scene.defect import BowDefect, FanDefect

PHASE_RAD = 0.2  # half the phase along a strip that is left out: 7e-3 of the worst strip
_FEWEST_ROUND, _USUAL_ROUND = 128, 512  # strips to a ruling where outline or beam is round
_FINE_ROUND = 4.0  # strips there to lambda / sine of the plate's upper edge, where they are cheap
_CHEAP = 1_000_000  # strips in all that cost next to nothing
_MOST = 20_000_000  # strips in all


@dataclass(frozen=True)
class RulingStrip:
    """A short piece of a ruling: E(u, v) = E_ruling(u) h sinc(h v)."""

    ruling: Element
    height_m: float

    @property
    def reach_m(self) -> tuple[float, float]:
        """Half widths [m]."""
        return self.ruling.width_m / 2, self.height_m / 2

    @property
    def open_area_m2(self) -> float:
        """Open area [m2]."""
        return self.ruling.open_width_m * self.height_m

    @property
    def smallest_m(self) -> float:
        """Width of the ruling [m]."""
        return self.ruling.width_m

    def amplitude(self, u_per_m: Floats, v_per_m: Floats) -> Floats:
        """E [m2]; of a groove that depends on wavelength and angle as well, h sinc(h v) [m]."""
        along = self.height_m * np.sinc(self.height_m * np.asarray(v_per_m))
        if not self.ruling.of_u_alone:
            return np.broadcast_to(along, np.broadcast_shapes(np.shape(u_per_m), along.shape))
        return np.asarray(self.ruling.amplitude(Rays(0.0, np.asarray(u_per_m), 1.0)) * along)

    def outline(self) -> Corners | None:
        """Four corners of a slit's strip; None of a groove's."""
        if not isinstance(self.ruling, Slit):
            return None
        a, b = self.reach_m
        return ((-a, -b), (a, -b), (a, b), (-a, b))


Slope = Callable[[float, float], float]


def build_strips(scene: Scene, path_slope: Slope) -> tuple[PlaneAperture, Element | None]:
    """Strips at their positions, and the groove whose |E|^2 multiplies the plate, if it is one.

    `path_slope` gives the steepest slope of the waves' path over half widths x and y [m].

    Raises
    ------
    LimitError
        The beam misses all, there are too many strips, or grooves of several shapes fan or bow.
    """
    ruled = scene.aperture
    if not isinstance(ruled, Ruled):
        raise LimitError("is not made of rulings", key="aperture.kind", value=ruled.kind)
    straight = straight_rulings(scene)
    groove = _groove(straight)
    count = _strips(scene, ruled, straight, path_slope)
    combs = _narrow(straight, scene)
    groups = [_cut(comb, scene, ruled, straight, count) for comb in combs]
    illuminated = tuple(g for g in groups if g.x_m.size)
    if not illuminated:
        raise no_light()
    area = sum(g.element.open_area_m2 * float(np.sum(np.abs(g.weight) ** 2)) for g in illuminated)
    return PlaneAperture(illuminated, None, area, straight.limits, straight.elements), groove


def _narrow(straight: Aperture, scene: Scene) -> tuple[Comb, ...]:
    """The straight rulings, slits cut lengthwise where they are wide beside the beam."""
    beam = beam_of(scene.bench)
    piece = piece_m(beam, scene)
    found = (pieces(comb, piece, beam.reach_m[0]) for comb in straight.combs)
    return tuple(comb for comb in found if comb.position_m.size)


def _height_m(ruled: Ruled, beam: BeamProfile) -> float:
    """Height of the rulings that the beam reaches [m]."""
    return along_rulings(beam, ruled.height_m).height_m


def _groove(straight: Aperture) -> Element | None:
    if straight.of_u_alone:
        return None
    if len(straight.combs) > 1:
        raise LimitError(
            "grooves of varying depth cannot be combined with a fan, a bow or a round outline",
            key="aperture.defects",
            expected="one kind of defect or the other",
        )
    return straight.combs[0].element


def _strips(scene: Scene, ruled: Ruled, straight: Aperture, path_slope: Slope) -> int:
    """Strips to a ruling, so that half the phase along one stays below `PHASE_RAD`."""
    lo, hi = straight.span_m
    half = max(abs(lo), abs(hi))
    geometry = grating_geometry(scene)
    ends = geometry.sine_of_x(np.array(scene.plate.x_range_m))
    farthest = float(np.abs(geometry.sine_in + ends).max())
    tilt = 0.0
    for d in ruled.defects:
        if isinstance(d, FanDefect):
            tilt += abs(d.angle_rad) / 2
        if isinstance(d, BowDefect):
            tilt += 4 * abs(d.sag_m) / ruled.height_m
    height = _height_m(ruled, beam_of(scene.bench))
    path = farthest * tilt + path_slope(half, height / 2)
    count = max(1, math.ceil(math.pi / VISIBLE_LO_M * path * height / PHASE_RAD))
    round_ = ruled.outline != "rectangle" or scene.bench.beam is not None
    narrow = sum(comb.position_m.size for comb in _narrow(straight, scene))
    if round_:
        count = max(count, int(np.clip(_CHEAP / narrow, _FEWEST_ROUND, _most_round(scene, height))))
    total = count * max(narrow, 1)
    if total > _MOST:
        raise LimitError(
            f"would need {count:,} strips for each of {straight.elements:,} rulings",
            key="aperture.defects",
            expected=f"a smaller fan or bow, or fewer rulings: at most {_MOST:,} strips",
        )
    return count


def _most_round(scene: Scene, height_m: float) -> int:
    """Strips worth having at a round edge, whose light they send right up to the plate's ends."""
    high = scene.plate.pixels_y * scene.plate.pixel_m / 2
    rise = math.sin(math.atan(high / scene.bench.camera_focal_m))
    return max(_USUAL_ROUND, math.ceil(_FINE_ROUND * height_m * rise / VISIBLE_LO_M))


def _cut(comb: Comb, scene: Scene, ruled: Ruled, straight: Aperture, count: int) -> Group:
    lo, hi = straight.span_m
    high = _height_m(ruled, beam_of(scene.bench)) / count
    y: Floats = (np.arange(count, dtype=np.float64) - (count - 1) / 2) * high
    x = comb.position_m[:, None] + _shift(ruled, comb.position_m[:, None], y, (lo, hi))
    y = np.broadcast_to(y, x.shape)
    weight = comb.weight[:, None] * _intensity(scene, ruled, x, y, high, (hi - lo) / 2)
    present = weight != 0
    return Group(RulingStrip(comb.element, high), x[present], y[present], _plain(weight[present]))


def _plain(weight: Complexes) -> Floats | Complexes:
    """Real weights where nothing is complex."""
    return weight.real.copy() if not np.any(weight.imag) else weight


def _shift(ruled: Ruled, x: Floats, y: Floats, span: tuple[float, float]) -> Floats:
    """Displacement of a ruling at x, at the height y, by fan and bow [m]."""
    out = np.zeros(np.broadcast_shapes(x.shape, y.shape))
    for d in ruled.defects:
        if isinstance(d, FanDefect):
            out += d.angle_rad * (x - sum(span) / 2) / (span[1] - span[0]) * y
        if isinstance(d, BowDefect):
            out += d.sag_m * (2 * y / ruled.height_m) ** 2
    return out


def _intensity(
    scene: Scene, ruled: Ruled, x: Floats, y: Floats, high: float, half: float
) -> Floats:
    """Amplitude of each strip: its part within outline and beam, and the beam's profile."""
    out = np.ones(x.shape)
    if ruled.outline == "ellipse":
        out *= _within(x / half, y, high, ruled.height_m / 2)
    beam = beam_of(scene.bench)
    if not beam.round_edge:
        return np.asarray(out * beam.amplitude(x, y))
    across = (x - beam.middle_m) / beam.half_axes_m[0]
    return out * _within(across, y, high, beam.radius_m)


def _within(x: Floats, y: Floats, high: float, half: float) -> Floats:
    """Part of a strip's height inside the ellipse of half axes 1 along x and `half` along y."""
    top = half * np.sqrt(np.clip(1 - x * x, 0.0, None))
    inside = np.minimum(y + high / 2, top) - np.maximum(y - high / 2, -top)
    return np.clip(inside / high, 0.0, 1.0)
