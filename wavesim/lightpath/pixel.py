"""The light of one pixel against wavelength, by the stages that exposed its plate.

The plate keeps spectra in steps of 1 nm; a pixel in the tenth order of a grating holds less than
that. Here its wavelength nodes are so close that light between two of them is straight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim import aperture, light, plate
from wavesim.aperture import Aperture
from wavesim.arrays import Floats
from wavesim.light import Spectrum
from wavesim.light.air import AirLike, relative_to_standard
from wavesim.light.pieces import from_nodes
from wavesim.lightpath.paths import columns_of, path_of, rulings_far
from wavesim.lightpath.stages import Stages
from wavesim.plate import Bins, Geometry, Smoothing
from wavesim.scene import Scene

_COARSEST_M = 0.5e-9
_PER_FEATURE = 12  # nodes across the narrowest feature of the transmission
_MOST_NODES = 200_000
_BINS = 2  # between two nodes
_ROWS_STEP_M = 1e-9  # a row's fraction of the light changes slowly with wavelength


@dataclass(frozen=True, eq=False)
class PixelLight:
    """Light of one pixel.

    Attributes
    ----------
    wavelength_m : (n,) [m] in standard air, rising by even steps
    irradiance : (n,) [W m-2 nm-1]
    transmission : (n,) the same of a source even in wavelength, the largest 1
    """

    wavelength_m: Floats
    irradiance: Floats
    transmission: Floats


def has_pixel_light(scene: Scene) -> bool:
    """Whether pixels can be computed alone: straight rulings in the far field."""
    return path_of(scene) is rulings_far


def pixel_light(scene: Scene, column: int, between_m: tuple[float, float]) -> PixelLight:
    """Light between two wavelengths [m] of the pixel in a column, in the plate's middle row.

    Cost: one running integral over what the pixel asks of u, and one pixel's sweep: some 50 ms.

    Raises
    ------
    LimitError
        The far field of that pixel needs more memory than there is.
    """
    stage = Stages()
    spectrum = stage("light", light.of_scene, scene)
    geometry = stage("geometry", plate.geometry_of, scene).pixel(column)
    ruled = stage("aperture", aperture.build, scene)
    nodes = _nodes(geometry, ruled, between_m)
    smoothing = _smoothing(spectrum, geometry, ruled)
    even = from_nodes(np.array(between_m), np.ones(2), spectrum.kind_of_level)
    found, evenly = (
        _at_nodes(_bins(part, nodes, smoothing, scene.bench.air), ruled, geometry, stage)
        for part in (spectrum, even)
    )
    level = plate.level_of(scene, spectrum.kind_of_level, ruled, geometry.slit_sr)
    irradiance = found * (level / scene.plate.pixel_area_m2)
    return PixelLight(nodes, irradiance, evenly / max(float(evenly.max()), 1e-300))


def _smoothing(spectrum: Spectrum, geometry: Geometry, ruled: Aperture) -> Smoothing:
    """As the plate's, but a point source is averaged over the bin: any bin is exact then."""
    chosen = plate.choose(spectrum, geometry, ruled).smoothing
    return Smoothing.BIN if chosen is Smoothing.POINT else chosen


def _nodes(geometry: Geometry, ruled: Aperture, between_m: tuple[float, float]) -> Floats:
    """(n,) [m] wavelengths `_PER_FEATURE` to the narrowest feature at the violet end.

    What passes changes over lambda^2 / (W S) (W the aperture's width, S = sin alpha + sin beta),
    and never faster than over the pixel's own span of wavelengths, lambda a / S.
    """
    lo, hi = between_m
    reach = max(geometry.widest_sine, 1e-12)
    feature = max(lo**2 / (ruled.width_m * reach), lo * geometry.pixel_sine / reach)
    step = min(_COARSEST_M, feature / _PER_FEATURE)
    return np.linspace(lo, hi, min(math.ceil((hi - lo) / step), _MOST_NODES) + 1)


def _bins(spectrum: Spectrum, nodes: Floats, smoothing: Smoothing, air: AirLike) -> Bins:
    edges = np.linspace(nodes[0], nodes[-1], _BINS * (nodes.size - 1) + 1)
    power, centre = spectrum.integrate(edges[:-1], edges[1:])
    first = _BINS * np.arange(nodes.size, dtype=np.int64)
    air_ratio = np.asarray(relative_to_standard(centre, air))
    return Bins(edges[:-1], edges[1:], centre, power, nodes, first, smoothing, 0.0, air_ratio)


def _at_nodes(bins: Bins, ruled: Aperture, geometry: Geometry, stage: Stages) -> Floats:
    """(n,) [power per nm] on the pixel at the nodes, before the source's level."""
    nodes = bins.node_m
    _, columns = columns_of(ruled, geometry, bins, stage)
    coarse = np.linspace(nodes[0], nodes[-1], round((nodes[-1] - nodes[0]) / _ROWS_STEP_M) + 1)
    rows = stage("rows", plate.rows, ruled.along, geometry, coarse)
    middle = np.interp(nodes, rows.node_m, rows.weight[0][:, -1])
    width_nm = np.gradient(nodes) * 1e9
    width_nm[[0, -1]] /= 2  # half a triangle at either end
    return np.asarray(columns.light[0] * middle / width_nm)
