"""Near field on the plate: rulings as rows times columns, one wavelength after another."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from wavesim.aperture.build import GAUSSIAN_PIECE
from wavesim.aperture.combs import Aperture, Comb, pieces
from wavesim.aperture.elements import Floats, Slit
from wavesim.aperture.illumination import Along
from wavesim.diffraction.far.running import CELLS, RunningIntegral
from wavesim.diffraction.fresnel import (
    ExactRulings,
    NearRulings,
    Wavefront,
    near_rulings,
    wavefront,
)
from wavesim.plate.computed import Computed, Stage
from wavesim.plate.geometry import Geometry
from wavesim.plate.memory import require_memory
from wavesim.plate.near_exact import columns as exact_columns
from wavesim.plate.near_exact import propagates_exactly
from wavesim.plate.near_exact import rows as exact_rows
from wavesim.plate.plane.expose import PIXEL, light_of
from wavesim.plate.plane.source import extent
from wavesim.plate.plane.waves import Steps, Waves, choose_waves
from wavesim.scene import Scene

if TYPE_CHECKING:
    from wavesim.light import Spectrum

_WIDEST = 1 / 550  # of the wavelength: a nanometre
_FINEST = 1 / 3000  # of the wavelength: least step
_CELL_BYTES = 200  # of a near field's table, at the peak
_PART = 0.5  # of the free memory
_EXACT = (
    "propagated exactly (Rayleigh and Sommerfeld's integral), to 1e-4 of the brightest place; rows "
    "by the distance of the plate's middle"
)
_FRESNEL = (
    "propagated in Fresnel's approximation of the path: off the axis by up to x^3 / 2 z^2 on a "
    "plate without lens"
)


def expose_near(
    scene: Scene, ruled: Aperture, spectrum: Spectrum, place: Geometry, stage: Stage
) -> Computed:
    """Light of rulings at a finite distance or out of focus, before any exposure time."""
    lo, hi = ruled.span_m
    half = max(abs(lo), abs(hi))
    front = wavefront(scene.bench, half)
    columns, rows = near_rulings(ruled, front), _tall(ruled.along, front)
    step, air = min(_step(ruled, place, front), _WIDEST), scene.bench.air
    waves = stage("wavelengths", choose_waves, spectrum, Steps(step / 550e-9, 1e-3), air=air)
    source = extent(scene, place)
    pixels = place.x_m.size * place.y_m.size
    require_memory(
        8 * (PIXEL * pixels + 2 * waves.power.size * (place.x_m.size + place.y_m.size)),
        expected="a smaller plate or larger pixels",
    )
    if propagates_exactly(scene.bench):
        way = _EXACT
        tall = columns_of_height(ruled.along)
        across = stage("columns", exact_columns, ExactRulings(ruled, place.focal_m), place, waves)
        along = stage("rows", exact_rows, ExactRulings(tall, place.focal_m), place, waves)
    else:
        way = _FRESNEL
        across = stage("columns", _columns, columns, place, waves)
        along = stage("rows", _rows, rows, place, waves)
    blur = source.area or 1.0
    seen = stage("pixels", _pixels, across, along / blur, waves)
    spectral = waves.onto_nodes().T @ (across * (along[:, along.shape[1] // 2] / blur)[:, None])
    return Computed(
        light=light_of(seen, spectral, waves, scene.plate.pixel_area_m2),
        opening=ruled,
        source_sr=source.area,
        averaged=True,
        elements=ruled.elements,
        wavelengths=int(waves.power.size),
        smoothing=source.words,
        pixel_error=1e-6,
        bin_error=waves.error,
        half_m=half,
        notes=(*ruled.limits, way),
    )


def _tall(along: Along, front: Wavefront) -> NearRulings:
    """The rulings' height in the near field along y."""
    turned = Wavefront(front.curvature_y_per_m, front.curvature_x_per_m)
    return near_rulings(columns_of_height(along), turned)


def columns_of_height(along: Along) -> Aperture:
    """The rulings' height as one slit along y, in pieces where a Gaussian beam fades over it."""
    comb = Comb(Slit(along.height_m), np.zeros(1), np.ones(1, dtype=np.complex128))
    if math.isfinite(along.gaussian_m):
        comb = pieces(comb, GAUSSIAN_PIECE * along.gaussian_m, along.height_m)
        comb = replace(comb, weight=np.exp(-np.square(comb.position_m / along.gaussian_m)) + 0j)
    return Aperture((comb,), 1.0, along.height_m)


def _step(ruled: Aperture, place: Geometry, front: Wavefront) -> float:
    """Step of the wavelength, relative: see `relative_step`, and six to a Fresnel zone."""
    width = ruled.width_m
    slit = place.slit_sines or (0.0, 0.0)
    blur = max(550e-9 / width, place.pixel_sine, slit[1] - slit[0])
    far = blur / (2 * max(place.widest_sine, 1e-12))
    return max(min(far, front.zone_step(width / 2)), _FINEST)


def _columns(near: NearRulings, place: Geometry, waves: Waves) -> Floats:
    """(b, nx) integral of |A|^2 over each column's u, and over the slit's sines if there is one."""
    inner = slice(place.margin, place.sine_edges.size - place.margin)
    sines = place.sine_in + place.sine_edges[inner]
    lo, hi = place.slit_sines or (0.0, 0.0)
    return np.stack(
        [_between(near, sines, (lo, hi), float(w), place.sine_in) for w in waves.bench_m]
    )


def _rows(near: NearRulings, place: Geometry, waves: Waves) -> Floats:
    """(b, ny) the same along y."""
    y = place.y_edges_m
    sines = y / np.hypot(y, place.focal_m)
    rise = place.slit_rise or 0.0
    return np.stack([_between(near, sines, (-rise, rise), float(w), 0.0) for w in waves.bench_m])


def _between(
    near: NearRulings,
    sines: Floats,
    source: tuple[float, float],
    wavelength_m: float,
    sine_in: float,
) -> Floats:
    lo, hi = source
    blurred = hi > lo
    first, last = (sines.min() + lo) / wavelength_m, (sines.max() + hi) / wavelength_m
    _require_memory(near.aperture.width_m * (last - first))
    table = near.integral(first, last, wavelength_m, sine_in=sine_in, again=blurred)
    if not blurred:
        return np.diff(table.read(sines / wavelength_m))
    return np.diff(_mean(table, sines, source, wavelength_m)) * (hi - lo)


def _require_memory(spans: float) -> None:
    """Refuse a table of so many 1 / (aperture width) that it does not fit the free memory."""
    require_memory(
        CELLS * spans * _CELL_BYTES,
        share=_PART,
        what=" in the near field",
        expected="a smaller or lower aperture, or a plate that reaches less far aside",
    )


def _mean(
    table: RunningIntegral, sines: Floats, source: tuple[float, float], wavelength_m: float
) -> Floats:
    """Mean of the running integral over the source's sines."""
    upper = table.read_twice((sines + source[1]) / wavelength_m)
    lower = table.read_twice((sines + source[0]) / wavelength_m)
    return np.asarray((upper - lower) * (wavelength_m / (source[1] - source[0])))


def _pixels(across: Floats, along: Floats, waves: Waves) -> Floats:
    """(ny, nx, 4) sum over wavelengths of weights x columns x rows."""
    weight = waves.weights()
    seen = np.empty((along.shape[1], across.shape[1], weight.shape[1]))
    for c in range(weight.shape[1]):
        seen[:, :, c] = along.T @ (across * weight[:, c : c + 1])
    return seen
