"""The whole path of the light, from a scene to an exposed plate, one stage a line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from wavesim import aperture, light, plate, store
from wavesim.aperture import Aperture, needs_strips
from wavesim.colorimetry import save_png
from wavesim.colorimetry.plates import picture_of
from wavesim.diffraction import far
from wavesim.diffraction.fresnel import judged, steepest, wavefront
from wavesim.light import Spectrum
from wavesim.lightpath.stages import Stages
from wavesim.plate import Bins, Plate, Report
from wavesim.scene import Scene
from wavesim.scene.planar import Plane as PlaneShape
from wavesim.scene.plate import CoarsePlate

if TYPE_CHECKING:
    from xarray import Dataset

PIXEL_ERROR = 1e-6  # of a white-light pixel at given wavelengths (tests/test_plate.py)
PHASE_PIXEL_ERROR = 1e-4  # where grooves change the phase: envelopes straight between nodes


class ExposedPlate(Plate):
    """A plate that can be looked at and kept; all fields are those of `Plate`."""

    def picture(self) -> npt.NDArray[np.uint8 | np.uint16]:
        """(ny, nx, 3) 8-bit sRGB, as the scene's [exposure] asks."""
        return picture_of(self)

    def __repr__(self) -> str:
        rows, columns = self.irradiance.shape
        pixel = self.scene.plate.pixel_m * 1e6
        return (
            f"<plate {self.scene.title!r}: {columns} x {rows} pixels of {pixel:g} um, brightest "
            f"{self.illuminance_lx.max():.3g} lx, exposed {self.exposure_s:.3g} s>"
        )

    def _repr_png_(self) -> bytes:
        """The picture, for a notebook."""
        from io import BytesIO

        from PIL import Image

        stream = BytesIO()
        Image.fromarray(self.picture()).save(stream, "PNG")
        return stream.getvalue()

    def to_xarray(self) -> Dataset:
        """The plate as a labelled dataset (xarray must be installed; imported only here).

        Coordinates x, y [m], wavelength [m] and component X, Y, Z; variables irradiance [W m-2],
        exposure [lx s], illuminance [lx], profile_irradiance and profile_spectrum [W m-2 nm-1]
        along the plate's middle; the scene's text and the exposure time as attributes.
        """
        from wavesim.lightpath.labelled import dataset

        return dataset(self)

    def save(self, path: str | Path, *, precision: str = "auto") -> None:
        """Write the plate file (HDF5, NeXus); an interrupted write leaves the old file or none.

        `precision` is "double" (comes back to the last bit), "single" (right to 6e-8, half the
        size) or "auto": single from 64 MB of light on.
        """
        store.save(self, path, precision=precision)

    def save_png(self, path: str | Path) -> None:
        """Write the picture."""
        save_png(path, self.picture())


def expose(scene: Scene, *, progress: Callable[[str], None] | None = None) -> ExposedPlate:
    """Expose a scene: what its bench leaves on its plate.

    Parameters
    ----------
    scene : from `wavesim.load` or built in Python
    progress : called with the name of each stage as it begins

    Raises
    ------
    InputError
        A table cannot be read, the plate needs more memory than there is, or the scene leaves
        the theory's range.
    """
    return follow(scene, Stages(progress))


def follow(scene: Scene, stage: Stages) -> ExposedPlate:
    """The path itself, its stages run by `stage`."""
    spectrum = stage("light", light.of_scene, scene)
    if isinstance(scene.aperture, PlaneShape) or not scene.bench.far_field or needs_strips(scene):
        return _expose_apart(scene, spectrum, stage)
    ruled = stage("aperture", aperture.build, scene)
    place = stage("geometry", plate.geometry, scene)
    bins = stage("wavelengths", plate.choose, spectrum, place, ruled, scene.bench.air)
    reach = plate.reach_per_m(place, bins, ruled)
    plate.check_memory(ruled, reach, bins, place)
    field = stage("far field", far.far_field, ruled, *reach)
    columns = stage("columns", plate.sweep, field, place, bins, ruled)
    share = stage("rows", plate.rows, ruled.along, place, columns.node_m)
    error = bins.error + share.error  # allowed; of a whole plate it is measured
    if not isinstance(scene.plate, CoarsePlate):
        error = stage("accuracy", plate.measured_error, columns, field, place, bins, ruled, share,
                      spectrum, scene.bench.air)  # fmt: skip
    seen = stage("pixels", plate.compose, columns, share, place, scene.plate.pixel_area_m2)
    factor = plate.level(scene, place, spectrum.kind_of_level, ruled)
    report = _report(scene, ruled, replace(bins, error=error), stage.seconds)
    return exposed(stage("exposure", plate.develop, seen, factor, scene, report))


def _expose_apart(scene: Scene, spectrum: Spectrum, stage: Stages) -> ExposedPlate:
    """The same for an aperture in the plane, or in the near field."""
    from wavesim.aperture.plane import build_plane
    from wavesim.aperture.plane.strips import build_strips
    from wavesim.plate.near import expose_near, in_focus
    from wavesim.plate.plane import expose_plane

    place = stage("geometry", plate.geometry, in_focus(scene))
    if isinstance(scene.aperture, PlaneShape):
        holes = stage("aperture", build_plane, scene)
        lit = expose_plane(scene, holes, spectrum, place, stage)
    elif needs_strips(scene):
        strips, groove = stage("aperture", build_strips, scene, steepest(scene.bench))
        lit = expose_plane(scene, strips, spectrum, place, stage, groove=groove)
    else:
        ruled = stage("aperture", aperture.build, scene)
        lit = expose_near(scene, ruled, spectrum, place, stage)
    report = replace(
        lit.report,
        seconds=stage.seconds,
        seeds=_seeds(scene),
        cautions=light.cautions(scene.source),
    )
    return exposed(stage("exposure", plate.develop, lit.light, lit.factor, scene, report))


def open_plate(path: str | Path) -> ExposedPlate:
    """Read a plate file back.

    Raises
    ------
    PlateFileError
        The file is missing, cut short or not a plate file.
    """
    return exposed(store.load(path))


def exposed(bare: Plate) -> ExposedPlate:
    """The same plate with its picture and files; its arrays cannot be written to."""
    return ExposedPlate(**{f.name: _frozen(getattr(bare, f.name)) for f in fields(Plate)})


def _frozen(value: Any) -> Any:
    if not isinstance(value, np.ndarray):
        return value
    view = value.view()
    view.flags.writeable = False
    return view


def _report(scene: Scene, ruled: Aperture, bins: Bins, seconds: dict[str, float]) -> Report:
    half_m = max(abs(edge) for edge in ruled.span_m)
    return Report(
        elements=ruled.elements,
        wavelengths=int(bins.power.size),
        smoothing=bins.smoothing.value,
        pixel_error=PIXEL_ERROR if ruled.of_u_alone else PHASE_PIXEL_ERROR,
        bin_error=bins.error,
        seconds=seconds,
        seeds=_seeds(scene),
        cautions=light.cautions(scene.source),
        notes=(*ruled.limits, judged(wavefront(scene.bench, half_m), half_m)),
    )


def _seeds(scene: Scene) -> tuple[int, ...]:
    drawn = (scene.aperture, *getattr(scene.aperture, "defects", ()))
    return tuple(d.seed for d in drawn if hasattr(d, "seed"))
