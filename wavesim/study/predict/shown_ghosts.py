"""Which ghosts an exposure shows: the exposure of each line times the ghost's relative strength."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.plate import Plate
from wavesim.scene import Lamp, Laser, Scene
from wavesim.study.predict.ghosts import Ghost, ghosts_of, periods_of
from wavesim.study.predict.orders import Order, order_table
from wavesim.study.predict.wavelengths import reference_wavelengths
from wavesim.study.ruling import Ruling, ruling_seen
from wavesim.study.visibility.result import FAINT
from wavesim.text import counted, stops_from_white

_MARGIN_STOPS = 6.0  # below the faintest that shows: ghosts this close to it are still looked at
_MOST = 6  # named one by one


@dataclass(frozen=True)
class ShownGhost:
    """A ghost on the plate.

    Attributes
    ----------
    ghost : which, where, how strong
    stops : log2 of its exposure over white
    shown : whether the exposure shows it: 7 stops below white or more, and above the line's wings
    """

    ghost: Ghost
    stops: float
    shown: bool


def shown_ghosts(
    scene: Scene, ruled: Ruling, levels: Iterable[tuple[Order, float]]
) -> tuple[ShownGhost, ...]:
    """Ghosts on the plate, the strongest first.

    Parameters
    ----------
    levels : each line on the plate with the exposure of its peak, log2 over white
    """
    periods = periods_of(scene, ruled)
    faintest = math.log2(FAINT)
    low, high = scene.plate.x_range_m
    found = []
    for line, stops in levels:
        if line.missing or not math.isfinite(stops):
            continue
        above = 2.0 ** min(faintest - _MARGIN_STOPS - stops, -3.0)
        for ghost in ghosts_of(line, ruled, periods, above=max(above, 1e-12)):
            if low <= ghost.x_m <= high and ghost.observed > 0:
                level = stops + math.log2(ghost.observed)
                found.append(ShownGhost(ghost, level, level >= faintest and not ghost.hidden))
    return tuple(sorted(found, key=lambda row: -row.stops))


def of_plate(plate: Plate) -> tuple[ShownGhost, ...] | None:
    """The ghosts of an exposed plate's lines; None without lines or periodic errors."""
    scene = plate.scene
    ruled = ruling_seen(scene)
    if ruled is None or not isinstance(scene.source, Lamp | Laser):
        return None
    if periods_of(scene, ruled).amplitude.size == 0:
        return None
    from wavesim import light

    wavelengths = reference_wavelengths(scene, light.of_scene(scene))
    lines = [line for line in order_table(scene, ruled, wavelengths) if line.on_plate]
    row = plate.shown_xyz[plate.xyz.shape[0] // 2, :, 1]
    return shown_ghosts(scene, ruled, [(line, _stops(plate, row, line.x_m)) for line in lines])


def _stops(plate: Plate, row: Floats, x_m: float) -> float:
    """Exposure at x over white; of a line between two pixels the brighter one."""
    near = np.argsort(np.abs(plate.x_m - x_m))[:2]
    exposure = float(row[near].max())
    return math.log2(exposure / plate.white_exposure_lx_s) if exposure > 0 else -math.inf


def sentences(found: Iterable[ShownGhost]) -> list[str]:
    """What shows, line by line; or how far the strongest is from showing."""
    every = list(found)
    shown = [row for row in every if row.shown]
    if not every:
        return ["all ghosts are far too faint for this exposure"]
    if not shown:
        best = every[0]
        why = "hidden by the wings of its line" if best.ghost.hidden else "too faint"
        return [f"none is visible; the strongest, {_name(best.ghost)}, is {why} "
                f"({stops_from_white(best.stops)})"]  # fmt: skip
    texts = [
        f"{_name(row.ghost)}: {stops_from_white(row.stops)}{_apparent(row.ghost)}"
        for row in shown[:_MOST]
    ]
    rest = len(shown) - _MOST
    return texts + ([f"and {counted(rest, 'fainter visible ghost')}"] if rest > 0 else [])


def _name(ghost: Ghost) -> str:
    harmonics = ",".join(f"{k:+d}" if k else "0" for k in ghost.harmonics)
    line = f"order {ghost.order} ({ghost.wavelength_m * 1e9:.2f} nm)"
    return f"ghost {harmonics} of {line} at x = {ghost.x_m * 1e3:.3f} mm"


def _apparent(ghost: Ghost) -> str:
    if math.isnan(ghost.apparent_wavelength_m):
        return ""
    return f", apparent wavelength {ghost.apparent_wavelength_m * 1e9:.2f} nm"
