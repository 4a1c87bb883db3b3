"""What is painted while a hand turns: a few rows of the plate and its profile, quickly.

A ruled plate's rows are the same columns with a smooth share of the light, so the middle row and
a few beside it are computed, and whoever paints stretches them. A plate of an aperture in the
plane is painted whole, coarsely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from wavesim.aperture import needs_strips
from wavesim.arrays import Floats
from wavesim.colorimetry.plates import white_of
from wavesim.colorimetry.rendering import Rendering, picture
from wavesim.lightpath import LightPath
from wavesim.plate import Plate
from wavesim.scene import Ruled, Scene

PREVIEW, ROW, WHOLE = "preview", "row", "plate"
_ROWS = 25  # of a ruled plate that are computed; odd, so that one is the middle
_MOST_ROWS = 13  # of these that are handed on
_MOST_COLUMNS = 4096
_PLANE_SIDE = 200  # cells across a preview of an aperture in the plane
_BRIGHTNESS = 0.42  # of white: at which a hue is shown below the curve


@dataclass(frozen=True, eq=False)
class View:
    """A few rows of a plate, ready to be painted.

    Attributes
    ----------
    quality : "preview" (columns of the screen), "row" (the plate's own columns) or "plate"
    x_range_m, y_range_m : outer edges of the plate [m]
    row_m : (r,) [m] heights of the rows, from the upper edge down
    xyz : (r, nx, 3) [lx s]
    profile : (nx,) irradiance along the middle, the brightest 1
    brightest_W_m2 : what 1 stands for
    plate : the plate it was taken from; coarser than the scene's unless quality is "plate"
    """

    quality: str
    x_range_m: tuple[float, float]
    y_range_m: tuple[float, float]
    row_m: Floats
    xyz: Floats
    profile: Floats
    brightest_W_m2: float  # noqa: N815  (the unit is W)
    plate: Plate

    def painted(
        self, rendering: Rendering, *, stops: float = 0.0
    ) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
        """(r, nx, 4) RGBA of the rows exposed `stops` longer, (1, nx, 4) the middle row's hues.

        A hue is the light of its position at one brightness, to be seen below the curve.
        """
        middle = self.xyz[self.xyz.shape[0] // 2]
        light = np.maximum(middle[:, 1:2], 1e-300)
        level = _BRIGHTNESS * self.plate.white_exposure_lx_s / 2.0**stops
        even = np.where(middle[:, 1:2] > 0, middle * (level / light), 0.0)
        xyz = np.concatenate([self.xyz, even[None]])
        rgba = _rgba(picture(xyz, over_stops=stops, rendering=rendering, **white_of(self.plate)))
        return rgba[:-1], rgba[-1:]


def preview(path: LightPath, scene: Scene, columns: int) -> View:
    """The plate at `columns` of a screen."""
    if is_plane(scene):
        shape = scene.plate.height_m / scene.plate.width_m
        across = min(columns, round(_PLANE_SIDE * max(1.0, 1 / shape) ** 0.5))
        return view_of(path.preview(scene, across, max(1, round(across * shape))), PREVIEW)
    return view_of(path.preview(scene, min(columns, _MOST_COLUMNS), _ROWS), PREVIEW)


def full_row(path: LightPath, scene: Scene, columns: int) -> View:
    """The plate at its own columns where it is ruled; else as the preview."""
    if is_plane(scene):
        return preview(path, scene, columns)
    whole = path.preview(scene, min(scene.plate.pixels_x, _MOST_COLUMNS), _ROWS)
    return view_of(whole, ROW)


def view_of(plate: Plate, quality: str) -> View:
    """The rows of a plate that tell it whole."""
    chosen = _telling_rows(plate)
    half, half_high = plate.scene.plate.pixel_m / 2, plate.scene.plate.pixel_height_m / 2
    peak = float(plate.profile_irradiance.max())
    return View(
        quality=quality,
        x_range_m=(float(plate.x_m[0]) - half, float(plate.x_m[-1]) + half),
        y_range_m=(float(plate.y_m[0]) - half_high, float(plate.y_m[-1]) + half_high),
        row_m=plate.y_m[chosen],
        xyz=np.ascontiguousarray(plate.shown_xyz[chosen]),
        profile=plate.profile_irradiance / (peak or 1.0),
        brightest_W_m2=peak,
        plate=plate,
    )


def is_plane(scene: Scene) -> bool:
    """Whether rows differ by more than their share of the light."""
    return not isinstance(scene.aperture, Ruled) or needs_strips(scene)


def _telling_rows(plate: Plate) -> npt.NDArray[np.int64]:
    """Rows from the upper edge down: all of a plane's, of a ruled plate those that differ."""
    count = plate.y_m.size
    if is_plane(plate.scene) or count <= _MOST_ROWS:
        return np.arange(count)[::-1]
    light = plate.irradiance.sum(axis=1)
    change = np.abs(np.diff(light)) / max(float(light.max()), 1e-300) + 0.5 / count
    way = np.concatenate([[0.0], np.cumsum(change)])
    even = np.interp(np.linspace(0, way[-1], _MOST_ROWS), way, np.arange(count))
    return np.unique(np.append(np.rint(even).astype(np.int64), count // 2))[::-1]


def _rgba(rgb: npt.NDArray[np.uint8] | npt.NDArray[np.uint16]) -> npt.NDArray[np.uint8]:
    out = np.full((*rgb.shape[:-1], 4), 255, dtype=np.uint8)
    out[..., :3] = rgb
    return out
