"""Near field on the plate: rulings as rows times columns, one wavelength after another."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from wavesim.aperture.build import GAUSSIAN_PIECE
from wavesim.aperture.combs import Aperture, Comb, pieces
from wavesim.aperture.elements import Slit
from wavesim.aperture.illumination import Along
from wavesim.arrays import Floats
from wavesim.diffraction.far.running import CELLS, RunningIntegral
from wavesim.diffraction.fresnel import Wavefront, wavefront
from wavesim.diffraction.fresnel.exact import ERROR as EXACT_ERROR
from wavesim.diffraction.fresnel.exact import ExactRulings
from wavesim.diffraction.fresnel.rulings import NearRulings, near_rulings
from wavesim.light import recorder_of
from wavesim.plate.computed import Computed, Stage
from wavesim.plate.duration import require_time
from wavesim.plate.geometry import MOST_CUT, Geometry, with_bow_resolved
from wavesim.plate.memory import require_memory
from wavesim.plate.near_exact import columns as exact_columns
from wavesim.plate.near_exact import propagates_exactly
from wavesim.plate.near_exact import rows as exact_rows
from wavesim.plate.plane.expose import PIXEL, light_of
from wavesim.plate.plane.source import extent
from wavesim.plate.plane.wavelengths import Steps, Wavelengths, choose_wavelengths
from wavesim.plate.rows import bow_error, bowed, in_pixels
from wavesim.plate.turned import PlateTurns, turns_of
from wavesim.scene import Scene

if TYPE_CHECKING:
    from wavesim.light import Spectrum

_WIDEST = 1 / 550  # of the wavelength: a nanometre
_FINEST = 1 / 3000  # of the wavelength: least step
_ALIKE = 1e-4  # of the wavelength
_MOST_CUT = 1e9  # columns times rows of half a plate, wavelengths and distances, to resolve a bow
_MORE = 20  # numbers held for a pixel of a turned plate, or where lines are bowed
_CELL_BYTES = 200  # of a near field's table, at the peak
_PART = 0.5  # of the free memory
_EDGE_S = 110e-9  # of one slit in one cell, on one core
_PIECE_S = 200e-9  # of one cell, or one piece of a ruling, where they are many
_GUARD = 300  # cells that a table has at least, by their cost
_FRESNEL_ERROR = 1e-6  # of a pixel, against the integral in that approximation
_EXACT = (
    "propagated exactly (Rayleigh-Sommerfeld integral), to 1e-4 of the brightest point; rows "
    "with the distance of the plate's centre"
)
_LENS = "out of focus: propagated in the Fresnel approximation behind the lens"
_FRESNEL = (
    "propagated in the Fresnel approximation, whose pattern is displaced by up to x^3 / 2 z^2 on "
    "a plate without a lens"
)


def expose_near(
    scene: Scene, ruled: Aperture, spectrum: Spectrum, geometry: Geometry, stage: Stage
) -> Computed:
    """Light of rulings at a finite distance or out of focus, before any exposure time."""
    lo, hi = ruled.span_m
    half = max(abs(lo), abs(hi))
    front = wavefront(scene.bench, half)
    turned = turns_of(geometry, scene.bench, half)
    step, air = min(_step(ruled, geometry, turned.most_defocused(front)), _WIDEST), scene.bench.air
    recorder = stage("recorder", recorder_of, scene)
    steps = Steps(step / 550e-9, 1e-3)
    wavelengths = stage(
        "wavelengths", choose_wavelengths, spectrum, steps, air=air, recorder=recorder
    )
    source = extent(scene, geometry)
    exact = propagates_exactly(scene.bench)
    if not exact:
        most = int(_MOST_CUT / (wavelengths.power.size * turned.vergence_per_m.size))
        geometry = with_bow_resolved(
            geometry, ruled.width_m, float(wavelengths.bench_m.min()), most=min(most, MOST_CUT)
        )
        turned = turns_of(geometry, scene.bench, half)
    pixels = (geometry.sine_edges.size - 1) * geometry.y_m.size
    held = PIXEL if turned.upright and not geometry.margin else _MORE
    require_memory(
        8
        * (
            held * pixels
            + 2 * wavelengths.power.size * (geometry.sine_edges.size + geometry.y_m.size)
        ),
        expected="a smaller plate or larger pixels",
    )
    bow = 0.0
    if exact:
        way, power, spectral = _EXACT, *_exactly(ruled, geometry, wavelengths, stage)
    else:
        way = _FRESNEL if scene.bench.camera_m is None else _LENS
        power, spectral, bow = stage(
            "pixels", _in_fresnel, ruled, front, turned, geometry, wavelengths
        )
    area = scene.plate.pixel_area_m2 * (source.area or 1.0)
    return Computed(
        light=light_of(power, spectral, wavelengths, area),
        opening=ruled,
        source_sr=source.area,
        averaged=True,
        elements=ruled.elements,
        wavelengths=int(wavelengths.power.size),
        smoothing=source.text,
        pixel_error=EXACT_ERROR if exact else _FRESNEL_ERROR,
        bin_error=wavelengths.error + turned.error + bow,
        half_m=half,
        notes=(*ruled.limits, way, *turned.notes),
    )


def _exactly(
    ruled: Aperture, geometry: Geometry, wavelengths: Wavelengths, stage: Stage
) -> tuple[Floats, Floats]:
    """Light (ny, nx, c), and of the middle row (k, nx), on a parallel plate without a lens."""
    tall = columns_of_height(ruled.along)
    across = stage(
        "columns", exact_columns, ExactRulings(ruled, geometry.focal_m), geometry, wavelengths
    )
    along = stage("rows", exact_rows, ExactRulings(tall, geometry.focal_m), geometry, wavelengths)
    middle = (across * along[:, along.shape[1] // 2][:, None]).T @ wavelengths.onto_nodes()
    return stage("pixels", _pixels, across, along, wavelengths), middle.T


def _in_fresnel(
    ruled: Aperture,
    front: Wavefront,
    turned: PlateTurns,
    geometry: Geometry,
    wavelengths: Wavelengths,
) -> tuple[Floats, Floats, float]:
    """The same with Fresnel's path; a turned plate in as many defocuses as it shows.

    Columns and rows are computed on the straight lines of the plate's middle; then lines are bowed,
    with the error that this may have, of the brightest pixel.
    """
    margin, columns = geometry.margin, geometry.sine_edges.size - 1
    rows = 0 if turned.upright else geometry.rows
    power = np.zeros((rows, columns, wavelengths.weights().shape[1]))
    spectral = np.zeros((wavelengths.node_m.size, columns))
    middle = geometry.rows // 2
    works = [_part(ruled, front, geometry, *found) for found in turned.parts]
    require_time(
        sum(_seconds(work, geometry, wavelengths) for work in works),
        what="for its near field",
        expected="fewer or shorter rulings, a smaller plate, or one nearer to the focus",
    )
    for work in works:
        weight, part = work.weight, work.columns
        across = _columns(work.across, geometry, wavelengths, part)
        along = _rows(work.along, geometry, wavelengths)
        if turned.upright:
            power = _pixels(across, along, wavelengths)
        else:
            power[:, part] += weight[:, part, None] * _pixels(across, along, wavelengths)
        row = across * along[:, middle][:, None] * weight[middle, part]
        spectral[:, part] += wavelengths.onto_nodes().T @ row
    bow = 0.0
    if margin:
        bow = bow_error(spectral.sum(axis=0), geometry)
        power = bowed(power, geometry)
    inner = in_pixels(np.ascontiguousarray(spectral[:, margin : columns - margin].T), geometry)
    return turned.straightened(power, geometry), np.ascontiguousarray(inner.T), bow


@dataclass(frozen=True, eq=False)
class _Part:
    """What is computed at one distance: columns that the plate needs there, and their weight."""

    weight: Floats
    columns: slice
    across: NearRulings
    along: NearRulings


def _part(
    ruled: Aperture, front: Wavefront, geometry: Geometry, vergence: float, weight: Floats
) -> _Part:
    used = np.flatnonzero(weight.any(axis=0))
    bent = front.bent_by(vergence, math.cos(geometry.axis_rad) ** 2)
    columns = slice(int(used[0]), int(used[-1]) + 1)
    return _Part(weight, columns, near_rulings(ruled, bent), _tall(ruled.along, bent))


def _seconds(work: _Part, geometry: Geometry, wavelengths: Wavelengths) -> float:
    """Time of one core for columns and rows, by measured costs of a cell [s]."""
    slit = geometry.slit_sines or (0.0, 0.0)
    rise = geometry.slit_rise or 0.0
    height = geometry.height_sine(0.0, geometry.y_edges_m)
    found, _ = _alike(wavelengths, rise)
    across = float(np.ptp(geometry.sine_edges[[work.columns.start, work.columns.stop]]))
    return _cost_s(work.across, across + slit[1] - slit[0], wavelengths.bench_m) + _cost_s(
        work.along, float(np.ptp(height)) + 2 * rise, found
    )


def _cost_s(near: NearRulings, sines: float, wavelength_m: Floats) -> float:
    """The same for one side, if its tables fit the memory."""
    spans = near.aperture.width_m * sines / wavelength_m
    _require_memory(float(spans.max()))
    cells = CELLS * spans + _GUARD
    if near.parts == 0:
        return float(cells.sum()) * near.aperture.elements * _EDGE_S
    pieces = near.aperture.elements * near.parts
    return float((cells + pieces).sum()) * _PIECE_S


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


def _step(ruled: Aperture, geometry: Geometry, front: Wavefront) -> float:
    """Step of the wavelength, relative: see `relative_step`, and six to a Fresnel zone."""
    width = ruled.width_m
    slit = geometry.slit_sines or (0.0, 0.0)
    blur = max(550e-9 / width, geometry.pixel_sine, slit[1] - slit[0])
    far = blur / (2 * max(geometry.widest_sine, 1e-12))
    return max(min(far, front.zone_step(width / 2)), _FINEST)


def _columns(
    near: NearRulings, geometry: Geometry, wavelengths: Wavelengths, part: slice
) -> Floats:
    """(b, n) integral of |A|^2 over the u of some columns, and over the slit's sines if any."""
    sines = geometry.sine_in + geometry.sine_edges[part.start : part.stop + 1]
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    return np.stack(
        [_between(near, sines, (lo, hi), float(w), geometry.sine_in) for w in wavelengths.bench_m]
    )


def _rows(near: NearRulings, geometry: Geometry, wavelengths: Wavelengths) -> Floats:
    """(b, ny) the same along y.

    A slit's image stands at the same heights at all wavelengths, and what is fine about its ends
    changes as they do: one of several wavelengths within `_ALIKE` stands for all.
    """
    sines = geometry.height_sine(0.0, geometry.y_edges_m)
    rise = geometry.slit_rise or 0.0
    found, which = _alike(wavelengths, rise)
    rows = np.stack([_between(near, sines, (-rise, rise), float(w), 0.0) for w in found])
    return np.asarray(rows[which])


def _alike(wavelengths: Wavelengths, rise: float) -> tuple[Floats, NDArray[np.intp]]:
    """Wavelengths that stand for all, and which of them stands for each."""
    if not rise:
        return wavelengths.bench_m, np.arange(wavelengths.bench_m.size)
    group = np.round(np.log(wavelengths.bench_m) / _ALIKE)
    _, first, which = np.unique(group, return_index=True, return_inverse=True)
    return wavelengths.bench_m[first], which


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
        fraction=_PART,
        what=" in the near field",
        expected="a smaller aperture, or a plate that extends less far from the axis",
    )


def _mean(
    table: RunningIntegral, sines: Floats, source: tuple[float, float], wavelength_m: float
) -> Floats:
    """Mean of the running integral over the source's sines."""
    upper = table.read_twice((sines + source[1]) / wavelength_m)
    lower = table.read_twice((sines + source[0]) / wavelength_m)
    return np.asarray((upper - lower) * (wavelength_m / (source[1] - source[0])))


def _pixels(across: Floats, along: Floats, wavelengths: Wavelengths) -> Floats:
    """(ny, nx, c) sum over wavelengths of weights x columns x rows."""
    weight = wavelengths.weights()
    power = np.empty((along.shape[1], across.shape[1], weight.shape[1]))
    for c in range(weight.shape[1]):
        power[:, :, c] = along.T @ (across * weight[:, c : c + 1])
    return power
