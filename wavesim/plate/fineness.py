"""What a preview may leave out: lines of the light that its pixels hardly tell apart.

The light of a column is a sum over waves of the far field's power, exp(-2 pi i u lag), with lags up
to the aperture's width W. A pixel of a preview is far wider than lambda / W, and unless the light
has lines as narrow as that, the columns owe next to nothing to long lags. Without those above L a
preview costs what an aperture of the width L costs.

|A|^2 du is a positive measure, so no column changes by more than its whole amount times what the
column would change by if all of it stood at one u, wherever that is: a sum over the light alone,

    D(lambda) = largest | P * box * line * (1 - window) |

with P the light over ln lambda, box the pixel's and the slit's widths, line the shape of an order
or ghost, sinc^2 (1 - lag / W over lags), and window one up to 2 L / 3 and nothing above L. It is
worst for the smallest u on the plate. D is found for the light as it leaves the source, and
multiplied by what smooth filters pass.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.diffraction.far.resampling import fast_size, window
from wavesim.light import Spectrum
from wavesim.plate.geometry import Geometry
from wavesim.plate.photometry import sensitivities
from wavesim.scene import Filter, TableFilter

COARSE = 4e-3  # of the brightest pixel: what one line may lose
MOST = 1e-2  # what a plate may lose, all orders and ghosts counted as if they were one
TIMES = (4, 2.5, 1.6)  # shorter than the aperture is wide: lags that are tried
_TYPICAL_M = 550e-9
_PER_PERIOD = 2.5  # samples of the light to the shortest period
_SMOOTH = 20.0  # widths of what a lag resolves to that of a smooth filter
_STEP_M = 1e-9
GRID = 0.85  # of the longest lag: what even grids are made for; little is left above it
_FEWEST = 2.0  # widths of what the aperture resolves to a pixel that is worth looking at
_MARGIN = 1.25  # for boxes and lags taken at 550 nm


@dataclass(frozen=True, eq=False)
class FineLight:
    """What columns lose of the light of each nanometre, and have at most.

    Attributes
    ----------
    edge_m : (n + 1,) [m] edges of the nanometres
    whole : (n,) light of each, as it leaves the source
    lost : (len(TIMES), n) the most that a column loses without long lags, for all light at one u
    most : (n,) the most that a column has
    """

    edge_m: Floats
    whole: Floats
    lost: Floats
    most: Floats

    def passed(self, spectrum: Spectrum) -> Floats:
        """(n,) part of the light of each nanometre that filters pass."""
        found, _ = spectrum.integrate(self.edge_m[:-1], self.edge_m[1:])
        return found / np.maximum(self.whole, 1e-300)

    def missed(self, number: int, passed: Floats) -> Floats:
        """(4,) light that a column may lose in X, Y, Z [lm/W] and irradiance, per unit of the
        aperture's whole power."""
        sight = sensitivities((self.edge_m[1:] + self.edge_m[:-1]) / 2)
        return np.asarray(_MARGIN * ((self.lost[number] * passed)[:, None] * sight).max(axis=0))

    def worth(self, number: int, passed: Floats) -> bool:
        """Whether a line of all orders in one would be met to `COARSE`."""
        sight = sensitivities((self.edge_m[1:] + self.edge_m[:-1]) / 2)
        most = ((self.most * passed)[:, None] * sight).max(axis=0)
        missed = self.missed(number, passed)
        return bool(missed[1] <= COARSE * most[1] and missed[3] <= COARSE * most[3])


def fine_light(
    spectrum: Spectrum, geometry: Geometry, width_m: float, first: int
) -> FineLight | None:
    """What the columns from `first` on lose of some light behind an aperture of that width [m].

    None where the plate reaches to the zero order, or its pixels are not wide.
    """
    lo, hi = geometry.slit_sines or (0.0, 0.0)
    sigma = geometry.sine_in + geometry.sine_edges[first:]
    nearest = min(abs(sigma[0] + lo), abs(sigma[-1] + hi))
    if sigma[0] * sigma[-1] <= 0 or geometry.pixel_sine * width_m < _FEWEST * _TYPICAL_M:
        return None
    shortest, longest = spectrum.support_m[0][0], spectrum.support_m[-1][1]
    per_e = nearest * width_m / _TYPICAL_M  # periods of the longest lag to a factor e
    count = math.ceil(math.log(longest / shortest) * per_e * _PER_PERIOD) + 1
    edges = shortest * (longest / shortest) ** (np.arange(count + 1) / count)
    power, _ = spectrum.integrate(edges[:-1], edges[1:])
    step = math.log(longest / shortest) / count
    boxes = geometry.pixel_sine / nearest / step, (hi - lo) / nearest / step
    size = fast_size(count + math.ceil(8 * width_m / _lag(width_m, 0) * _PER_PERIOD + sum(boxes)))
    frequency = np.arange(size // 2 + 1) / size
    light = np.fft.rfft(power, size) * np.sinc(frequency * boxes[0]) * np.sinc(frequency * boxes[1])
    light *= boxes[0] * ((hi - lo) or 1.0)
    lag = frequency / step / per_e * width_m
    light *= np.maximum(1 - lag / width_m, 0.0)
    every = [light * (1 - window(lag, _lag(width_m, k))) for k in range(len(TIMES))]
    lost = [np.abs(np.fft.irfft(left, size)[:count]) for left in every]
    most = np.fft.irfft(light, size)[:count]
    return _by_nanometre(spectrum, edges[:-1], np.stack([*lost, most]))


def filters_sharp(filters: tuple[Filter, ...], geometry: Geometry, width_m: float) -> bool:
    """Whether some filter is as sharp as lines that a preview tells apart, or of unknown shape."""
    resolved = _TYPICAL_M**2 / (_lag(width_m, 0) * max(geometry.widest_sine, 1e-12))
    return any(
        isinstance(item, TableFilter) or getattr(item, "width_m", math.inf) < _SMOOTH * resolved
        for item in filters
    )


def _lag(width_m: float, number: int) -> float:
    """Longest lag [m] of that which `TIMES` names."""
    return width_m / TIMES[number]


def _by_nanometre(spectrum: Spectrum, wavelength_m: Floats, values: Floats) -> FineLight:
    """The largest of values (r, n) within each nanometre."""
    ends = math.floor(wavelength_m[0] / _STEP_M), math.ceil(spectrum.support_m[-1][1] / _STEP_M)
    edges = np.arange(ends[0], max(ends[1], ends[0] + 1) + 1) * _STEP_M
    starts = np.searchsorted(wavelength_m, edges[:-1])
    some = np.append(starts[1:], wavelength_m.size) > starts
    largest = np.zeros((values.shape[0], edges.size - 1))
    largest[:, some] = np.maximum.reduceat(values, starts[some], axis=1)
    whole, _ = spectrum.integrate(edges[:-1], edges[1:])
    return FineLight(edges, whole, largest[:-1], largest[-1])
