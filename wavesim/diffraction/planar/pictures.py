"""|A|^2 of a picture on an even grid: one FFT, and the envelope of its cell."""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from wavesim.aperture.plane import Lattice
from wavesim.arrays import Complexes, Floats
from wavesim.compiled import compiled
from wavesim.diffraction.planar.summed import Grid
from wavesim.threads import in_threads

_DOUBLE = 1 << 20  # cells up to which the transform is done in double precision


def lattice_grid(
    lattice: Lattice, cells: float, reach: tuple[float, float, float, float], guard: tuple[int, int]
) -> Grid:
    """The FFT's own grid over u0..u1, v0..v1 with at least `cells` samples per 1 / width."""
    ny, nx = lattice.amplitude.shape
    u0, u1, v0, v1 = reach
    step_u = 1.0 / (fast_length(cells * nx) * lattice.cell_m)
    step_v = 1.0 / (fast_length(cells * ny) * lattice.cell_m)
    first_u, first_v = math.floor(u0 / step_u) - guard[0], math.floor(v0 / step_v) - guard[0]
    last_u, last_v = math.ceil(u1 / step_u) + guard[1], math.ceil(v1 / step_v) + guard[1]
    return Grid(
        first_u * step_u,
        step_u,
        last_u - first_u + 1,
        first_v * step_v,
        step_v,
        last_v - first_v + 1,
    )


def fast_length(least: float) -> int:
    """The next product of 2, 3 and 5, even, that is not less than `least`."""
    from scipy.fft import next_fast_len

    return 2 * int(next_fast_len(math.ceil(least / 2 - 1e-9), real=True))


def power_of_lattice(lattice: Lattice, grid: Grid, *, wavelength_m: float | None = None) -> Floats:
    """(nv, nu) |A|^2 [m4]; a picture with phases needs the wavelength.

    Cost: row FFTs of the picture's own rows, then column FFTs of the columns in reach alone:
    three quarters or less of one FFT of the padded picture. Pictures of more than a million
    cells are transformed in single precision (1e-7 of the root-mean-square amplitude).
    """
    if lattice.path_m is not None and wavelength_m is None:
        raise ValueError("a picture with phases has a far field for each wavelength")
    real = lattice.path_m is None
    periods = round(1 / (grid.step_u * lattice.cell_m)), round(1 / (grid.step_v * lattice.cell_m))
    first = round(grid.start_u / grid.step_u), round(grid.start_v / grid.step_v)
    cells: npt.NDArray[np.float32] | Floats | Complexes = (
        lattice.amplitude if real else phased(lattice, float(wavelength_m or 1.0))
    )
    columns = _columns(periods[0], first[0], grid.nu, real=real)
    spectrum = _transform(cells, periods, columns, real=real)
    envelope_u = np.square(lattice.cell_m * np.sinc(lattice.cell_m * grid.u))
    envelope_v = np.square(lattice.cell_m * np.sinc(lattice.cell_m * grid.v))
    where = np.empty(periods[0], dtype=np.int64)
    where[columns] = np.arange(columns.size)
    out = np.empty((grid.nv, grid.nu))
    in_threads(
        lambda part: _fill(
            spectrum, where, (periods, first, real), (envelope_u, envelope_v), part.start, out[part]
        ),
        grid.nv,
    )
    return out


def phased(lattice: Lattice, wavelength_m: float) -> Complexes:
    """Complex amplitude of the cells at a wavelength."""
    if lattice.path_m is None:
        return lattice.amplitude.astype(np.complex128)
    turn = np.exp(2j * np.pi / wavelength_m * lattice.path_m)
    return np.asarray(lattice.amplitude * turn, dtype=np.complex128)


def _columns(period: int, first: int, count: int, *, real: bool) -> npt.NDArray[np.int64]:
    """Columns of the transform that the grid reads; of a real picture the first half will do."""
    wanted = np.unique(np.arange(first, first + min(count, period)) % period)
    if real:
        wanted = np.unique(np.minimum(wanted, period - wanted))
    return wanted


def _transform(
    cells: npt.NDArray[np.float32] | Floats | Complexes,
    periods: tuple[int, int],
    columns: npt.NDArray[np.int64],
    *,
    real: bool,
) -> npt.NDArray[np.complexfloating]:
    """(period_v, columns) two-dimensional transform at those columns."""
    import scipy.fft

    double = cells.size <= _DOUBLE or not real
    cells = cells.astype(np.float64) if double and real else cells
    along = scipy.fft.rfft if real else scipy.fft.fft
    kind = np.complex128 if double else np.complex64
    out = np.zeros((periods[1], columns.size), dtype=kind)
    block = max(1, (1 << 24) // periods[0])  # rows at a time
    for first in range(0, cells.shape[0], block):
        rows = along(cells[first : first + block], n=periods[0], axis=1, workers=2)
        whole = columns.size == rows.shape[1]
        out[first : first + block][: rows.shape[0]] = rows if whole else rows[:, columns]
    return np.asarray(scipy.fft.fft(out, axis=0, overwrite_x=True, workers=2))


@compiled()
def _fill(spectrum, where, frame, envelope, start, out):  # type: ignore[no-untyped-def]
    (period_u, period_v), (first_u, first_v), real = frame
    for j in range(out.shape[0]):
        kv = (first_v + start + j) % period_v
        for i in range(out.shape[1]):
            ku = (first_u + i) % period_u
            row = kv
            if real and 2 * ku > period_u:
                ku = period_u - ku
                row = (period_v - kv) % period_v
            a = spectrum[row, where[ku]]
            power = np.float64(a.real) ** 2 + np.float64(a.imag) ** 2
            out[j, i] = power * envelope[0][i] * envelope[1][start + j]
