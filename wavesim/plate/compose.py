"""From columns of light to the exposed plate."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial

import numpy as np

from wavesim.arrays import Floats
from wavesim.light import Recorder
from wavesim.plate.bins import bands_nm
from wavesim.plate.deferred import deferred, later
from wavesim.plate.geometry import Geometry
from wavesim.plate.kernels import bend_rows, mirror
from wavesim.plate.photometry import sensitivities
from wavesim.plate.rows import Combination, Rows, bowed, combinations, combined, gather, in_pixels
from wavesim.plate.sweep import Columns
from wavesim.threads import each, in_threads

_ROWS = 16  # bowed at once


@deferred("profile_spectrum")
@dataclass(frozen=True, eq=False)
class Light:
    """Light per pixel and along the plate's middle, before any exposure time.

    Attributes
    ----------
    xyz_lx : (ny, nx, 3) [lx]
    irradiance : (ny, nx) [W m-2]
    profile_irradiance : (nx,) [W m-2]
    profile_wavelength_m : (k,) [m]
    profile_spectrum : (k, nx) [W m-2 nm-1]; found when it is first read
    recorded_lx : (ny, nx, 3) [lx] as the scene's observer, sensor or film weighs it, if it has one
    """

    xyz_lx: Floats
    irradiance: Floats
    profile_irradiance: Floats
    profile_wavelength_m: Floats
    profile_spectrum: Floats
    recorded_lx: Floats | None = None

    @property
    def shown_lx(self) -> Floats:
        """(ny, nx, 3) [lx] what a picture shows."""
        return self.xyz_lx if self.recorded_lx is None else self.recorded_lx


def compose(
    columns: Columns,
    row_weights: Rows,
    geometry: Geometry,
    pixel_area_m2: float,
    recorder: Recorder | None = None,
) -> Light:
    """Multiply columns by rows and the observer's curves; bend the rows where lines are bowed."""
    weights = sensitivities(columns.node_m, recorder) / pixel_area_m2
    if geometry.margin:
        lower, first = _bowed_rows(columns, row_weights, weights, geometry), 0
    else:
        lower, first = gather(columns, row_weights, weights, cosines(geometry)), columns.first
    plate, profile = _whole(lower[:4], first, geometry)
    recorded = None
    if recorder is not None:
        (recorded, _), _ = _whole(lower[[4, 5, 6, 3]], first, geometry)
    middle = partial(_spectrum, columns, row_weights, geometry, pixel_area_m2)
    return Light(
        xyz_lx=plate[0],
        irradiance=plate[1],
        profile_irradiance=profile,
        profile_wavelength_m=columns.node_m,
        profile_spectrum=later(middle) if geometry.fine == 1 else middle(),
        recorded_lx=recorded,
    )


def cosines(geometry: Geometry) -> Floats:
    """(nx + 2 margin,) f / sqrt(x^2 + f^2) of each column, which sets its rows' scale."""
    x = geometry.x_of_sine(geometry.sine_edges)
    return np.asarray(geometry.focal_m / np.hypot((x[1:] + x[:-1]) / 2, geometry.focal_m))


def on_plate(lower: Floats, first: int, geometry: Geometry) -> tuple[tuple[Floats, Floats], Floats]:
    """X, Y, Z (ny, nx, 3) and irradiance (ny, nx) of all rows; irradiance (nx,) of the middle one.

    Parameters
    ----------
    lower : (4, n, nx') X, Y, Z and irradiance of the rows of the lower half, without the columns
        before `first`, which mirror those behind
    """
    if geometry.margin:
        whole = np.concatenate([lower[:, :, ::-1][:, :, :first], lower], axis=2)
        if geometry.slit_lean != 0:
            # the upper half is straight as the lower one is, and bends the other way
            whole = np.concatenate([whole, whole[:, : geometry.rows // 2][:, ::-1]], axis=1)
        lower = np.moveaxis(bowed(np.ascontiguousarray(np.moveaxis(whole, 0, 2)), geometry), 2, 0)
        lower, first = np.ascontiguousarray(lower), 0
    return _whole(lower, first, geometry)


def _bowed_rows(columns: Columns, row_weights: Rows, weights: Floats, geometry: Geometry) -> Floats:
    """(c, n, nx) of the rows of the lower half, or of all where the upper one does not mirror
    it; a few rows at a time, which stay in the processor's cache."""
    count = geometry.rows if geometry.slit_lean else geometry.half_rows
    edges = geometry.x_of_sine(geometry.sine_edges)
    wanted = np.stack([geometry.straightened(float(y)) for y in geometry.y_m[:count]])
    out = np.empty((weights.shape[1], count, geometry.x_edges_m.size - 1))
    for channel, weight in zip(out, weights.T, strict=True):
        light = combinations(columns, row_weights, weight, cosines(geometry))

        def some(
            first: int, light: tuple[Combination, ...] = light, target: Floats = channel
        ) -> None:
            rows = np.arange(first, min(first + _ROWS, count))
            lower = combined(light, row_weights, np.minimum(rows, geometry.rows - 1 - rows))
            whole = np.concatenate([lower[:, ::-1][:, : columns.first], lower], axis=1)
            bend_rows(
                whole[..., None], edges, wanted[rows], target[rows[0] : rows[-1] + 1, :, None]
            )

        each(some, range(0, count, _ROWS))
    return out


def _whole(lower: Floats, first: int, geometry: Geometry) -> tuple[tuple[Floats, Floats], Floats]:
    """What `on_plate` finds, of rows that are bowed already."""
    middle = lower[3, geometry.half_rows - 1]
    return _every_row(lower, geometry), np.concatenate([middle[::-1][:first], middle])


def _every_row(plate: Floats, geometry: Geometry) -> tuple[Floats, Floats]:
    """X, Y, Z (ny, nx, 3) and irradiance (ny, nx) of all rows, mirrored where missing."""
    shape = (geometry.rows, geometry.x_edges_m.size - 1)
    if plate.shape[1:] == shape:
        return np.ascontiguousarray(np.moveaxis(plate[:3], 0, 2)), plate[3].copy()
    xyz, irradiance = np.empty((*shape, 3)), np.empty(shape)
    in_threads(lambda part: mirror(plate, part.start, part.stop, xyz, irradiance), plate.shape[1])
    return xyz, irradiance


def _spectrum(
    columns: Columns, row_weights: Rows, geometry: Geometry, pixel_area_m2: float
) -> Floats:
    """(k, nx) [W m-2 nm-1] of the middle row."""
    spectrum = middle_spectrum(columns, row_weights, geometry)
    spectrum /= pixel_area_m2
    return spectrum


def middle_spectrum(columns: Columns, row_weights: Rows, geometry: Geometry) -> Floats:
    """(k, nx) [W m-2 nm-1 x pixel area] of the middle row, by the width of each node's triangle."""
    nodes = columns.node_m
    inner = slice(geometry.margin, columns.light.shape[0] - geometry.margin)
    down = row_weights.weight[0][:, -1]
    per_nm = (down / bands_nm(nodes))[:, None]
    light = in_pixels(columns.light[inner], geometry)
    return np.asarray(np.multiply(light.T, per_nm, order="C"))
