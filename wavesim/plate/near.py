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
from wavesim.diffraction.fresnel import Wavefront, wavefront
from wavesim.diffraction.fresnel.exact import ExactRulings
from wavesim.diffraction.fresnel.rulings import NearRulings, near_rulings
from wavesim.light import recorder_of
from wavesim.plate.computed import Computed, Stage
from wavesim.plate.geometry import MOST_CUT, Geometry, with_bow_resolved
from wavesim.plate.memory import require_memory
from wavesim.plate.near_exact import columns as exact_columns
from wavesim.plate.near_exact import propagates_exactly
from wavesim.plate.near_exact import rows as exact_rows
from wavesim.plate.plane.expose import PIXEL, light_of
from wavesim.plate.plane.source import extent
from wavesim.plate.plane.waves import Steps, Waves, choose_waves
from wavesim.plate.rows import bow_error, bowed, in_pixels
from wavesim.plate.turned import PlateTurns, turns_of
from wavesim.scene import Scene

if TYPE_CHECKING:
    from wavesim.light import Spectrum

_WIDEST = 1 / 550  # of the wavelength: a nanometre
_FINEST = 1 / 3000  # of the wavelength: least step
_ALIKE = 1e-4  # of the wavelength
_MOST_CUT = 1e8  # columns times rows of half a plate, wavelengths and distances, to resolve a bow
_MORE = 20  # numbers held for a pixel of a turned plate, or where lines are bowed
_CELL_BYTES = 200  # of a near field's table, at the peak
_PART = 0.5  # of the free memory
_EXACT = (
    "propagated exactly (Rayleigh and Sommerfeld's integral), to 1e-4 of the brightest place; rows "
    "by the distance of the plate's middle"
)
_LENS = "out of focus: propagated in Fresnel's approximation of the path behind the lens"
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
    turned = turns_of(place, scene.bench, half)
    step, air = min(_step(ruled, place, turned.steepest(front)), _WIDEST), scene.bench.air
    recorder = stage("recorder", recorder_of, scene)
    steps = Steps(step / 550e-9, 1e-3)
    waves = stage("wavelengths", choose_waves, spectrum, steps, air=air, recorder=recorder)
    source = extent(scene, place)
    exact = propagates_exactly(scene.bench)
    if not exact:
        most = int(_MOST_CUT / (waves.power.size * turned.vergence_per_m.size))
        place = with_bow_resolved(
            place, ruled.width_m, float(waves.bench_m.min()), most=min(most, MOST_CUT)
        )
        turned = turns_of(place, scene.bench, half)
    pixels = (place.sine_edges.size - 1) * place.y_m.size
    held = PIXEL if turned.upright and not place.margin else _MORE
    require_memory(
        8 * (held * pixels + 2 * waves.power.size * (place.sine_edges.size + place.y_m.size)),
        expected="a smaller plate or larger pixels",
    )
    bow = 0.0
    if exact:
        way, seen, spectral = _EXACT, *_exactly(ruled, place, waves, stage)
    else:
        way = _FRESNEL if scene.bench.camera_m is None else _LENS
        seen, spectral, bow = stage("pixels", _in_fresnel, ruled, front, turned, place, waves)
    area = scene.plate.pixel_area_m2 * (source.area or 1.0)
    return Computed(
        light=light_of(seen, spectral, waves, area),
        opening=ruled,
        source_sr=source.area,
        averaged=True,
        elements=ruled.elements,
        wavelengths=int(waves.power.size),
        smoothing=source.words,
        pixel_error=1e-6,
        bin_error=waves.error + turned.error + bow,
        half_m=half,
        notes=(*ruled.limits, way, *turned.words),
    )


def _exactly(ruled: Aperture, place: Geometry, waves: Waves, stage: Stage) -> tuple[Floats, Floats]:
    """Light (ny, nx, c), and of the middle row (k, nx), on a parallel plate without a lens."""
    tall = columns_of_height(ruled.along)
    across = stage("columns", exact_columns, ExactRulings(ruled, place.focal_m), place, waves)
    along = stage("rows", exact_rows, ExactRulings(tall, place.focal_m), place, waves)
    middle = (across * along[:, along.shape[1] // 2][:, None]).T @ waves.onto_nodes()
    return stage("pixels", _pixels, across, along, waves), middle.T


def _in_fresnel(
    ruled: Aperture, front: Wavefront, turned: PlateTurns, place: Geometry, waves: Waves
) -> tuple[Floats, Floats, float]:
    """The same with Fresnel's path; a turned plate in as many defocuses as it shows.

    Columns and rows are computed on the straight lines of the plate's middle; then lines are bowed,
    with the error that this may have, of the brightest pixel.
    """
    margin, columns = place.margin, place.sine_edges.size - 1
    rows = 0 if turned.upright else place.rows
    seen = np.zeros((rows, columns, waves.weights().shape[1]))
    spectral = np.zeros((waves.node_m.size, columns))
    middle = place.rows // 2
    for vergence, weight in turned.parts:
        used = np.flatnonzero(weight.any(axis=0))
        part = slice(int(used[0]), int(used[-1]) + 1)
        bent = front.bent_by(vergence, math.cos(place.axis_rad) ** 2)
        across = _columns(near_rulings(ruled, bent), place, waves, part)
        along = _rows(_tall(ruled.along, bent), place, waves)
        if turned.upright:
            seen = _pixels(across, along, waves)
        else:
            seen[:, part] += weight[:, part, None] * _pixels(across, along, waves)
        row = across * along[:, middle][:, None] * weight[middle, part]
        spectral[:, part] += waves.onto_nodes().T @ row
    bow = 0.0
    if margin:
        bow = bow_error(spectral.sum(axis=0), place)
        seen = bowed(seen, place)
    inner = in_pixels(np.ascontiguousarray(spectral[:, margin : columns - margin].T), place)
    return turned.straightened(seen, place), np.ascontiguousarray(inner.T), bow


def _tall(along: Along, front: Wavefront) -> NearRulings:
    """The rulings' height in the near field along y."""
    return near_rulings(columns_of_height(along), front.turned())


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


def _columns(near: NearRulings, place: Geometry, waves: Waves, part: slice) -> Floats:
    """(b, n) integral of |A|^2 over the u of some columns, and over the slit's sines if any."""
    sines = place.sine_in + place.sine_edges[part.start : part.stop + 1]
    lo, hi = place.slit_sines or (0.0, 0.0)
    return np.stack(
        [_between(near, sines, (lo, hi), float(w), place.sine_in) for w in waves.bench_m]
    )


def _rows(near: NearRulings, place: Geometry, waves: Waves) -> Floats:
    """(b, ny) the same along y.

    A slit's image stands at the same heights at all wavelengths, and what is fine about its ends
    changes as they do: one of several wavelengths within `_ALIKE` stands for all.
    """
    sines = place.height_sine(0.0, place.y_edges_m)
    rise = place.slit_rise or 0.0
    found, which = waves.bench_m, np.arange(waves.bench_m.size)
    if rise:
        group = np.round(np.log(waves.bench_m) / _ALIKE)
        _, first, which = np.unique(group, return_index=True, return_inverse=True)
        found = waves.bench_m[first]
    rows = np.stack([_between(near, sines, (-rise, rise), float(w), 0.0) for w in found])
    return np.asarray(rows[which])


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
    """(ny, nx, c) sum over wavelengths of weights x columns x rows."""
    weight = waves.weights()
    seen = np.empty((along.shape[1], across.shape[1], weight.shape[1]))
    for c in range(weight.shape[1]):
        seen[:, :, c] = along.T @ (across * weight[:, c : c + 1])
    return seen
