"""The engine's light where a photograph has its samples, for values of the free keys."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from wavesim.colorimetry.rendering import linear_rgb
from wavesim.errors import LimitError
from wavesim.fitting.keys import FreeKey, changed
from wavesim.fitting.photograph import Pattern
from wavesim.lightpath import ExposedPlate, LightPath
from wavesim.scene import Scene

Floats = NDArray[np.float64]

_MARGIN = 0.35  # of the picture's width added on both sides where its place is unknown
_LINES = ("laser", "led", "band", "lamp")  # sources of a hue of their own


class Model:
    """A scene through the whole bench, as a photograph of `pattern` would hold it.

    Parameters
    ----------
    scene : what is known
    keys : free keys
    pattern : of the photograph
    columns : samples of the engine's plate across the picture
    balance : "none" for a camera, whose gains are free; "source" for pictures made here
    """

    def __init__(
        self,
        scene: Scene,
        keys: tuple[FreeKey, ...],
        pattern: Pattern,
        columns: int,
        balance: str = "none",
    ) -> None:
        self._balance = balance
        self._keys, self._pattern, self._columns = keys, pattern, columns
        self._path = LightPath()
        self.origin_m, self._width_m = _stretch(scene, pattern)
        self._scene = _plate_of(scene, pattern, self.origin_m, self._width_m, columns)
        self._light = lru_cache(maxsize=256)(self._exposed)

    def light(self, values: tuple[float, ...]) -> tuple[Floats, Floats]:
        """Position (n,) [m] as the pattern's `x_m` counts, and linear light (n, 3), 1 at most.

        Raises
        ------
        WavesimError
            The scene does not take the values, or no light reaches the plate.
        """
        return self._light(values)

    def _exposed(self, values: tuple[float, ...]) -> tuple[Floats, Floats]:
        scene = changed(self._scene, self._keys, values)
        if self._pattern.radial:
            return _rings(self._path.preview(scene, self._columns, self._columns), self._balance)
        plate = self._path.middle_row(scene, self._columns)
        light = _rgb(plate, self._balance)[0]
        return plate.x_m - self.origin_m, light / _largest(light)


def _stretch(scene: Scene, pattern: Pattern) -> tuple[float, float]:
    """x [m] of the picture's left edge on the plate, as far as known, and width to compute."""
    if pattern.radial:
        return 0.0, min(pattern.width_m, pattern.height_m)
    if pattern.left_m is not None:
        return pattern.left_m, 1.04 * pattern.width_m
    return scene.plate.centre_m - pattern.width_m / 2, (1 + 2 * _MARGIN) * pattern.width_m


def _plate_of(
    scene: Scene, pattern: Pattern, origin_m: float, width_m: float, columns: int
) -> Scene:
    """The scene with the plate that the picture shows, on one time of exposure."""
    fine = width_m / (4 * columns)
    values: dict[str, str | float | int | bool] = {
        "plate.width": f"{width_m!r} m",
        "plate.pixel": f"{fine!r} m",
        "plate.height": f"{(width_m if pattern.radial else min(scene.plate.height_m, 1e9))!r} m",
        "plate.centre": "0 m" if pattern.radial else f"{(origin_m + pattern.width_m / 2)!r} m",
    }
    if not pattern.radial:
        values["plate.height"] = f"{max(scene.plate.height_m, fine)!r} m"
    return scene.but(values)


def _rgb(plate: ExposedPlate, balance: str) -> Floats:
    """(ny, nx, 3) linear light in sRGB's primaries, none negative."""
    light = linear_rgb(
        plate.xyz,
        space="srgb",
        white_xyz=plate.white_xyz,
        white_level=plate.white_exposure_lx_s,
        balance=balance,
    )
    return np.maximum(np.asarray(light, dtype=np.float64), 0.0)


def _rings(plate: ExposedPlate, balance: str) -> tuple[Floats, Floats]:
    """Mean over circles about the middle: distance (n,) [m] and light (n, 3)."""
    light = _rgb(plate, balance)
    x, y = np.meshgrid(plate.x_m, plate.y_m)
    distance = np.hypot(x, y)
    step = float(plate.x_m[1] - plate.x_m[0])
    ring = np.floor(distance / step).astype(int)
    inside = ring < min(light.shape[:2]) // 2
    count = np.bincount(ring[inside])
    radius = np.bincount(ring[inside], weights=distance[inside]) / count
    found = np.stack(
        [np.bincount(ring[inside], weights=c[inside]) / count for c in np.moveaxis(light, 2, 0)],
        axis=1,
    )
    return radius, found / _largest(found)


def _largest(light: Floats) -> float:
    top = float(light.max(initial=0.0))
    if not top > 0:
        raise LimitError(
            "sends no light to the plate", key="plate", expected="a plate that the pattern reaches"
        )
    return top
