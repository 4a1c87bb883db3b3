"""What an exposure shows and what it burns out: orders, subsidiary maxima, parts of the plate.

shows = wavesim.visibility(wavesim.expose(scene), time_s=1 / 30, speed=100)
print(shows.text())
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.colorimetry.tone import speed_iso6
from wavesim.constants import SATURATION_EXPOSURE_LX_S
from wavesim.errors import InputError, positive
from wavesim.plate import Plate, require_plate
from wavesim.study.ruling import Ruling, ruling_seen, source_angle_rad
from wavesim.study.visibility.cells import ExposureCells, cells
from wavesim.study.visibility.result import (
    BURNT_STOPS,
    FAINT,
    Criterion,
    Maximum,
    Visibility,
)

__all__ = ["BURNT_STOPS", "Criterion", "Maximum", "Visibility", "visibility"]

_SHARPEST = 2.0  # pixels that a fringe needs to be seen apart from its neighbour
_EYE_M = 555e-9
_CONTRAST = 1.05  # of the valley beside it: a maximum that stands out (common practice)


def visibility(
    plate: Plate,
    *,
    time_s: float | None = None,
    speed: float | None = None,
    criterion: Criterion = "picture",
) -> Visibility:
    """Which orders and subsidiary maxima an exposure shows, and which it burns out.

    Parameters
    ----------
    time_s, speed : default the plate's own; exposure is illuminance times time
    criterion : "picture": 7 stops below white still shows against black (common practice, no
        source); "film": 0.10 above base and fog, H = 0.8 / speed (ISO 6:1993)

    Raises
    ------
    InputError
        A time or a speed that is not positive.

    Notes
    -----
    Light is dealt out to orders by the profile's steps of 1 nm. Where orders overlap, each is
    judged by its own light. Reciprocity is taken to hold: films lose speed in long exposures.
    """
    require_plate(plate)
    time = positive("time_s", plate.exposure_s if time_s is None else time_s)
    speed = positive("speed", plate.scene.exposure.speed if speed is None else speed)
    white = SATURATION_EXPOSURE_LX_S / speed
    threshold, text = _threshold(criterion, speed, white)
    scale = time / plate.exposure_s
    ruled = ruling_seen(plate.scene)
    limits = _Limits(white, threshold, scale)
    dealt = None if ruled is None else cells(plate, ruled)
    orders, subsidiary = _maxima(dealt, ruled, limits)
    exposure = plate.shown_xyz[..., 1] * scale
    return Visibility(
        time_s=time,
        speed=speed,
        white_lx_s=white,
        threshold_lx_s=threshold,
        criterion=text,
        orders=orders,
        subsidiary=subsidiary,
        apart=() if ruled is None else _apart(plate, ruled, orders, limits),
        slits=0 if ruled is None else ruled.count,
        run_together=ruled is not None and _run_together(plate, ruled),
        burnt_area=float(np.mean(exposure > white * 2**BURNT_STOPS)),
        visible_area=float(np.mean(exposure >= threshold)),
    )


@dataclass(frozen=True)
class _Limits:
    """White and threshold [lx s], and what a plate's exposure is multiplied by."""

    white_lx_s: float
    threshold_lx_s: float
    scale: float

    def maximum(self, order: int, number: int, peak: tuple[float, float]) -> Maximum:
        exposure = peak[0] * self.scale
        stops = math.log2(exposure / self.white_lx_s) if exposure > 0 else -math.inf
        return Maximum(order, number, peak[1], exposure, stops, self.state(exposure))

    def state(self, exposure_lx_s: float) -> str:
        if exposure_lx_s > self.white_lx_s * 2**BURNT_STOPS:
            return "burnt out"
        return "visible" if exposure_lx_s >= self.threshold_lx_s else "too faint"


def _threshold(criterion: Criterion, speed: float, white: float) -> tuple[float, str]:
    if criterion == "picture":
        stops = -math.log2(FAINT)
        return white * FAINT, f"{stops:g} stops below white"
    if criterion == "film":
        return speed_iso6(1.0) / speed, "density 0.10 above base and fog, 0.8 / speed (ISO 6)"
    raise InputError(
        "is not a criterion", key="criterion", value=criterion, expected="picture or film"
    )


def _maxima(
    dealt: ExposureCells | None, ruled: Ruling | None, limits: _Limits
) -> tuple[tuple[Maximum, ...], tuple[Maximum, ...]]:
    if dealt is None or ruled is None:
        return (), ()
    if ruled.count == 1:
        return _of_one_slit(dealt, limits)
    n = dealt.count
    orders = tuple(limits.maximum(m, 0, dealt.peak(m * n - 1, m * n)) for m in dealt.orders)
    if ruled.count < 3 or n < ruled.count:
        return orders, ()
    between = range(min(dealt.orders, default=0) - 1, max(dealt.orders, default=-2) + 1)
    found = (limits.maximum(m, k, dealt.peak(m * n + k)) for m in between for k in range(1, n - 1))
    return orders, tuple(maximum for maximum in found if maximum.exposure_lx_s > 0)


def _of_one_slit(
    dealt: ExposureCells, limits: _Limits
) -> tuple[tuple[Maximum, ...], tuple[Maximum, ...]]:
    """The central maximum between the first zeros, and the side maxima beyond."""
    last = dealt.first + dealt.exposure_lx_s.shape[1] - 1
    centre = limits.maximum(0, 0, dealt.peak(-1, 0))
    sides = [limits.maximum(0, k, dealt.peak(k)) for k in range(1, last + 1)]
    sides += [limits.maximum(0, k + 1, dealt.peak(k)) for k in range(dealt.first, -1)]
    return (centre,), tuple(sorted(sides, key=lambda maximum: maximum.number))


def _run_together(plate: Plate, ruled: Ruling) -> bool:
    """Whether subsidiary maxima are narrower than the source slit's image or two pixels."""
    focal = plate.scene.bench.camera_focal_m
    image = source_angle_rad(plate.scene) * focal
    apart = _EYE_M * focal / (ruled.count * ruled.pitch_m)
    return apart < max(image, _SHARPEST * plate.scene.plate.pixel_m)


def _apart(
    plate: Plate, ruled: Ruling, orders: tuple[Maximum, ...], limits: _Limits
) -> tuple[tuple[int, int], ...]:
    """Maxima of brightness that stand out between two orders, counted on the plate itself."""
    if ruled.count < 3:
        return ()
    exposure = plate.shown_xyz[plate.xyz.shape[0] // 2, :, 1] * limits.scale
    found = []
    for m in sorted(
        {maximum.order for maximum in orders} | {maximum.order - 1 for maximum in orders}
    ):
        ends = ruled.sine_out(np.array([m + 1 / ruled.count, m + 1 - 1 / ruled.count]), _EYE_M)
        if np.abs(ends).max() >= 1:
            continue
        lo, hi = np.sort(ruled.x_m(ends))
        if lo < plate.x_m[0] or hi > plate.x_m[-1]:
            continue
        inside = exposure[(plate.x_m >= lo) & (plate.x_m <= hi)]
        found.append((m, _standing_out(inside, limits.threshold_lx_s)))
    return tuple(found)


def _standing_out(level: Floats, threshold: float) -> int:
    """Maxima above the threshold with valleys on both sides, 5 % below or more."""
    count, low, high, rising = 0, math.inf, 0.0, False
    for value in level:
        if rising:
            high = max(high, float(value))
            if value * _CONTRAST < high:
                count, low, rising = count + (high >= threshold), float(value), False
        else:
            low = min(low, float(value))
            if value > low * _CONTRAST:
                high, rising = float(value), True
    return count
