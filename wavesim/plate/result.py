"""The exposed plate: what the bench leaves on it, and how well that is known."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import instance
from wavesim.plate.deferred import deferred
from wavesim.scene import Scene


@dataclass(frozen=True)
class Report:
    """How a plate was computed.

    Attributes
    ----------
    elements : slits or rulings illuminated by the beam
    wavelengths : wavelength bins used
    smoothing : what each pixel edge was averaged over
    pixel_error : error of a pixel's light at each wavelength (table and rounding)
    bin_error : error of a pixel from finite bins, wide pixels and bowed lines, as measured on
        parts of this plate; both of the brightest pixel, their sum bounds the whole
    seconds : wall time of each stage [s]
    seeds : random seeds that the scene fixes
    cautions : for the eyes
    notes : where the theory, the sampling or the plate's edge limits the result
    """

    elements: int
    wavelengths: int
    smoothing: str
    pixel_error: float
    bin_error: float
    seconds: dict[str, float] = field(default_factory=dict)
    seeds: tuple[int, ...] = ()
    cautions: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


@deferred("profile_spectrum")
@dataclass(frozen=True, eq=False)
class Plate:
    """Irradiance and colour over the plate.

    Attributes
    ----------
    x_m, y_m : (nx,), (ny,) [m] pixel middles; x along the dispersion from the camera's axis
    irradiance : (ny, nx) [W m-2] between 360 and 830 nm
    xyz : (ny, nx, 3) [lx s] CIE 1931 exposure; Y is the photometric exposure
    profile_irradiance : (nx,) [W m-2] of the pixel row across the plate's middle
    profile_wavelength_m : (nw,) [m] air wavelengths of the profile's spectra
    profile_spectrum : (nw, nx) [W m-2 nm-1] in triangular bands between its wavelengths; computed
        when it is first read
    scene : what was exposed
    white_xyz : (3,) the source's white, Y = 1
    white_exposure_lx_s : exposure shown as white, 78 / speed (ISO 12232)
    exposure_s : [s] exposure time
    report : how it was computed
    recorded : (ny, nx, 3) [lx s] what the scene's own observer, sensor or film counts, as XYZ (a
        film's [lx s] are those of daylight); None where that is the CIE 1931 observer
    recorded_white_xyz : (3,) the source's white as it counts it, Y = 1
    """

    x_m: Floats
    y_m: Floats
    irradiance: Floats
    xyz: Floats
    profile_irradiance: Floats
    profile_wavelength_m: Floats
    profile_spectrum: Floats
    scene: Scene
    white_xyz: Floats
    white_exposure_lx_s: float
    exposure_s: float
    report: Report
    recorded: Floats | None = None
    recorded_white_xyz: Floats | None = None

    @property
    def shown_xyz(self) -> Floats:
        """(ny, nx, 3) [lx s] what a picture shows: `recorded`, or CIE 1931."""
        return self.xyz if self.recorded is None else self.recorded

    @property
    def shown_white_xyz(self) -> Floats:
        """(3,) the source's white in it, Y = 1."""
        return self.white_xyz if self.recorded_white_xyz is None else self.recorded_white_xyz

    @property
    def illuminance_lx(self) -> Floats:
        """(ny, nx) [lx]: the photometric exposure over the time."""
        return np.asarray(self.xyz[..., 1] / self.exposure_s)

    @property
    def power_W(self) -> float:  # noqa: N802  (the unit is W)
        """Power on the whole plate [W]."""
        return float(self.irradiance.sum() * self.scene.plate.pixel_area_m2)


def with_light(plate: Plate, shown_xyz: Floats) -> Plate:
    """The same plate with other exposures (ny', nx', 3) [lx s] in its picture."""
    if plate.recorded is None:
        return replace(plate, xyz=shown_xyz)
    return replace(plate, xyz=shown_xyz, recorded=shown_xyz)


def require_plate(value: object) -> None:
    """Raise an InputError that says where plates come from, unless the value is one."""
    instance("plate", value, Plate, "a plate, such as wavesim.expose(scene) gives")
