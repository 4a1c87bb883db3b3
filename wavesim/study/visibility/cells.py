"""The light of a plate dealt out to its orders and subsidiary maxima.

With mu the path difference of neighbouring rulings in waves, order m reaches from m - 1/N to
m + 1/N, and the k-th subsidiary maximum beyond it from m + k/N to m + (k + 1)/N. Wavelength by
wavelength, what the plate's profile holds in each of these cells is added up at every position.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from wavesim.arrays import Floats
from wavesim.light.recorders import counted_by
from wavesim.plate import Plate
from wavesim.study.ruling import Ruling

_MOST_SLITS = 40  # of more, subsidiary maxima are not listed one by one
_MOST_CELLS = 4000


@dataclass(frozen=True, eq=False)
class ExposureCells:
    """Photometric exposure by position and cell.

    Attributes
    ----------
    x_m : (nx,) [m]
    exposure_lx_s : (nx, n) [lx s] in the plate's middle row
    first : number of the first cell; cell q holds mu from q / N to (q + 1) / N
    count : N, the cells of one order
    """

    x_m: Floats
    exposure_lx_s: Floats
    first: int
    count: int

    def peak(self, *cells: int) -> tuple[float, float]:
        """Highest exposure of these cells together, and its x; 0 off the plate."""
        inside = [
            c - self.first for c in cells if 0 <= c - self.first < self.exposure_lx_s.shape[1]
        ]
        if not inside:
            return 0.0, math.nan
        together = self.exposure_lx_s[:, inside].sum(axis=1)
        index = int(np.argmax(together))
        return float(together[index]), float(self.x_m[index])

    @property
    def orders(self) -> range:
        """Orders whose middle lies on the plate for some wavelength."""
        last = self.first + self.exposure_lx_s.shape[1]
        return range(math.ceil((self.first + 1) / self.count), (last - 1) // self.count + 1)


def cells(plate: Plate, ruled: Ruling) -> ExposureCells:
    """Deal out the plate's middle row.

    Beyond 40 rulings one cell is a fortieth of an order instead of 1/N: an order's own light
    still falls into the two cells beside its middle.
    """
    mu = _waves(plate, ruled)
    count = min(ruled.count, _MOST_SLITS)
    exposure = _bright(plate)
    illuminated = exposure > 0
    low = float(np.min(mu, where=illuminated, initial=math.inf))
    high = float(np.max(mu, where=illuminated, initial=-math.inf))
    if high < low:
        low = high = 0.0
    count = max(1, min(count, int(_MOST_CELLS / max(high - low, 1e-9))))
    first, last = math.floor(low * count), math.floor(high * count)
    total = last - first + 1
    mu *= count  # in place: a million places at a time
    np.floor(mu, out=mu)
    mu -= first
    np.minimum(np.maximum(mu, 0, out=mu), total - 1, out=mu)
    mu += total * np.arange(plate.x_m.size)
    key = mu.ravel().astype(np.int64)
    summed = np.bincount(key, weights=exposure.ravel(), minlength=plate.x_m.size * total)
    table = summed.astype(np.float64).reshape(plate.x_m.size, total)
    return ExposureCells(plate.x_m, table, first, count)


def _waves(plate: Plate, ruled: Ruling) -> Floats:
    """(nw, nx) path difference of neighbouring rulings in waves."""
    return ruled.geometry.order(plate.x_m, plate.profile_wavelength_m[:, None])


def _bright(plate: Plate) -> Floats:
    """(nw, nx) [lx s] of the middle row by wavelength; sums to the plate's own exposure."""
    eye = np.maximum(counted_by(plate.scene)[1](plate.profile_wavelength_m), 0.0)
    weighted = plate.profile_spectrum * (eye * _widths(plate.profile_wavelength_m))[:, None]
    exposure = plate.shown_xyz[plate.xyz.shape[0] // 2, :, 1]
    total = weighted.sum(axis=0)
    weighted *= exposure / np.where(total > 0, total, 1.0)
    return np.asarray(weighted)


def _widths(wavelength_m: Floats) -> Floats:
    """Relative width of the band that each wavelength of the profile stands for."""
    if wavelength_m.size < 2:
        return np.ones(wavelength_m.size)
    gap = np.minimum(np.diff(wavelength_m), 1.0001e-9)
    return np.concatenate(([0.0], gap)) + np.concatenate((gap, [0.0]))
