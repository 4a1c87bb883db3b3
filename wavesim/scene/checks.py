"""What one table of a scene asks of another."""

from __future__ import annotations

import math

from wavesim.scene.aperture import Aperture, Grating, Ruled, Slits, Wires
from wavesim.scene.bench import Bench
from wavesim.scene.groove import SlitGroove
from wavesim.scene.planar import Plane
from wavesim.scene.plate import Exposure, PlateFormat
from wavesim.scene.quantities import GRAZING_RAD, show, validation_error
from wavesim.scene.source import BlackBody, Source

_RELATIVE_SOURCES = ("illuminant", "lamp", "led", "band")


def check_together(
    source: Source, bench: Bench, aperture: Aperture, plate: PlateFormat, exposure: Exposure
) -> None:
    """Refuse tables that are right alone and wrong together.

    Raises
    ------
    PydanticCustomError
        With the key that is best changed.
    """
    _slit_needs_a_distance(source, bench)
    _plate_behind_the_lens(bench, plate)
    _plate_within_reach(bench, plate)
    _obstacle_needs_a_beam(bench, aperture)
    if isinstance(aperture, Ruled):
        _defects_fit(aperture)
    _time_needs_a_level(source, exposure)


def _slit_needs_a_distance(source: Source, bench: Bench) -> None:
    if source.slit is None:
        return
    if bench.source_focal_m is None:
        raise validation_error(
            "is missing: a source slit needs the collimator, or its distance",
            key="bench.collimator",
            expected='collimator = "600 mm" or source_distance = "2 m"',
        )
    half = math.atan2(source.slit.width_m / 2, bench.source_focal_m)
    if abs(bench.alpha_rad) + half >= GRAZING_RAD:
        raise validation_error(
            "is so wide that its edge lies at 90 degrees or beyond, seen from the aperture",
            key="source.slit.width",
            expected="a narrower slit or a longer collimator",
        )


def _plate_behind_the_lens(bench: Bench, plate: PlateFormat) -> None:
    half = plate.height_m / 2 * math.sin(bench.plate_tip_rad)
    near = min(x * math.sin(bench.plate_tilt_rad) for x in plate.x_range_m) - abs(half)
    if near < -bench.image_distance_m / 2:
        raise validation_error(
            f"brings one end of the plate {show(-near, 'length')} closer to the lens",
            key="bench.plate_tilt" if bench.plate_tilt_rad else "bench.plate_tip",
            expected=f"less than half of {show(bench.image_distance_m, 'length')}",
        )


def _plate_within_reach(bench: Bench, plate: PlateFormat) -> None:
    low, high = plate.x_range_m
    for x in (low, high):
        aside, behind = math.cos(bench.plate_tilt_rad), math.sin(bench.plate_tilt_rad)
        angle = bench.camera_axis_rad + math.atan2(x * aside, bench.camera_focal_m + x * behind)
        if abs(angle) >= GRAZING_RAD:
            raise validation_error(
                f"reaches {show(angle, 'angle')} from the aperture's normal, at"
                f" x = {show(x, 'length')}; light leaves below 90 deg only",
                key="plate.width",
                expected=f"x {_reach(bench, angle)}: a narrower plate, or one moved by centre",
            )


def _reach(bench: Bench, angle: float) -> str:
    """The limit of x in words."""
    side = math.copysign(1.0, angle)
    limit = bench.camera_focal_m * math.tan(side * math.pi / 2 - bench.camera_axis_rad)
    return f"{'below' if side > 0 else 'above'} {show(limit, 'length')}"


def _obstacle_needs_a_beam(bench: Bench, aperture: Aperture) -> None:
    if not isinstance(aperture, Plane) or not aperture.obstacle:
        return
    if bench.beam is None and aperture.stop is None:
        raise validation_error(
            "is missing: an obstacle needs a beam of finite diameter",
            key="bench.beam",
            expected='beam = "40 mm", or a stop in [aperture]',
        )


def _defects_fit(aperture: Ruled) -> None:
    clear = isinstance(aperture, Grating) and not isinstance(aperture.groove, SlitGroove)
    for number, defect in enumerate(aperture.defects):
        key = f"aperture.defects[{number}]"
        if defect.kind == ("width" if clear else "depth"):
            raise validation_error(
                "does not apply to these rulings",
                key=f"{key}.kind",
                value=defect.kind,
                expected='"depth" for grooves that have a depth, "width" for slits and wires',
            )
        if defect.kind == "step" and (defect.ruling or 0) >= aperture.rulings:
            raise validation_error(
                f"is not a ruling before the last of {aperture.rulings:,}",
                key=f"{key}.ruling",
                value=defect.ruling,
                expected=f"a ruling from 1 to {aperture.rulings - 1}",
            )
        if defect.kind == "missing":
            _some_left(aperture.rulings, defect.rulings or (), f"{key}.rulings")
        if defect.kind == "width":
            _width_left(aperture, defect.rms_m + abs(defect.growth_m) / 2, key)


def _some_left(count: int, missing: tuple[int, ...], key: str) -> None:
    beyond = [number for number in missing if number > count]
    if beyond:
        raise validation_error(
            f"names a ruling beyond the last of {count:,}",
            key=key,
            value=beyond[0],
            expected=f"numbers from 1 to {count}",
        )
    if len(set(missing)) >= count:
        raise validation_error("leaves no ruling", key=key, expected="fewer missing rulings")


def _width_left(aperture: Ruled, change: float, key: str) -> None:
    width = narrowest_m(aperture)
    if change >= width:
        raise validation_error(
            f"changes the width of {show(width, 'length')} by {show(change, 'length')}",
            key=key,
            expected="changes smaller than the width",
        )


def narrowest_m(aperture: Ruled) -> float:
    """Width of the narrowest opaque or clear part that a defect of width may change [m]."""
    if isinstance(aperture, Slits) and aperture.slits is not None:
        return min(slit.width_m for slit in aperture.slits)
    if isinstance(aperture, Grating):
        return aperture.slit_width_m or aperture.mean_pitch_m
    if isinstance(aperture, Wires):
        return min(aperture.width_m, aperture.gap_m)
    return getattr(aperture, "width_m", math.inf)


def _time_needs_a_level(source: Source, exposure: Exposure) -> None:
    pointlike = isinstance(source, BlackBody) and source.is_point  # its radiance gives no lux
    relative = pointlike or source.kind in _RELATIVE_SOURCES
    if exposure.time_s is None or not relative:
        return
    if source.luminance_cd_m2 is None and source.illuminance_lx is None:
        key = "illuminance" if source.is_point else "luminance"
        raise validation_error(
            f"cannot be applied: the level of the {source.kind} is not given",
            key="exposure.time",
            expected=f'time = "auto", or {key} in [source]',
        )
