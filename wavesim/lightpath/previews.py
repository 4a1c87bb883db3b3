"""Coarse plates of rulings, in few functions of wavelength instead of every node.

What light and plate alone determine is kept apart, for apertures of nearly the same width. Where
pixels are far wider than the rulings resolve, and the light is smooth enough, the far field's fine
structure is left out (`plate.fineness`).
"""

from __future__ import annotations

from dataclasses import dataclass

from wavesim import light, plate
from wavesim.aperture import Aperture
from wavesim.arrays import Floats
from wavesim.diffraction import far
from wavesim.light import Spectrum
from wavesim.plate import Bins, Geometry, Light, Stage
from wavesim.plate.fineness import GRID, MOST, TIMES, FineLight, filters_sharp, fine_light
from wavesim.scene import Scene

_TOLERANCE = 1e-7  # of the peak amplitude: of a preview's far field


@dataclass(frozen=True, eq=False)
class Preview:
    """Light of a coarse plate, the wavelengths it was made of, and its error."""

    bins: Bins
    light: Light
    error: float


def previewed(
    scene: Scene, spectrum: Spectrum, geometry: Geometry, ruled: Aperture, stage: Stage
) -> Preview | None:
    """A coarse plate of upright rulings whose elements depend on u alone; None where grids would
    be too large."""
    bench = _Bench(scene, spectrum, geometry, ruled, stage)
    structure = plate.Structure.of(ruled).rounded
    fine = _fine_light(bench, structure.width_m)
    if fine is not None:
        passed = fine.passed(spectrum)
        for number, times in enumerate(TIMES):
            if fine.worth(number, passed):
                longest = structure.width_m / times
                found = _in_channels(bench, longest, missed=fine.missed(number, passed))
                if found is not None:
                    return found
    return _in_channels(bench, structure.width_m, missed=None)


@dataclass(frozen=True, eq=False)
class _Bench:
    scene: Scene
    spectrum: Spectrum
    geometry: Geometry
    ruled: Aperture
    stage: Stage


def _fine_light(bench: _Bench, width_m: float) -> FineLight | None:
    """How fine the light is: as it leaves the source, where filters are smooth."""
    scene, geometry = bench.scene, bench.geometry
    found = bench.spectrum
    if not filters_sharp(scene.source.filters, geometry, width_m):
        found = bench.stage("light", light.unfiltered, scene)
    first = plate.first_column(geometry, bench.ruled)
    return bench.stage("wavelengths", fine_light, found, geometry, width_m, first)


def _in_channels(bench: _Bench, width_m: float, missed: Floats | None) -> Preview | None:
    """The plate with all lags up to `width_m`, at which columns miss as much of X, Y, Z and
    irradiance; None where that is more than may be left out, or grids would be too large."""
    scene, geometry, ruled, stage = bench.scene, bench.geometry, bench.ruled, bench.stage
    smoothed = missed is not None
    structure = plate.Structure(width_m, None)
    bins = stage(
        "wavelengths", plate.choose_for, bench.spectrum, geometry, structure, scene.bench.air
    )
    rows = stage("rows", plate.rows, ruled.along, geometry.along_rulings, bins.node_m)
    channels = stage("rows", plate.channels_of, rows)
    grid_m = GRID * width_m if smoothed else width_m
    wide = stage("wavelengths", plate.wide_light, bins, channels.weight, geometry, grid_m,
                 plate.first_column(geometry, ruled), exact=smoothed)  # fmt: skip
    if wide is None:
        return None
    beyond = wide.beyond * (ruled.width_m / grid_m if smoothed else 1.0)
    reach = plate.reach_per_m(geometry, bins, ruled, beyond=beyond)
    plate.check_memory(ruled, reach, bins, geometry)
    if smoothed:
        field = stage(
            "far field", far.smoothed_far_field, ruled, *reach, grid_m, width_m, _TOLERANCE
        )
    else:
        field = stage("far field", far.far_field, ruled, *reach, _TOLERANCE)
    columns = stage("columns", plate.sweep_channels, field, geometry, ruled, wide, rows)
    lost = 0.0 if missed is None else columns.lost(missed, channels)
    if lost > MOST:
        return None
    nodes = plate.Nodes(bench.spectrum, geometry, ruled, scene.bench.air)
    found = stage("pixels", plate.compose_channels, columns, channels, rows, nodes,
                  scene.plate.pixel_area_m2)  # fmt: skip
    error = max(bins.error, plate.LEAST_ERROR) + channels.error + columns.error + lost
    error += columns.bow_error(channels, geometry)
    return Preview(bins, found, error)
