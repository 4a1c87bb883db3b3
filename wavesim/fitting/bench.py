"""The engine's light where a photograph has its samples, for values of the free keys."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import TYPE_CHECKING, Any, TypeVar

import numpy as np

from wavesim import light, plate
from wavesim.arrays import Floats
from wavesim.colorimetry.rendering import linear_rgb
from wavesim.errors import LimitError
from wavesim.fitting.keys import FreeKey, changed
from wavesim.fitting.photograph import PhotographPattern
from wavesim.fitting.powder import powder_rings
from wavesim.lightpath.paths import path_of
from wavesim.lightpath.stages import Stages
from wavesim.scene import Annulus, Disc, Dots, Scene
from wavesim.threads import one_thread

if TYPE_CHECKING:
    from scipy.interpolate import CubicSpline


_T = TypeVar("_T")

_MARGIN = 0.35  # of the picture's width added on both sides where its position is unknown


@dataclass(frozen=True, eq=False)
class LightCurve:
    """Linear light along the plate, or from a centre.

    Attributes
    ----------
    edge_m : (n + 1,) [m] edges of pixels, as the pattern's `x_m` counts
    rgb : (n, 3) mean over each pixel in sRGB's primaries, for a source of level 1
    """

    edge_m: Floats
    rgb: Floats

    @property
    def x_m(self) -> Floats:
        """(n,) [m] middles of the pixels."""
        return np.asarray((self.edge_m[1:] + self.edge_m[:-1]) / 2)

    @property
    def top(self) -> float:
        """The brightest channel of the brightest pixel."""
        return float(self.rgb.max())

    @cached_property
    def _running(self) -> CubicSpline:
        from scipy.interpolate import CubicSpline

        steps = np.diff(self.edge_m)[:, None] * self.rgb
        return CubicSpline(self.edge_m, np.concatenate([np.zeros((1, 3)), steps.cumsum(axis=0)]))

    def between(self, left_m: Floats, right_m: Floats) -> Floats:
        """(k, 3) mean light between positions, by the running integral."""
        low, high = float(self.edge_m[0]), float(self.edge_m[-1])
        a, b = np.clip(left_m, low, high), np.clip(right_m, low, high)
        width = np.maximum(b - a, 1e-3 * (self.edge_m[1] - self.edge_m[0]))
        b = np.minimum(a + width, high)
        a = b - width
        mean = (self._running(b) - self._running(a)) / width[:, None]
        return np.asarray(np.maximum(mean, 0.0))


class BenchModel:
    """A scene through the whole bench, as a photograph of `pattern` would hold it.

    Parameters
    ----------
    scene : what is known
    keys : free keys
    pattern : of the photograph
    columns : samples of the engine's plate across the picture
    """

    def __init__(
        self, scene: Scene, keys: tuple[FreeKey, ...], pattern: PhotographPattern, columns: int
    ) -> None:
        self._keys, self._pattern, self._columns = keys, pattern, columns
        self._stages = _Stages()
        self.origin_m, self._width_m = _range_m(scene, pattern)
        self._scene = _plate_of(scene, pattern, self.origin_m, self._width_m, columns)
        self._curve = lru_cache(maxsize=1024)(self._exposed)

    def light(self, values: tuple[float, ...]) -> LightCurve:
        """The light for values [SI] of the free keys.

        Raises
        ------
        WavesimError
            The scene does not take the values, or no light reaches the plate.
        """
        return self._curve(values)

    @property
    def defective(self) -> bool:
        """Whether rulings have errors, whose ghosts are far fainter than their lines."""
        return bool(self._scene.aperture.defects)

    def scene(self, values: tuple[float, ...]) -> Scene:
        """The scene, with the plate that the picture shows, for values of the free keys."""
        return changed(self._scene, self._keys, values)

    def _exposed(self, values: tuple[float, ...]) -> LightCurve:
        scene = self.scene(values)
        with one_thread():
            curve = self._rings(scene) if self._pattern.radial else self._row(scene)
        if not curve.top > 0:
            raise LimitError(
                "sends no light to the plate", key="plate",
                expected="a plate that the pattern reaches",
            )  # fmt: skip
        return curve

    def _row(self, scene: Scene) -> LightCurve:
        rgb = self._light(scene, self._columns, 1)[0]
        whole = scene.plate.pixels_x * scene.plate.pixel_m
        left = scene.plate.centre_m - whole / 2 - self.origin_m
        return LightCurve(left + np.linspace(0.0, whole, rgb.shape[0] + 1), rgb)

    def _rings(self, scene: Scene) -> LightCurve:
        """Light by distance from the centre."""
        side = scene.plate.pixels_x * scene.plate.pixel_m
        edge = np.linspace(0.0, side / 2, self._columns // 2 + 1)
        if isinstance(scene.aperture, Dots):
            spectrum = self._stages("light", light.of_scene, scene)
            return LightCurve(edge, _rgb(powder_rings(scene, spectrum, edge)))
        if _round(scene, self._pattern.step_m):
            row = self._light(scene, 2 * (edge.size - 1), 1)[0]
            return LightCurve(edge, (row[: edge.size - 1][::-1] + row[edge.size - 1 :]) / 2)
        return LightCurve(edge, _ring_means(self._light(scene, self._columns, self._columns), edge))

    def _light(self, scene: Scene, columns: int, rows: int) -> Floats:
        """(rows, columns, 3) light of the plate in so many pixels, before any exposure."""
        shown = scene.plate.middle_row() if rows == 1 else scene.plate
        coarse = scene.model_copy(update={"plate": shown.coarser(columns, rows)})
        stage = self._stages
        spectrum = stage("light", light.of_scene, coarse)
        geometry = stage("geometry", plate.geometry_of, coarse)
        found = path_of(coarse)(coarse, spectrum, geometry, stage)
        return _rgb(found.light.shown_lx)


class _Stages(Stages):
    """Stages without what a fit does not look at; the source's light is kept while it is the same.

    The error that a plate states and the spectrum of its middle row are left out.
    """

    def __init__(self) -> None:
        super().__init__()
        self._last: tuple[object, object] | None = None

    def __call__(self, name: str, work: Callable[..., _T], /, *args: Any, **options: Any) -> _T:
        """The stage's result, or what stands for it."""
        if name == "accuracy":
            return 0.0  # type: ignore[return-value]
        if name == "profile":
            strip, geometry = args[0], args[2]
            return np.zeros((strip.light.shape[0], geometry.x_edges_m.size - 1))  # type: ignore[return-value]
        if name != "light":
            return super().__call__(name, work, *args, **options)
        source = (args[0].source, args[0].bench.beam)
        if self._last is None or self._last[0] != source:
            self._last = (source, super().__call__(name, work, *args, **options))
        return self._last[1]  # type: ignore[return-value]


def _range_m(scene: Scene, pattern: PhotographPattern) -> tuple[float, float]:
    """x [m] of the picture's left edge on the plate, as far as known, and width to compute."""
    if pattern.radial:
        return 0.0, pattern.reach_m * 2.05
    if pattern.left_m is not None:
        return pattern.left_m, 1.06 * pattern.width_m
    return scene.plate.centre_m - pattern.width_m / 2, (1 + 2 * _MARGIN) * pattern.width_m


def _plate_of(
    scene: Scene, pattern: PhotographPattern, origin_m: float, width_m: float, columns: int
) -> Scene:
    """The scene with the plate that the picture shows, on one time of exposure."""
    fine = width_m / (4 * columns)
    height = width_m if pattern.radial else max(scene.plate.height_m, fine)
    return scene.but(
        {
            "plate.width": f"{width_m!r} m",
            "plate.pixel": f"{fine!r} m",
            "plate.height": f"{height!r} m",
            "plate.centre": "0 m" if pattern.radial else f"{(origin_m + pattern.width_m / 2)!r} m",
        }
    )


def _round(scene: Scene, step_m: float) -> bool:
    """Whether aperture and source are so: one row through the middle tells all rings."""
    shape = scene.aperture
    if not isinstance(shape, Disc | Annulus) or any(p.x_m or p.y_m for p in shape.places):
        return False
    slit, bench = scene.source.slit, scene.bench
    if slit is None or bench.collimator_m is None or bench.camera_m is None:
        return slit is None
    image = max(slit.width_m, slit.height_m) * bench.camera_m / bench.collimator_m
    return bool(image < step_m)


def _rgb(xyz: Floats) -> Floats:
    """(..., 3) linear light in sRGB's primaries, none negative; a camera's gains are free."""
    found = linear_rgb(xyz, space="srgb", white_xyz=np.ones(3), white_level=1.0, balance="none")
    return np.maximum(np.asarray(found, dtype=np.float64), 0.0)


def _ring_means(rgb: Floats, edge_m: Floats) -> Floats:
    """Mean over circles about the middle: (n, 3) between radii `edge_m`."""
    side = 2 * float(edge_m[-1])
    y, x = ((np.arange(k, dtype=np.float64) - (k - 1) / 2) * side / k for k in rgb.shape[:2])
    ring = np.searchsorted(edge_m, np.hypot(x[None, :], y[:, None]), side="right") - 1
    inside = ring < edge_m.size - 1
    count = np.maximum(np.bincount(ring[inside], minlength=edge_m.size - 1), 1)
    return np.stack(
        [
            np.bincount(ring[inside], weights=c[inside], minlength=edge_m.size - 1) / count
            for c in np.moveaxis(rgb, 2, 0)
        ],
        axis=1,
    )
