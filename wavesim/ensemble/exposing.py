"""One member exposed and measured: the numbers, profile, picture and plate that a plan asks for."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from wavesim.arrays import Floats
from wavesim.ensemble.numbers import Source, needed
from wavesim.errors import LimitError, WavesimError, one_line

if TYPE_CHECKING:
    from wavesim.ensemble.members import Design
    from wavesim.ensemble.plan import LineRecord, PictureRecord, ProfileRecord, RecordTable
    from wavesim.lightpath import ExposedPlate, LightPath
    from wavesim.scene import Scene

_LONGEST_MESSAGE = 600  # letters
_DARK = 1e-9  # of the light on the grating: below, an order is missing


@dataclass(frozen=True, eq=False)
class Packed:
    """An array as it stands in a file: compressed, with its checksum."""

    shape: tuple[int, ...]
    dtype: np.dtype[Any]
    data: bytes

    @property
    def nbytes(self) -> int:
        """Bytes of the array itself."""
        return self.dtype.itemsize * math.prod(self.shape)


Array = NDArray[Any] | Packed


@dataclass(frozen=True, eq=False)
class Recorded:
    """What was recorded of one member.

    Attributes
    ----------
    index : of the member
    numbers : name -> number [SI], nan where it has none
    profile : (points,) light over the perfect ruling's peak, or None
    picture : (rows, columns, 3) 8-bit sRGB, or None
    irradiance : (ny, nx) [W m-2] of the whole plate, or None
    failure : why the member could not be computed, "" where it was
    """

    index: int
    numbers: dict[str, float]
    profile: Array | None = None
    picture: Array | None = None
    irradiance: Array | None = None
    failure: str = ""


def record(design: Design, index: int) -> Recorded:
    """Expose and measure one member; a scene that is refused becomes a row with its message."""
    plan = design.plan
    try:
        return _recorded(design.path, design.scene(index), plan.table.record, index)
    except MemoryError:
        raise
    except Exception as error:  # a fault of one member is its own row, in whatever process it ran
        message = (
            str(error) if isinstance(error, WavesimError) else f"{type(error).__name__}: {error}"
        )
        numbers = dict.fromkeys(plan.table.record.numbers, np.nan)
        return Recorded(index, numbers, failure=one_line(message, _LONGEST_MESSAGE))


def _recorded(path: LightPath, scene: Scene, wanted: RecordTable, index: int) -> Recorded:
    sources = needed(wanted.numbers)
    numbers: dict[str, float] = {}
    if wanted.line is not None:
        for source, measured in _OF_LINE.items():
            if source in sources:
                numbers.update(measured(scene, wanted.line))
    if "prediction" in sources:
        numbers.update(_predicted_numbers(scene))
    plate = None
    if sources & {"light", "shown"} or wanted.picture is not None or wanted.plate:
        plate = path.expose(scene)
        numbers.update(_plate_numbers(plate))
    if plate is not None and "shown" in sources:
        numbers.update(_shown_numbers(plate))
    curve = None
    if wanted.profile is not None and wanted.line is not None:
        curve = line_curve(scene, wanted.line, wanted.profile)
    return Recorded(
        index=index,
        numbers={name: numbers[name] for name in wanted.numbers},
        profile=curve,
        picture=_picture(plate, wanted.picture) if plate and wanted.picture else None,
        irradiance=plate.irradiance.astype(np.float32) if plate and wanted.plate else None,
    )


def _line_numbers(scene: Scene, line: LineRecord) -> dict[str, float]:
    from wavesim.study.profile import line_profile

    found = line_profile(scene, wavelength_m=line.wavelength_m, order=line.order)
    strongest = max(found.ghosts, key=lambda pair: pair.found.strength, default=None)
    per_order = line.wavelength_m / abs(line.order) if line.order else np.nan
    rayleigh = found.rayleigh_orders * per_order
    return {
        "line_width": found.fwhm_m,
        "line_width_orders": found.fwhm_orders,
        "line_width_on_plate": found.fwhm_on_plate_m,
        "line_position": found.peak_mu,
        "resolving_power": found.resolving_power,
        "rayleigh_separation": rayleigh,
        "sparrow_separation": found.sparrow_orders * per_order,
        "resolved": np.nan if line.pair_m is None else float(rayleigh <= line.pair_m),
        "strehl": found.strehl,
        "ghosts_found": float(len(found.ghosts)),
        "strongest_ghost": strongest.found.strength if strongest else 0.0,
        "strongest_ghost_offset": strongest.found.mu - line.order if strongest else np.nan,
        "ghosts_total": float(sum(pair.found.strength for pair in found.ghosts)),
        "diffuse_level": found.diffuse.level,
        "diffuse_contrast": found.diffuse.contrast,
        "power_within_10_widths": dict(found.power_within).get(10.0, np.nan),
    }


def groove_efficiency(scene: Scene, line: LineRecord) -> dict[str, float]:
    """Fraction of the light on the grating that the line's order gets.

    By the theory that the scene's groove names: scalar |E / d|^2, or rigorous, for the
    polarisation of the source.

    Raises
    ------
    LimitError
        No rulings, an order that does not propagate, or a material's table that does not cover it.
    """
    from wavesim.study.ruling import ruling

    sine = ruling(scene).sine_out(float(line.order), line.wavelength_m)
    if not abs(float(sine)) < 1:
        raise LimitError(
            f"order {line.order} does not propagate",
            key="record.line.order",
            expected="an order that propagates",
        )
    groove = getattr(scene.aperture, "groove", None)
    if getattr(groove, "theory", "scalar") == "rigorous":
        return {"efficiency": _rigorous_efficiency(scene, line)}
    return {"efficiency": float(ruling(scene).efficiency(line.order, line.wavelength_m))}


def _rigorous_efficiency(scene: Scene, line: LineRecord) -> float:
    from wavesim.grooves.of_scene import mounted, wavelength_curve

    mount, wavelengths = mounted(scene), np.array([line.wavelength_m])
    found = wavelength_curve(mount, line.wavelength_m, line.wavelength_m)
    up, down, _ = found.at(wavelengths)
    both = (down if mount.transmission else up)[:, 0, :]
    along, across = both * mount.entrance(wavelengths, np.array([mount.sine_in]))
    polarised = scene.source.field_along
    power = polarised * along + (1 - polarised) * across
    return float(power[list(found.order).index(line.order)])


def _line_prediction(scene: Scene, line: LineRecord) -> dict[str, float]:
    from wavesim.study.predict import predict

    (row,) = predict(scene, wavelengths_m=(line.wavelength_m,), orders=(line.order,)).orders
    return {"predicted_resolving_power": row.resolving_power, "predicted_position": row.x_m}


_OF_LINE: dict[Source, Callable[[Scene, LineRecord], dict[str, float]]] = {
    "line": _line_numbers,
    "groove": groove_efficiency,
    "line prediction": _line_prediction,
}


def _shown_numbers(plate: ExposedPlate) -> dict[str, float]:
    from wavesim.study.visibility import visibility

    found = visibility(plate)
    return {"burnt_area": found.burnt_area, "visible_area": found.visible_area}


def _predicted_numbers(scene: Scene) -> dict[str, float]:
    from wavesim.study.predict import predict

    estimate = predict(scene).exposure
    return {"predicted_exposure_time": np.nan if estimate is None else estimate.time_s}


def _plate_numbers(plate: ExposedPlate) -> dict[str, float]:
    row, column = np.unravel_index(np.argmax(plate.xyz[..., 1]), plate.xyz.shape[:2])
    return {
        "exposure_time": float(plate.exposure_s),
        "brightest": float(plate.illuminance_lx[row, column]),
        "brightest_position": float(plate.x_m[column]),
        "power": plate.power_W,
    }


def profile_axis(line: LineRecord, profile: ProfileRecord) -> Floats:
    """(points,) continuous order of the common axis."""
    return line.order + profile.half_width * np.linspace(-1.0, 1.0, profile.points)


def line_curve(scene: Scene, line: LineRecord, profile: ProfileRecord) -> Floats:
    """(points,) |A|^2 over the perfect ruling's peak, on the common axis of continuous order.

    Raises
    ------
    LimitError
        No even rulings, or an order that does not propagate or is missing.
    """
    from wavesim import aperture
    from wavesim.study.profile.scan import Illumination
    from wavesim.study.ruling import ruling

    ideal = ruling(scene)
    light = Illumination(
        aperture.build_for_middle_row(scene), ideal.sine_in, ideal.bench_m(line.wavelength_m)
    )
    low, high = light.reach
    if not low < line.order - profile.half_width or not line.order + profile.half_width < high:
        raise LimitError(
            f"the profile about order {line.order} extends beyond the orders that propagate",
            key="record.profile.half_width",
            expected=f"orders between {low:.3g} and {high:.3g}",
        )
    efficiency = float(ideal.efficiency(line.order, line.wavelength_m))
    peak = efficiency * ideal.pitch_m**2 * ideal.peak_power()
    if not efficiency > _DARK:
        raise LimitError(
            f"order {line.order} is missing: the groove sends no light there",
            key="record.line.order",
            expected="an order with light",
        )
    return np.asarray(light.intensity(profile_axis(line, profile)) / peak)


def _picture(plate: ExposedPlate, wanted: PictureRecord) -> NDArray[np.uint8]:
    """The plate's picture, averaged down in linear light to the asked size."""
    from wavesim.colorimetry.plates import developed
    from wavesim.colorimetry.rendering import Rendering
    from wavesim.plate import Plate

    coarse = _averaged(plate.shown_xyz, wanted.rows, wanted.columns)
    x, y = (
        np.linspace(a[0], a[-1], n)
        for a, n in ((plate.x_m, coarse.shape[1]), (plate.y_m, coarse.shape[0]))
    )
    small = Plate(
        x_m=x,
        y_m=y,
        irradiance=coarse[..., 1],
        xyz=coarse,
        profile_irradiance=coarse[0, :, 1],
        profile_wavelength_m=plate.profile_wavelength_m[:1],
        profile_spectrum=np.zeros((1, x.size)),
        scene=plate.scene,
        white_xyz=plate.shown_white_xyz,
        white_exposure_lx_s=plate.white_exposure_lx_s,
        exposure_s=plate.exposure_s,
        report=plate.report,
    )
    return np.asarray(developed(small, Rendering()), dtype=np.uint8)


def _averaged(xyz: Floats, rows: int, columns: int) -> Floats:
    """(rows, columns, 3) means over blocks; no finer than the plate itself."""
    for axis, wanted in ((0, rows), (1, columns)):
        size = xyz.shape[axis]
        edges = np.unique(np.linspace(0, size, min(wanted, size) + 1).astype(int))
        shape = [1, 1, 1]
        shape[axis] = edges.size - 1
        xyz = np.add.reduceat(xyz, edges[:-1], axis=axis) / np.diff(edges).reshape(shape)
    return xyz
