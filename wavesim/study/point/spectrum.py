"""The spectrum of one pixel, as fine as the aperture, the source slit and the pixel let it be.

The plate keeps spectra in steps of 1 nm; a place in the tenth order of a grating holds less than
that. Here the engine is asked once more, for one pixel, with wavelength nodes so close that
light between two of them is straight.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim import aperture, light, plate
from wavesim.aperture import Aperture, needs_strips
from wavesim.arrays import Floats
from wavesim.light import Spectrum
from wavesim.light.air import AirLike, relative_to_standard
from wavesim.light.pieces import from_nodes
from wavesim.lightpath.paths import columns_of
from wavesim.lightpath.stages import Stages
from wavesim.plate import Bins, Geometry, Smoothing
from wavesim.scene import Ruled, Scene

SEEN_M = (390e-9, 730e-9)  # what is looked at; beyond, the eye has below 1e-3 of its best
_COARSEST_M = 0.5e-9
_PER_FEATURE = 12  # nodes across the narrowest feature of the transmission
_MOST_NODES = 200_000
_BINS = 2  # between two nodes
_ROWS_STEP_M = 1e-9  # the share of a row changes slowly with wavelength


@dataclass(frozen=True, eq=False)
class PointSpectrum:
    """Light of one pixel against wavelength.

    Attributes
    ----------
    wavelength_m : (n,) [m] in standard air, rising by even steps
    irradiance : (n,) [W m-2 nm-1] in the middle of the plate's height
    passed : (n,) what would be there of a source even in wavelength, its best value 1
    full : whether it was computed at full resolution; else from the plate's steps of 1 nm
    """

    wavelength_m: Floats
    irradiance: Floats
    passed: Floats
    full: bool

    @property
    def step_m(self) -> float:
        """Distance of two wavelengths [m]."""
        return float(self.wavelength_m[1] - self.wavelength_m[0])


def point_spectrum(exposed: plate.Plate, column: int) -> PointSpectrum:
    """Spectrum of the pixel in a column of a plate, in its middle row.

    Cost: one running integral over what the pixel asks of u, and one pixel's sweep: some 50 ms.
    Apertures in the plane, rulings that are not straight and parallel, and benches in the near
    field give the plate's own 1 nm steps.

    Raises
    ------
    LimitError
        The far field of that place needs more memory than there is.
    """
    scene = exposed.scene
    plain = isinstance(scene.aperture, Ruled) and scene.bench.far_field
    if not plain or needs_strips(scene):
        return _from_profile(exposed, column)
    one = _one_pixel(scene, float(exposed.x_m[column]), exposed.y_m.size)
    spectrum = light.of_scene(scene)
    even = from_nodes(np.array(SEEN_M), np.ones(2), spectrum.kind_of_level)
    ruled, place = aperture.build(one), plate.geometry_of(one)
    smoothing = _smoothing(spectrum, place, ruled)
    nodes = _nodes(place, ruled)
    seen, passed = (
        _on_pixel(
            _bins(part, nodes, smoothing, scene.bench.air), ruled, place, scene.plate.pixel_area_m2
        )
        for part in (spectrum, even)
    )
    factor = plate.level_of(scene, spectrum.kind_of_level, ruled, place.slit_sr)
    return PointSpectrum(nodes, seen * factor, passed / max(float(passed.max()), 1e-300), full=True)


def _one_pixel(scene: Scene, x_m: float, rows: int) -> Scene:
    """The same scene with a plate of one column; two rows where the middle lies between two."""
    column = scene.plate.one_column(x_m, 2 - rows % 2)
    return scene.model_copy(update={"plate": column})


def _smoothing(spectrum: Spectrum, place: Geometry, ruled: Aperture) -> Smoothing:
    """As the plate's, but a point source is averaged over the bin: any bin is exact then."""
    chosen = plate.choose(spectrum, place, ruled).smoothing
    return Smoothing.BIN if chosen is Smoothing.POINT else chosen


def _nodes(place: Geometry, ruled: Aperture) -> Floats:
    """(n,) [m] wavelengths `_PER_FEATURE` to the narrowest feature at the violet end.

    What passes changes over lambda^2 / (W S) (W the aperture's width, S = sin alpha + sin beta),
    and never faster than over the pixel's own span of wavelengths, lambda a / S.
    """
    lo, hi = SEEN_M
    reach = max(place.widest_sine, 1e-12)
    feature = max(lo**2 / (ruled.width_m * reach), lo * place.pixel_sine / reach)
    step = min(_COARSEST_M, feature / _PER_FEATURE)
    return np.linspace(lo, hi, min(math.ceil((hi - lo) / step), _MOST_NODES) + 1)


def _bins(spectrum: Spectrum, nodes: Floats, smoothing: Smoothing, air: AirLike) -> Bins:
    edges = np.linspace(nodes[0], nodes[-1], _BINS * (nodes.size - 1) + 1)
    power, centre = spectrum.integrate(edges[:-1], edges[1:])
    first = _BINS * np.arange(nodes.size, dtype=np.int64)
    stretch = np.asarray(relative_to_standard(centre, air))
    return Bins(edges[:-1], edges[1:], centre, power, nodes, first, smoothing, 0.0, stretch)


def _on_pixel(bins: Bins, ruled: Aperture, place: Geometry, pixel_area_m2: float) -> Floats:
    """(n,) [power per area and nm] at the nodes, before the source's level."""
    nodes = bins.node_m
    _, columns = columns_of(ruled, place, bins, Stages())
    coarse = np.linspace(nodes[0], nodes[-1], round((nodes[-1] - nodes[0]) / _ROWS_STEP_M) + 1)
    share = plate.rows(ruled.along, place, coarse)
    middle = np.interp(nodes, share.node_m, share.share[0][:, -1])
    width_nm = np.gradient(nodes) * 1e9
    width_nm[[0, -1]] /= 2  # half a triangle at either end
    return np.asarray(columns.light[place.margin] * middle / (width_nm * pixel_area_m2))


def _from_profile(exposed: plate.Plate, column: int) -> PointSpectrum:
    """The plate's own spectrum, and what passed of each nanometre of the source."""
    scene, lo, hi = exposed.scene, *SEEN_M
    nodes = np.linspace(lo, hi, round((hi - lo) * 1e9) + 1)
    seen = np.interp(
        nodes, exposed.profile_wavelength_m, exposed.profile_spectrum[:, column], left=0, right=0
    )
    spectrum = light.of_scene(scene)
    sent = spectrum.integrate(nodes - 0.5e-9, nodes + 0.5e-9)[0]
    lit = sent > 1e-3 * sent.max()
    passed = np.where(lit, seen / np.where(lit, sent, 1.0), 0.0)
    return PointSpectrum(nodes, seen, passed / max(float(passed.max()), 1e-300), full=False)
