"""A preview's columns in few functions of wavelength, never at every node.

A pixel is X, Y, Z and irradiance: sums over wavelength of the column's light times the observer's
curves times the row's weight. All those products together are made of a dozen functions of
wavelength (`Channels`), so the light of a column has to be known in a dozen sums, not at hundreds
of nodes. The spectrum of the plate's middle, which needs the nodes, is found when it is asked for.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import partial

import numpy as np

from wavesim.aperture import Aperture
from wavesim.arrays import Floats
from wavesim.diffraction.far import FarField, far_field
from wavesim.light import Spectrum
from wavesim.light.air import AirLike
from wavesim.plate.bins import choose
from wavesim.plate.compose import Light, cosines, middle_spectrum, on_plate
from wavesim.plate.deferred import later
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import cross
from wavesim.plate.photometry import sensitivities
from wavesim.plate.rows import Rows, bent_columns, error_half_way, intervals
from wavesim.plate.sweep import first_column, reach_per_m, sweep
from wavesim.plate.wide import WideLight

LEVEL = 1e-4  # of the brightest row in X, Y, Z or irradiance: error allowed to few functions
_MARGIN = 1.5  # over what the row that bow changes most misses, for the others


@dataclass(frozen=True, eq=False)
class Channels:
    """Functions of wavelength that make up a plate's rows in X, Y, Z and irradiance.

    Attributes
    ----------
    weight : (k, r) functions at the wavelength nodes, straight between them
    parts : for each scale of the rows, (4, r, n): how much of each function X, Y, Z [lm/W] and
        irradiance [1] of a row have
    curves : (r, 4) the same of the four curves themselves
    error : of a row's light, of the brightest
    """

    weight: Floats
    parts: tuple[Floats, ...]
    curves: Floats
    error: float


def channels_of(rows: Rows) -> Channels:
    """Few functions of wavelength for all rows and curves, by cross approximation."""
    curves = sensitivities(rows.node_m)
    strength = np.maximum(curves.max(axis=0), 1e-300)
    scales, nodes, count = rows.weight.shape
    even = curves / strength
    wanted = np.einsum("kc,skn->kscn", even, rows.weight / max(float(rows.weight.max()), 1e-300))
    left = np.concatenate([wanted.reshape(nodes, -1), even], axis=1)
    basis, part = np.empty((nodes, nodes)), np.empty((nodes, left.shape[1]))
    found = max(cross(left, LEVEL, basis, part), 1)
    parts = part[:found, :-4].reshape(found, scales, 4, count).transpose(1, 2, 0, 3)
    scaled = parts * (strength * float(rows.weight.max()))[:, None, None]
    return Channels(
        weight=np.ascontiguousarray(basis[:found].T),
        parts=tuple(np.ascontiguousarray(scaled)),
        curves=part[:found, -4:] * strength,
        error=rows.error + LEVEL,
    )


@dataclass(frozen=True, eq=False)
class BentRow:
    """The row that bow may change most: off its pixels by part of their width, and bright.

    Attributes
    ----------
    y_m : [m] its height
    sines : (nx + 1,) on the plate's middle line, whose light its pixels' edges get
    aside : of a pixel, by which lines are off at most
    fraction : of the brightest row's light
    """

    y_m: float
    sines: Floats
    aside: float
    fraction: float

    def error(self, light: Floats, exact: Floats | None, geometry: Geometry) -> float:
        """Error of a pixel, of the brightest, by moving light (columns,) within pixels: against
        the row's own light `exact` (nx,), or as columns twice as wide miss it."""
        if exact is None:
            return (
                4 * self.aside * (1 - self.aside) * self.fraction * error_half_way(light, geometry)
            )
        bent = bent_columns(light[:, None], geometry, self.y_m)[:, 0]
        missed = float(np.abs(bent - exact).max()) / max(float(light.max()), 1e-300)
        return _MARGIN * self.fraction * missed


def bent_row(geometry: Geometry, rows: Rows) -> BentRow:
    """That row of a plate."""
    bright = rows.weight.max(axis=(0, 1))
    moved = geometry.straightened_rows[: bright.size] - geometry.x_edges_m
    moved /= float(geometry.x_edges_m[1] - geometry.x_edges_m[0])
    aside = np.abs(moved - np.rint(moved)).max(axis=1)
    row = int(np.argmax(bright * aside))
    y_m = float(geometry.y_m[row])
    fraction = float(bright[row]) / max(float(bright.max()), 1e-300)
    return BentRow(y_m, geometry.straightened_sine(y_m), float(aside[row]), fraction)


@dataclass(frozen=True, eq=False)
class ChannelColumns:
    """Light of every pixel column in each channel.

    Attributes
    ----------
    light : (nx, r) as `Columns.light`, summed over wavelength with each channel's weight
    first : columns before this one mirror those behind, in light as in position
    error : of a pixel, of the brightest, by what was left out of fine structure
    power : [m] of the aperture, all that is read of its running integral
    bent : the row that bow changes most, where lines are bowed
    beside : (nx,) the whole light of that row's pixels, if it is known exactly
    """

    light: Floats
    first: int
    error: float
    power: float
    bent: BentRow | None
    beside: Floats | None

    def lost(self, missed: Floats, channels: Channels) -> float:
        """Error of a pixel, of the brightest, that misses as much of X, Y, Z and irradiance (4,)
        per unit of the aperture's power."""
        brightest = (self.light @ channels.curves).max(axis=0)
        brightest[:3] = brightest[:3].max()
        return float((missed * self.power / np.maximum(brightest, 1e-300)).max())

    def bow_error(self, channels: Channels, geometry: Geometry) -> float:
        """Error of a pixel, of the brightest, by lines that are moved within its width."""
        if self.bent is None:
            return 0.0
        return self.bent.error(self.light @ channels.curves[:, 3], self.beside, geometry)


def sweep_channels(
    field: FarField, geometry: Geometry, ruled: Aperture, wide: WideLight, rows: Rows
) -> ChannelColumns:
    """Light of each pixel column in each channel; the elements depend on u alone."""
    first = first_column(geometry, ruled)
    (term,) = field.terms(again=wide.again)
    light = np.zeros((geometry.sine_edges.size - 1, wide.channels))
    bent = bent_row(geometry, rows) if geometry.margin else None
    aside = None if bent is None or first else bent.sines
    error, exact = wide.add(term.integral, light[first:], aside)
    light[:first] = light[::-1][:first]
    power = float(np.ptp(term.integral.once[[0, -1], 0]))
    return ChannelColumns(light, first, error, power, bent, exact)


@dataclass(frozen=True, eq=False)
class Nodes:
    """What the light of every column at every wavelength node follows from."""

    spectrum: Spectrum
    geometry: Geometry
    ruled: Aperture
    air: AirLike

    def middle(self, rows: Rows, pixel_area_m2: float) -> Floats:
        """(k, nx) [W m-2 nm-1] of the plate's middle row, as `compose` has it."""
        bins = choose(self.spectrum, self.geometry, self.ruled, self.air)
        field = far_field(self.ruled, *reach_per_m(self.geometry, bins, self.ruled))
        columns = sweep(field, self.geometry, bins, self.ruled)
        return middle_spectrum(columns, rows, self.geometry) / pixel_area_m2


def compose_channels(
    columns: ChannelColumns, channels: Channels, rows: Rows, nodes: Nodes, pixel_area_m2: float
) -> Light:
    """Multiply columns by rows, as `compose` does; the middle's spectrum is made when asked for."""
    lower = np.stack(list(_rows(columns, channels, rows, nodes.geometry))) / pixel_area_m2
    plate, profile = on_plate(lower, columns.first, nodes.geometry)
    return Light(
        xyz_lx=plate[0],
        irradiance=plate[1],
        profile_irradiance=profile,
        profile_wavelength_m=rows.node_m,
        profile_spectrum=later(partial(nodes.middle, rows, pixel_area_m2)),
    )


def _rows(
    columns: ChannelColumns, channels: Channels, rows: Rows, geometry: Geometry
) -> Iterator[Floats]:
    """(n, nx') of X, Y, Z and irradiance, the lower half, columns that mirror others left out."""
    light = np.ascontiguousarray(columns.light[columns.first :].T)
    spans = list(intervals(rows.scale, cosines(geometry)[columns.first :]))
    for curve in range(4):
        out = np.empty((rows.weight.shape[2], light.shape[1]))
        for some, s, along in spans:
            low = channels.parts[s][curve].T
            if along is None:
                out[:, some] = low @ light[:, some]
            else:
                high = channels.parts[s + 1][curve].T
                below, above = light[:, some] * (1 - along), light[:, some] * along
                out[:, some] = low @ below + high @ above
        yield out
