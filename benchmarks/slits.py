"""A white-light plate of 250 slits against one FFT of a sampled mask per wavelength."""

from __future__ import annotations

import numpy as np

from benchmarks.bench import slits
from benchmarks.row import Row, median_seconds
from benchmarks.sampled_mask import SampledMask
from wavesim import plate
from wavesim.aperture import Aperture
from wavesim.diffraction import far
from wavesim.plate import Bins, Geometry, Smoothing

PIXELS, WAVELENGTHS = 4096, 4001
COUNT, WIDTH_M, PITCH_M = 250, 40e-6, 90e-6


def rows() -> list[Row]:
    """Time and error of both."""
    ruled, geometry, bins = slits(COUNT, WIDTH_M, PITCH_M), flat_plate(0.06, 0.0), flat_bins()
    ours = median_seconds(lambda: exposed(ruled, geometry, bins))
    mask = SampledMask(ruled.combs[0].position_m, WIDTH_M, 1e-6, 1.0, geometry.x_m)
    some = slice(None, None, 20)
    plain = median_seconds(lambda: mask.plate(bins.wavelength_m[some], bins.power[some]), 3) * 20
    error, plain_error = _errors(ruled, geometry, bins, mask)
    return [
        Row(
            f"250 slits, {PIXELS:,} pixels, {WAVELENGTHS:,} wavelengths",
            f"{ours * 1e3:.0f} ms",
            f"one FFT per wavelength: {plain:.2f} s, {plain / ours:.0f} x",
            "30 ms, 100 x",
            ours <= 0.030 and plain / ours >= 100,
        ),
        Row(
            "error of the same, largest over pixels",
            f"{error:.1e} of the brightest",
            f"sampled mask: {plain_error:.1e}, {plain_error / error:.0f} x",
            "1,000 x",
            plain_error / error >= 1000,
        ),
    ]


def flat_plate(width_m: float, axis_rad: float) -> Geometry:
    """A one-row plate of `PIXELS` pixels behind a camera of one metre."""
    x = np.linspace(-width_m / 2, width_m / 2, PIXELS + 1)
    return Geometry(
        x_edges_m=x,
        y_edges_m=np.array([-5e-6, 5e-6]),
        margin=0,
        sine_edges=np.sin(axis_rad + np.arctan(x)),
        sine_in=0.0,
        slit_sines=None,
        slit_rise=None,
        focal_m=1.0,
        axis_rad=axis_rad,
    )


def flat_bins(count: int = WAVELENGTHS) -> Bins:
    """Equal light in `count` even bins from 380 to 780 nm, nodes every nanometre."""
    edges = np.linspace(380e-9, 780e-9, count + 1)
    middle = (edges[1:] + edges[:-1]) / 2
    node = np.arange(380, 781) * 1e-9
    first = np.searchsorted(middle, node).astype(np.int64)
    first[-1] = count
    return Bins(
        edges[:-1], edges[1:], middle, np.full(count, 1 / count), node, first, Smoothing.POINT, 0.0
    )


def exposed(ruled: Aperture, geometry: Geometry, bins: Bins) -> np.ndarray:
    """(nx,) light of each column: far field and pass, nothing kept from an earlier call."""
    field = far.far_field(ruled, *plate.reach_per_m(geometry, bins, ruled))
    return plate.sweep(field, geometry, bins, ruled).light


def _errors(
    ruled: Aperture, geometry: Geometry, bins: Bins, mask: SampledMask
) -> tuple[float, float]:
    """Largest errors over a sample of pixels at every tenth wavelength, of the brightest."""
    few = Bins(
        *(a[::10] for a in (bins.lo_m, bins.hi_m, bins.wavelength_m, bins.power)),
        bins.node_m,
        np.searchsorted(bins.wavelength_m[::10], bins.node_m).astype(np.int64),
        Smoothing.POINT,
        0.0,
    )
    few.first[-1] = few.power.size
    ours = exposed(ruled, geometry, few).sum(axis=1)
    plain = mask.plate(few.wavelength_m, few.power) * np.diff(geometry.sine_edges)
    picked = np.arange(5, PIXELS, 64)
    exact = np.array([_exact(geometry, few, int(i)) for i in picked])
    return (
        float(np.abs(ours[picked] - exact).max() / ours.max()),
        float(np.abs(plain[picked] - exact).max() / ours.max()),
    )


def _exact(geometry: Geometry, bins: Bins, pixel: int) -> float:
    """Closed form of N equal slits by Gauss-Legendre over the pixel."""
    node, weight = np.polynomial.legendre.leggauss(12)
    lo, hi = geometry.sine_edges[pixel], geometry.sine_edges[pixel + 1]
    u = ((lo + hi) / 2 + (hi - lo) / 2 * node) / bins.wavelength_m[:, None]
    phase = np.pi * u * PITCH_M
    with np.errstate(invalid="ignore", divide="ignore"):
        comb = np.sin(COUNT * phase) / np.sin(phase)
    comb = np.where(np.abs(np.sin(phase)) < 1e-9, COUNT, comb)
    power = (WIDTH_M * np.sinc(WIDTH_M * u) * comb) ** 2
    return float((power @ weight) @ (bins.power / bins.wavelength_m)) * (hi - lo) / 2
