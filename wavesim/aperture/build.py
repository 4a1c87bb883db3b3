"""From a scene's aperture to elements and positions."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np

from wavesim import glass
from wavesim.aperture import grooves
from wavesim.aperture.combs import Aperture, Comb, pieces
from wavesim.aperture.defects import IdealRuling, RulingErrors, combined
from wavesim.aperture.elements import Slit
from wavesim.aperture.grooves import FacetGroove, GrooveSurface, SineGroove
from wavesim.aperture.illumination import BeamProfile, along_rulings, beam_of
from wavesim.aperture.limits import FARTHEST_M, of_small_elements
from wavesim.aperture.measured import two_columns
from wavesim.aperture.round_beam import chords_of, cut_by_beam, heights_add_in_power, tall_slit
from wavesim.aperture.spread import spread
from wavesim.arrays import Complexes, Floats
from wavesim.constants import VISIBLE_LO_M
from wavesim.errors import LimitError, TableError
from wavesim.geometry import grating_geometry
from wavesim.scene import Scene
from wavesim.scene.aperture import Grating, Ruled, Slits, Wires
from wavesim.scene.defect import BowDefect, Defect, FanDefect
from wavesim.scene.groove import (
    BinaryGroove,
    BlazedGroove,
    MultilevelGroove,
    SinusoidalGroove,
    SlitGroove,
    TableGroove,
    TrapezoidalGroove,
)
from wavesim.scene.rules import SLACK

Defects = tuple[Defect, ...]

_HOLDS = "positions, line shapes and ratios of ghosts to lines"
GAUSSIAN_PIECE = 0.02  # of the radius R: amplitude right to 3e-5 over a piece
EDGE_PIECE = 1 / 256  # of the radius of a beam with an edge: its area right to 1e-4
_BEYOND = 1.2  # directions a little beyond the plate that errors of shape are made right for


def build(scene: Scene, *, whole: bool = False) -> Aperture:
    """Elements at their positions, with defects, and the illumination of the beam as weights.

    Parameters
    ----------
    whole : keep slits whole that are wide beside the beam, for formulas that count them

    Raises
    ------
    LimitError
        The beam misses every element, a defect goes too far, or the kind of aperture is not one
        of rulings.
    TableError
        A table of a profile or of displacements cannot be read.
    """
    _check_outline(scene)
    bare, pitch_m, height_m = _bare(scene)
    beam = beam_of(scene.bench)
    piece = math.inf if whole else piece_m(beam, scene)
    parts = [pieces(_present(comb), piece, beam.reach_m[0]) for comb in bare]
    illuminated = [_illuminated(comb, beam) for comb in parts]
    combs = tuple(comb for comb in illuminated if comb.position_m.size)
    if not combs:
        raise no_light()
    along = along_rulings(beam, height_m)
    _check_reach(combs, along.height_m)
    smallest = min(pitch_m, *(comb.element.width_m for comb in bare))
    return Aperture(
        combs, along.height_m, pitch_m, _limits(combs, smallest),
        along.gaussian_m, chords_of(beam, scene, along.height_m / 2), *reversed(beam.half_axes_m),
    )  # fmt: skip


def build_for_middle_row(scene: Scene, *, whole: bool = False) -> Aperture:
    """The rulings as the middle row of a plate has them where a beam's round edge cuts them.

    Before a tall source slit heights add up in power, chord by chord (`Aperture.chords`); else in
    amplitude, each ruling weighted by the height that is left of it. Raises as `build`.
    """
    ruled = build(scene, whole=whole)
    return ruled if heights_add_in_power(scene) else ruled.towards()


def straight_rulings(scene: Scene) -> Aperture:
    """The rulings without fan, bow, outline and beam: whole, and illuminated all over.

    Raises as `build`.
    """
    bare, pitch_m, height_m = _bare(scene, left_out=(FanDefect, BowDefect))
    combs = tuple(comb for comb in map(_present, bare) if comb.position_m.size)
    if not combs:
        raise no_light()
    _check_reach(combs, height_m)
    smallest = min(pitch_m, *(comb.element.width_m for comb in combs))
    return Aperture(combs, height_m, pitch_m, _limits(combs, smallest))


def no_light() -> LimitError:
    """What is wrong where a beam meets no ruling."""
    return LimitError(
        "no element is left in the beam",
        key="bench.beam",
        expected="a beam wider than the pitch, and rulings that are not all missing",
    )


def _limits(combs: tuple[Comb, ...], smallest_m: float) -> tuple[str, ...]:
    """Where the theory stops, or that it is rigorous."""
    theory: str | None = getattr(combs[0].element, "theory", None)  # of a rigorous groove
    if theory is not None:
        return (theory,)
    return of_small_elements(smallest_m, _HOLDS)


def needs_strips(scene: Scene) -> bool:
    """Whether rows and columns of a ruled aperture do not come apart (`plane.strips` cuts it)."""
    ruled, bench = scene.aperture, scene.bench
    if not isinstance(ruled, Ruled):
        return False
    crooked = any(
        (isinstance(d, FanDefect) and d.angle_rad != 0)
        or (isinstance(d, BowDefect) and d.sag_m != 0)
        for d in ruled.defects
    )
    return (
        crooked
        or ruled.outline != "rectangle"
        or bench.lens_errors is not None
        or scene.source.disc_rad is not None
        or (cut_by_beam(scene) and not (bench.far_field and tall_slit(scene)))
    )


def _check_reach(combs: tuple[Comb, ...], height_m: float) -> None:
    reach = max(float(np.abs(c.position_m).max()) + c.element.width_m for c in combs)
    if height_m > FARTHEST_M:
        raise LimitError(
            "is too large",
            key="aperture.height",
            value=f"{height_m:.3g} m",
            expected=f"at most {FARTHEST_M:g} m",
        )
    if not reach <= FARTHEST_M:  # nor NaN
        raise LimitError(
            f"has rulings as far as {reach:.3g} m from the axis",
            key="aperture",
            expected=f"rulings within {FARTHEST_M:g} m; check the units of pitch, width and "
            "displacements",
        )


def _bare(scene: Scene, left_out: tuple[type, ...] = ()) -> tuple[tuple[Comb, ...], float, float]:
    """Combs in an even and endless beam, the mean pitch [m] and the height [m]."""
    aperture = scene.aperture
    if not isinstance(aperture, (Slits, Wires, Grating)):
        raise LimitError(
            "this kind of aperture is not made of rulings",
            key="aperture.kind",
            value=aperture.kind,
            expected="slits, wires or grating",
        )
    defects = tuple(d for d in aperture.defects if not isinstance(d, left_out))
    if isinstance(aperture, Wires):
        combs, pitch = _gaps(aperture, defects, scene), aperture.pitch_m
    elif isinstance(aperture, Grating):
        combs, pitch = _grating(aperture, defects, scene), aperture.mean_pitch_m
    else:
        combs, pitch = _slits(aperture, defects, scene)
    return combs, pitch, aperture.height_m


def _check_outline(scene: Scene) -> None:
    outline = getattr(scene.aperture, "outline", "rectangle")
    if outline != "rectangle":
        raise LimitError(
            "a round outline cannot be combined with this plate",
            key="aperture.outline",
            value=outline,
            expected="rectangle",
        )


def even_positions(count: int, pitch_m: float) -> Floats:
    """(count,) [m] positions `pitch_m` apart about zero."""
    return np.asarray((np.arange(count) - (count - 1) / 2) * pitch_m, dtype=np.float64)


def _slits(aperture: Slits, defects: Defects, scene: Scene) -> tuple[tuple[Comb, ...], float]:
    if aperture.slits is not None:
        listed = sorted(aperture.slits, key=lambda slit: slit.centre_m)
        position = np.array([slit.centre_m for slit in listed])
        width = np.array([slit.width_m for slit in listed])
        pitch = aperture.mean_pitch_m or float(width[0])
    else:
        width_m = aperture.width_m or 0.0
        pitch = aperture.mean_pitch_m or width_m
        position = even_positions(aperture.rulings, pitch)
        width = np.full(position.size, width_m)
    wrong = combined(defects, IdealRuling(position, pitch, scene.folder))
    return _openings(position + wrong.displacement_m, width + wrong.width_m, wrong, scene), pitch


def _gaps(wires: Wires, defects: Defects, scene: Scene) -> tuple[Comb, ...]:
    """The clear gaps between wires that are displaced, missing or too thick."""
    position = even_positions(wires.count, wires.pitch_m)
    wrong = combined(defects, IdealRuling(position, wires.pitch_m, scene.folder))
    present = np.broadcast_to(wrong.weight, position.shape) != 0
    middle = (position + wrong.displacement_m)[present]
    half = np.broadcast_to(wires.width_m + wrong.width_m, position.shape)[present] / 2
    left, right = middle[:-1] + half[:-1], middle[1:] - half[1:]
    return _openings((left + right) / 2, right - left, RulingErrors(), scene)


def _grating(grating: Grating, defects: Defects, scene: Scene) -> tuple[Comb, ...]:
    pitch = grating.mean_pitch_m
    ideal = even_positions(grating.rulings, pitch)
    wrong = combined(defects, IdealRuling(ideal, pitch, scene.folder))
    position = ideal + wrong.displacement_m
    if grating.slit_width_m is not None:
        width = np.full(ideal.size, grating.slit_width_m) + wrong.width_m
        return _openings(position, width, wrong, scene)
    if grating.rigorous:
        return (_rigorous(scene, position, wrong),)
    groove = scalar_groove(grating, scene.folder)
    weight = np.ones(ideal.size, dtype=np.complex128) * wrong.weight
    depth = np.broadcast_to(np.asarray(wrong.depth, dtype=np.float64), ideal.shape)
    turns = 2.0 if grating.mounting == "reflection" else getattr(grating.groove, "index", 1.5) + 1
    phase = 2 * math.pi * turns / VISIBLE_LO_M * groove.relief_m
    return spread(groove.deepened, depth, position, weight, phase)


def _rigorous(scene: Scene, position: Floats, wrong: RulingErrors) -> Comb:
    """One comb of grooves with the efficiencies of rigorous theory."""
    if np.any(np.asarray(wrong.depth) != 1):
        raise LimitError(
            "changes the depth of the grooves, but rigorous theory needs equal grooves",
            key="aperture.defects",
            expected='defects of position or weight, or theory = "scalar"',
        )
    from wavesim.aperture.rigorous import rigorous_groove

    weight = np.ones(position.size, dtype=np.complex128) * wrong.weight
    return Comb(rigorous_groove(scene), position, weight)


def _openings(
    position: Floats, width: Floats, wrong: RulingErrors, scene: Scene
) -> tuple[Comb, ...]:
    """Slits of any widths at any positions; those closed by their errors are left out."""
    if np.any(width < 0):
        width = np.maximum(width, 0.0)
    weight = np.ones(position.size, dtype=np.complex128) * wrong.weight
    weight = np.where(width > 0, weight, 0.0)
    position, width, weight = _united(position, width, weight)
    phase = math.pi * _BEYOND * _reach(scene) / VISIBLE_LO_M
    return spread(Slit, width, position, weight, phase)


def _united(position: Floats, width: Floats, weight: Complexes) -> tuple[Floats, Floats, Complexes]:
    """Openings that errors have moved onto one another as one: light passes there once."""
    clear = weight != 0
    left, right = (position - width / 2)[clear], (position + width / 2)[clear]
    order = np.argsort(left, kind="stable")
    left, ends = left[order], np.maximum.accumulate(right[order])
    apart = left[1:] >= ends[:-1] - SLACK * width.max()
    if apart.all():
        return position, width, weight
    left, right = left[np.append(True, apart)], ends[np.append(apart, True)]
    return (left + right) / 2, right - left, np.ones(left.size, dtype=np.complex128)


def _reach(scene: Scene) -> float:
    """Largest |sin alpha + sin beta| between the zero order and the plate's edges."""
    geometry = grating_geometry(scene)
    ends = geometry.sine_of_x(np.array(scene.plate.x_range_m))
    return float(np.abs(geometry.sine_in + ends).max()) + 1e-3


def scalar_groove(grating: Grating, folder: Path) -> FacetGroove | SineGroove:
    """The element of a grating in scalar theory."""
    pitch, groove = grating.mean_pitch_m, grating.groove
    surface = _surface(grating, folder)
    if isinstance(groove, BlazedGroove):
        return grooves.blazed(pitch, groove.facet_angle_rad, surface)
    if isinstance(groove, BinaryGroove):
        return grooves.binary(pitch, groove.depth_m, groove.duty, surface)
    if isinstance(groove, SinusoidalGroove):
        return SineGroove(pitch, groove.depth_m, surface)
    if isinstance(groove, TrapezoidalGroove):
        return grooves.trapezoidal(pitch, groove.depth_m, groove.top, groove.bottom, surface)
    if isinstance(groove, MultilevelGroove):
        return grooves.multilevel(pitch, groove.depth_m, groove.levels, surface)
    return _measured_groove(groove, pitch, surface, folder)


def _measured_groove(
    groove: TableGroove | SlitGroove, pitch: float, surface: GrooveSurface, folder: Path
) -> FacetGroove:
    if isinstance(groove, SlitGroove):
        raise TypeError("a slit groove is an opening, not a relief")
    path = folder / groove.file
    _, position, height = two_columns(path, ("place_um",), ("height_nm",))
    if abs(position[0]) > 1e-3 * pitch or abs(position[-1] - pitch) > 1e-3 * pitch:
        raise TableError(
            "does not cover one pitch",
            file=path,
            value=f"{position[0] * 1e6:.6g} to {position[-1] * 1e6:.6g} um",
            expected=f"positions from 0 to {pitch * 1e6:.6g} um",
        )
    return grooves.measured(position * (pitch / position[-1]), height, pitch, surface)


def _surface(grating: Grating, folder: Path) -> GrooveSurface:
    index = getattr(grating.groove, "index", 1.5)
    if grating.mounting == "transmission" and not grating.rigorous:
        return GrooveSurface(grating.mounting, index, glass=_glass(grating))
    if grating.reflectance_file is None:
        return GrooveSurface(grating.mounting, index, None, grating.reflectance)
    path = folder / grating.reflectance_file
    _, wavelength, value = two_columns(path, ("wavelength_nm",), ("reflectance",))
    if value.min() < 0 or value.max() > 1:
        raise TableError("a reflectance is outside 0 to 1", file=path)
    return GrooveSurface(grating.mounting, index, wavelength, value)


def _glass(grating: Grating) -> str | None:
    """The named material of a transmission grating, whose dispersion scalar theory knows."""
    if grating.material_file is not None or (
        grating.material is not None and grating.material not in glass.NAMES
    ):
        raise LimitError(
            "is available in rigorous theory alone",
            key="aperture.material" if grating.material else "aperture.material_file",
            value=grating.material or grating.material_file,
            expected=f'{", ".join(glass.NAMES)}, or the groove\'s index, or theory = "rigorous"',
        )
    return grating.material


def _present(comb: Comb) -> Comb:
    """Without the elements of no weight."""
    present = comb.weight != 0
    if present.all():
        return comb
    return replace(comb, position_m=comb.position_m[present], weight=comb.weight[present])


def piece_m(beam: BeamProfile, scene: Scene) -> float:
    """Widest slit [m] for which one amplitude of the beam will do; infinite without a beam."""
    if not beam.limits or not (beam.gaussian or cut_by_beam(scene)):
        return math.inf
    part = GAUSSIAN_PIECE if beam.gaussian else EDGE_PIECE
    return part * beam.half_axes_m[0]


def _illuminated(comb: Comb, beam: BeamProfile) -> Comb:
    """Weights by the beam along y = 0; one weight stands for a whole element."""
    if not beam.limits:
        return comb
    weight = comb.weight * beam.amplitude(comb.position_m)
    if beam.gaussian:
        return replace(comb, weight=weight)
    return _present(replace(comb, weight=weight))
