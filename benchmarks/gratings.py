"""60,000 displaced rulings in white light, and how cost grows."""

from __future__ import annotations

import itertools

import numpy as np

from benchmarks.bench import from_positions
from benchmarks.references import displaced_rulings
from benchmarks.row import Row, median_seconds, taken_in_turn
from benchmarks.slits import PIXELS, exposed, flat_bins, flat_plate
from wavesim import plate
from wavesim.diffraction import far
from wavesim.diffraction.far.running import CELLS

PITCH_M = 1e-3 / 600
PAIR_S = 2e-9  # one reading of the table, the unit of the comparison


def rows() -> list[Row]:
    """Time of the white plate, and growth with rulings and wavelengths."""
    return [_white_plate(), _growth(), _wavelengths()]


def _white_plate() -> Row:
    count, wavelengths = 60_000, 20_000
    ruled = from_positions(displaced_rulings(count, PITCH_M), PITCH_M / 2, PITCH_M)
    geometry, bins = flat_plate(0.06, np.radians(19.5)), flat_bins(wavelengths)
    first, last = plate.reach_per_m(geometry, bins, ruled)
    samples = int(CELLS * ruled.width_m * (last - first))
    ours, bare = taken_in_turn(
        lambda: exposed(ruled, geometry, bins), lambda: bare_transform(ruled, samples), 5
    )
    unit = bare + PIXELS * wavelengths * PAIR_S
    return Row(
        f"60,000 displaced rulings, {PIXELS:,} pixels, {wavelengths:,} wavelengths",
        f"{ours:.2f} s",
        f"bare transform {bare * 1e3:.0f} ms + pairs at 2 ns {unit:.2f} s: {ours / unit:.2f} x",
        "1 s, 3 x",
        ours <= 1.0 and ours <= 3 * unit,
    )


def bare_transform(ruled: object, samples: int) -> None:
    """The non-uniform FFT alone, to as many frequencies."""
    from finufft import nufft1d1

    from wavesim.aperture import Aperture

    assert isinstance(ruled, Aperture)
    comb = ruled.combs[0]
    angle = comb.position_m * (2 * np.pi / (CELLS * ruled.width_m))
    nufft1d1(angle, comb.weight, samples, isign=-1, eps=1e-12)


def _growth() -> Row:
    times = []
    counts = (60_000, 240_000, 960_000)
    for count in counts:
        ruled = from_positions(displaced_rulings(count, PITCH_M), PITCH_M / 2, PITCH_M)
        times.append(median_seconds(lambda r=ruled: far.far_field(r, 0.55e6, 0.65e6), 3))
    steps = [b / a for a, b in itertools.pairwise(times)]
    wanted = 4 * np.log(counts[2]) / np.log(counts[1])
    return Row(
        "far field, four times the rulings (60,000, 240,000, 960,000)",
        ", ".join(f"{s:.2f} x" for s in steps),
        f"N log N: {wanted:.2f} x",
        "N log N",
        max(steps) <= 1.5 * wanted,
    )


def _wavelengths() -> Row:
    ruled = from_positions(displaced_rulings(60_000, PITCH_M), PITCH_M / 2, PITCH_M)
    geometry = flat_plate(0.06, np.radians(19.5))
    reaches = [plate.reach_per_m(geometry, flat_bins(n), ruled) for n in (401, 20_000)]
    times = taken_in_turn(*(lambda r=reach: far.far_field(ruled, *r) for reach in reaches), runs=5)
    return Row(
        "far field for 20,000 wavelengths",
        f"{times[1] * 1e3:.0f} ms",
        f"for 401: {times[0] * 1e3:.0f} ms, {times[1] / times[0]:.2f} x",
        "flat",
        times[1] <= 1.2 * times[0],
    )
