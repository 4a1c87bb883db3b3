"""The whole path of the light, from a scene to an exposed plate, one stage a line."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from wavesim import light, plate, store
from wavesim.aperture.energy import energy_notes
from wavesim.arrays import frozen
from wavesim.colorimetry import save_png
from wavesim.colorimetry.plates import picture_of
from wavesim.diffraction.fresnel import far_field_note, wavefront
from wavesim.light import Spectrum
from wavesim.lightpath.paths import path_of
from wavesim.lightpath.stages import Stages
from wavesim.plate import Computed, Plate, Report
from wavesim.plate.deferred import raw
from wavesim.scene import Scene, require_scene
from wavesim.threads import working

if TYPE_CHECKING:
    from xarray import Dataset


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
    """The walk of a scene through all stages, run by `stage`; `paths` holds its middle.

    A fork waits until it has ended: properties that are computed once hold locks between stages,
    too.
    """
    require_scene(scene)
    with working():
        spectrum = stage("light", light.of_scene, scene)
        geometry = stage("geometry", plate.geometry_of, scene)
        found = path_of(scene)(scene, spectrum, geometry, stage)
        level = plate.level(scene, spectrum.kind_of_level, found)
        report = _report(scene, spectrum, found, stage.seconds)
        return exposed(stage("exposure", plate.develop, found.light, level, scene, report))


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
    return ExposedPlate(**{f.name: _frozen(raw(bare, f.name)) for f in fields(Plate)})


def _frozen(value: Any) -> Any:
    return frozen(value) if isinstance(value, np.ndarray) else value


def _report(scene: Scene, spectrum: Spectrum, found: Computed, seconds: dict[str, float]) -> Report:
    field = far_field_note(wavefront(scene.bench, found.half_m), found.half_m)
    return Report(
        elements=found.elements,
        wavelengths=found.wavelengths,
        smoothing=found.smoothing,
        pixel_error=found.pixel_error,
        bin_error=found.bin_error,
        seconds=seconds,
        seeds=_seeds(scene),
        cautions=light.cautions(scene.source),
        notes=(*found.notes, *energy_notes(scene, spectrum), field),
    )


def _seeds(scene: Scene) -> tuple[int, ...]:
    drawn = (scene.aperture, *getattr(scene.aperture, "defects", ()))
    return tuple(d.seed for d in drawn if hasattr(d, "seed"))
