"""The four paths from a scene to the light on its plate; each stage one line.

    rulings_far        slits, wires and gratings behind lenses: columns times rows
    rulings_near       the same at a finite distance, out of focus, with lenses that have colours,
                       or on a tilted plate, a wavelength at a time
    rulings_resolved   rulings that fan, bow, have an outline or are cut by a round beam: strips
    plane              holes, meshes, dots and pictures, in the far or near field

All take the same and end in `Computed`; `path_of` says which one a scene takes.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from wavesim import aperture, plate
from wavesim.aperture import Aperture, needs_strips
from wavesim.diffraction import far
from wavesim.diffraction.fresnel import largest_slope
from wavesim.errors import LimitError
from wavesim.light import Recorder, Spectrum, recorder_of
from wavesim.lightpath.previews import previewed
from wavesim.plate import Bins, Columns, Computed, Geometry, Light, Stage
from wavesim.plate.vignetting import Rim, cuts, rim_of, vignetted
from wavesim.scene import Plane, Scene
from wavesim.scene.plate import CoarsePlate
from wavesim.scene.quantities import show

if TYPE_CHECKING:
    from wavesim.plate.jaws import Wedged

PIXEL_ERROR = 1e-6  # of a white-light pixel at given wavelengths (tests/test_plate.py)
PHASE_PIXEL_ERROR = 1e-4  # where grooves change the phase: envelopes straight between nodes

_RIM = "the rim of the camera lens cuts off light far from its axis"

Path = Callable[[Scene, Spectrum, Geometry, Stage], Computed]


def path_of(scene: Scene) -> Path:
    """The path that the light of a scene takes.

    Raises
    ------
    LimitError
        A source slit that is turned or whose jaws are not parallel, anywhere but before straight
        rulings in the far field; a plate that is tilted, behind anything but straight rulings.
    """
    if isinstance(scene.aperture, Plane):
        found: Path = plane
    elif needs_strips(scene):
        found = rulings_resolved
    else:
        found = rulings_far if scene.bench.far_field else rulings_near
    if found is not rulings_far:
        _refuse_slit_errors(scene)
        _refuse_rim(scene)
    if scene.bench.plate_turned and found is not rulings_near:
        _refuse_turned_plate(scene)
    if scene.bench.beam is not None and scene.bench.beam.offset_m and found is plane:
        _refuse_offset(scene.bench.beam.offset_m)
    return found


def _refuse_offset(offset_m: float) -> None:
    raise LimitError(
        "is supported for rulings only",
        key="bench.beam.offset", value=show(offset_m, "length"),
        expected="no offset; shift the openings the other way by their x instead",
    )  # fmt: skip


def _refuse_rim(scene: Scene) -> None:
    lens = scene.bench.camera_lens
    if lens is not None and lens.diameter_m is not None:
        raise LimitError(
            "is supported for straight rulings in the far field only",
            key="bench.camera_lens.diameter", value=show(lens.diameter_m, "length"),
            expected="no diameter; or slits, wires or a grating between a collimator and a camera "
            "in focus, without aberrations, outline, fan or bow, and a beam that covers them",
        )  # fmt: skip


def _refuse_turned_plate(scene: Scene) -> None:
    key = "plate_tilt" if scene.bench.plate_tilt_rad else "plate_tip"
    raise LimitError(
        "is supported for straight rulings only",
        key=f"bench.{key}", value=show(getattr(scene.bench, f"{key}_rad"), "angle"),
        expected="a plate that is not turned; or slits, wires or a grating without aberrations, "
            "outline, fan, bow, round source, or a beam that cuts them",
    )  # fmt: skip


def _refuse_slit_errors(scene: Scene) -> None:
    """Errors of the source slit are computed before straight rulings in the far field only."""
    slit = scene.source.slit
    for key in ("turn", "jaws"):
        angle = getattr(slit, f"{key}_rad", 0.0)
        if angle:
            raise LimitError(
                "is supported for straight rulings in the far field only",
                key=f"source.slit.{key}", value=show(angle, "angle"),
                expected=f"no {key}; or slits, wires or a grating between a collimator and a "
                "camera in focus, without aberrations, outline, fan or bow, and a beam that covers "
                "them",
            )  # fmt: skip


def rulings_far(scene: Scene, spectrum: Spectrum, geometry: Geometry, stage: Stage) -> Computed:
    """Straight rulings in the far field: light of each column times fraction of each row."""
    ruled = stage("aperture", aperture.build, scene)
    recorder = stage("recorder", recorder_of, scene)
    rim = rim_of(scene.bench.camera_lens, geometry.axis_rad)
    if rim is not None and cuts(rim, ruled, geometry):
        bins = stage("wavelengths", plate.choose, spectrum, geometry, ruled, scene.bench.air)
        return _past_the_rim(scene, rim, ruled, geometry, bins, recorder, stage)
    simple = recorder is None and not (geometry.slit_lean or geometry.slit_wedge)
    if isinstance(scene.plate, CoarsePlate) and ruled.of_u_alone and simple:
        coarse = previewed(scene, spectrum, geometry, ruled, stage)
        if coarse is not None:
            return _computed(ruled, geometry, coarse.bins, coarse.light, coarse.error)
    if not isinstance(scene.plate, CoarsePlate) and not geometry.slit_wedge:
        shortest = min(first for first, _ in spectrum.support_m)
        geometry = plate.with_bow_resolved(geometry, ruled.width_m, shortest)
    bins = stage("wavelengths", plate.choose, spectrum, geometry, ruled, scene.bench.air)
    field, columns = columns_of(ruled, geometry, bins, stage)
    rows = stage("rows", plate.rows, ruled.along, geometry.along_rulings, columns.node_m)
    error = bins.error + rows.error  # allowed; of a whole plate it is measured
    if not isinstance(scene.plate, CoarsePlate):
        looked_at = geometry.middle_row if geometry.slit_wedge else geometry  # bowed otherwise
        error = stage("accuracy", plate.measured_error, columns, field, looked_at, bins, ruled,
                      rows, spectrum, scene.bench.air)  # fmt: skip
    error += plate.leaning_error(columns, geometry, ruled.height_m)
    light = stage("pixels", plate.compose, columns, rows, geometry, scene.plate.pixel_area_m2,
                  recorder)  # fmt: skip
    if geometry.slit_wedge:
        found = _wedged(scene, spectrum, ruled, geometry, light, recorder, stage)
        light, error = found.light, error + found.error
    return _computed(ruled, geometry, bins, light, error)


def _computed(
    ruled: Aperture, geometry: Geometry, bins: Bins, light: Light, error: float, *notes: str
) -> Computed:
    return Computed(
        light=light,
        opening=ruled,
        source_sr=geometry.slit_sr,
        averaged=False,
        elements=ruled.elements,
        wavelengths=int(bins.power.size),
        smoothing=bins.smoothing.value,
        pixel_error=PIXEL_ERROR if ruled.of_u_alone else PHASE_PIXEL_ERROR,
        bin_error=error,
        half_m=max(abs(edge) for edge in ruled.span_m),
        notes=(*ruled.limits, *notes),
    )


def _past_the_rim(
    scene: Scene,
    rim: Rim,
    ruled: Aperture,
    geometry: Geometry,
    bins: Bins,
    recorder: Recorder | None,
    stage: Stage,
) -> Computed:
    """Straight rulings in the far field of which the camera lens takes a part only.

    Raises
    ------
    LimitError
        A beam with a sharp edge cuts the rulings, too, or the source slit's jaws are not parallel.
    """
    if ruled.chords or geometry.slit_wedge:
        raise LimitError(
            "cuts off light, and so does the edge of the beam" if ruled.chords else
            "cuts off light of a source slit whose jaws are not parallel",
            key="bench.camera_lens.diameter",
            value=show(2 * rim.radius_m, "length"),
            expected="a lens that passes all the light, or a beam that covers the rulings and a "
                "slit with parallel jaws",
        )  # fmt: skip

    def columns_of_part(part: Aperture, geometry: Geometry) -> Columns:
        return columns_of(part, geometry, bins, stage)[1]

    columns, error = vignetted(rim, ruled, geometry, bins, columns_of_part)
    rows = stage("rows", plate.rows, ruled.along, geometry.along_rulings, columns.node_m)
    light = stage("pixels", plate.compose, columns, rows, geometry, scene.plate.pixel_area_m2,
                  recorder)  # fmt: skip
    error += bins.error + rows.error + plate.leaning_error(columns, geometry, ruled.height_m)
    return _computed(ruled, geometry, bins, light, error, _RIM)


def _wedged(
    scene: Scene,
    spectrum: Spectrum,
    ruled: Aperture,
    geometry: Geometry,
    parallel: Light,
    recorder: Recorder | None,
    stage: Stage,
) -> Wedged:
    """The light behind a source slit whose jaws are not parallel."""
    from wavesim.plate.jaws import wedged

    def columns(geometry: Geometry) -> Columns:
        bins = stage("wavelengths", plate.choose, spectrum, geometry, ruled, scene.bench.air)
        return columns_of(ruled, geometry, bins, stage)[1]

    def rows(geometry: Geometry, found: Columns) -> plate.Rows:
        return stage("rows", plate.rows, ruled.along, geometry, found.node_m)

    area = scene.plate.pixel_area_m2
    return wedged(
        columns, rows, geometry, parallel, width_m=ruled.width_m, pixel_area_m2=area,
        recorder=recorder,
    )  # fmt: skip


def columns_of(
    ruled: Aperture, geometry: Geometry, bins: Bins, stage: Stage
) -> tuple[far.FarField, Columns]:
    """The far field of rulings, and the light of each column at each wavelength node.

    Raises
    ------
    LimitError
        They need more memory than there is, or far too much time.
    """
    reach = plate.reach_per_m(geometry, bins, ruled)
    plate.check_memory(ruled, reach, bins, geometry)
    plate.check_time(ruled, reach, bins, geometry)
    field = stage("far field", far.far_field, ruled, *reach)
    return field, stage("columns", plate.sweep, field, geometry, bins, ruled)


def rulings_near(scene: Scene, spectrum: Spectrum, geometry: Geometry, stage: Stage) -> Computed:
    """Straight rulings at a finite distance or out of focus: columns times rows, likewise."""
    from wavesim.plate.near import expose_near

    ruled = stage("aperture", aperture.build, scene)
    return expose_near(scene, ruled, spectrum, geometry, stage)


def rulings_resolved(
    scene: Scene, spectrum: Spectrum, geometry: Geometry, stage: Stage
) -> Computed:
    """Rulings resolved along their height: strips in two dimensions."""
    from wavesim.aperture.plane.strips import build_strips
    from wavesim.plate.plane import expose_plane

    strips, groove = stage("aperture", build_strips, scene, largest_slope(scene.bench))
    return expose_plane(scene, strips, spectrum, geometry, stage, groove=groove)


def plane(scene: Scene, spectrum: Spectrum, geometry: Geometry, stage: Stage) -> Computed:
    """Apertures in the plane: holes, meshes, dots, pictures."""
    from wavesim.aperture.plane import build_plane
    from wavesim.plate.plane import expose_plane

    holes = stage("aperture", build_plane, scene)
    return expose_plane(scene, holes, spectrum, geometry, stage)
