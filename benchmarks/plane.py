"""A picture of 4,096 x 4,096 cells on a plate of 1,024 x 1,024 pixels in 401 wavelengths.

    python -m benchmarks.plane [--json] [--side N]

Against, in the same run: one real FFT of the padded picture (8,192 square), the same pass at
2 ns for each pair of pixel and wavelength, and the plain way, one padded FFT per wavelength
(its transform alone, timed once and taken 401 times). Also: 100,000 random discs against a
direct sum over a part of the directions. Times are medians of three rounds after one run to warm
up, all steps in turn in each round; where other programs run beside, the ratio of processor times
(two threads counted double) tells more than that of wall times.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import time
from collections.abc import Callable

import numpy as np
import scipy.fft

from benchmarks.row import Row
from wavesim.aperture.plane import Group, Lattice, PlaneAperture, RectangleElement, disc
from wavesim.diffraction.planar import plan_table, plane_amplitude, plane_table
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.sweep import reach_of, sweep_plane

PAIR_S = 2e-9
WAVELENGTH_M = np.linspace(380e-9, 780e-9, 401)
CELL_M, PIXEL, FOCAL_M = 10e-6, 40e-6, 1.0


def took_s(work: Callable[[], object]) -> tuple[float, float]:
    """Wall and processor time [s]."""
    begin, busy = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - begin, time.process_time() - busy


def picture(side: int) -> PlaneAperture:
    """Clear discs and squares at random on black, antialiased by nothing: half the cells clear."""
    random = np.random.default_rng(5)
    coarse = random.random((side // 8, side // 8)) < 0.5
    grey = np.kron(coarse, np.ones((8, 8), dtype=bool)).astype(np.float32)
    lattice = Lattice(RectangleElement(CELL_M, CELL_M), CELL_M, grey)
    return PlaneAperture((), lattice, float(grey.sum()) * CELL_M**2)


def plate(pixels: int) -> tuple[Frame, Frame]:
    """The whole frame and its upper half."""
    edges = (np.arange(pixels + 1) - pixels / 2) * PIXEL / FOCAL_M
    return Frame(edges, edges, (0, 0), True), Frame(edges, edges[pixels // 2 :], (0, 0), True)


def bitmap(side: int, pixels: int) -> dict[str, float]:
    """Times [s] of the picture's plate and of what it is measured against."""
    aperture = picture(side)
    _, half = plate(pixels)
    weight = np.random.default_rng(1).random((WAVELENGTH_M.size, 4))
    padded = np.zeros((2 * side, 2 * side))
    padded[:side, :side] = aperture.lattice.amplitude if aperture.lattice else 0.0
    plan = plan_table(aperture, reach_of(half, WAVELENGTH_M, 0.0))
    tables = [plane_table(aperture, plan)]

    def fill() -> None:
        tables[0] = plane_table(aperture, plan)

    def sweep() -> None:
        sweep_plane(tables[0], half, 0.0, WAVELENGTH_M, weight)

    sweep()
    steps = (lambda: scipy.fft.rfft2(padded, workers=2), fill, sweep)
    rounds = [[took_s(step) for step in steps] for _ in range(3)]
    (fft_s, fft_cpu), (table_s, table_cpu), (sweep_s, sweep_cpu) = (
        tuple(statistics.median(r[k][i] for r in rounds) for i in (0, 1)) for k in range(3)
    )
    pairs = pixels * pixels * WAVELENGTH_M.size
    return {
        "samples per 1/width": plan.cells,
        "real FFT [s]": fft_s,
        "pass at 2 ns [s]": pairs * PAIR_S,
        "table [s]": table_s,
        "sweep [s]": sweep_s,
        "ns per pair": sweep_s / pairs * 1e9,
        "ratio to FFT and pass": (table_s + sweep_s) / (fft_s + pairs * PAIR_S),
        "ratio, processor time": (table_cpu + sweep_cpu) / (fft_cpu + 2 * pairs * PAIR_S),
        "FFT per wavelength [s]": fft_s * WAVELENGTH_M.size,
        "times faster": fft_s * WAVELENGTH_M.size / (table_s + sweep_s),
        "peak memory [GB]": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e6,
    }


def discs(count: int = 100_000) -> dict[str, float]:
    """Times [s] of the far field of random discs and of a direct sum on a part of it."""
    random = np.random.default_rng(3)
    x, y = (random.random((2, count)) - 0.5) * 10e-3
    group = Group(disc(20e-6), x, y, np.ones(count))
    aperture = PlaneAperture((group,), None, count * group.element.open_area_m2)
    plan = plan_table(aperture, (-1e5, 1e5, 0.0, 1e5))
    plane_table(aperture, plan)
    table_s, _ = took_s(lambda: plane_table(aperture, plan))
    u = random.random(2000) * 1e5
    begin = time.perf_counter()
    plane_amplitude(aperture, u, u)
    direct_s = (time.perf_counter() - begin) / u.size * plan.samples
    return {"samples": plan.samples, "table [s]": table_s, "direct sum [s]": direct_s,
            "times faster": direct_s / table_s}  # fmt: skip


def rows() -> list[Row]:
    """The lines of the table."""
    found, scattered = bitmap(4096, 1024), discs()
    wall, faster = found["ratio to FFT and pass"], found["times faster"]
    table_s, direct_s = scattered["table [s]"], scattered["direct sum [s]"]
    return [
        Row(
            "aperture 4,096 square, plate 1,024 square, 401 wavelengths",
            f"{found['table [s]'] + found['sweep [s]']:.2f} s, {found['peak memory [GB]']:.1f} GB",
            f"one 8,192-square real FFT and the pass at 2 ns: {wall:.2f} x; "
            f"an FFT per wavelength: {faster:.0f} times slower",
            "2 x, 100 x",
            wall <= 2 and faster >= 100,
        ),
        Row(
            "far field of 100,000 random discs",
            f"{table_s:.2f} s",
            f"direct sum (from 2,000 directions): {direct_s:.0f} s",
            "-",
            table_s < direct_s,
        ),
    ]


def main() -> None:
    """Print the figures."""
    options = argparse.ArgumentParser(description=__doc__)
    options.add_argument("--json", action="store_true")
    options.add_argument("--side", type=int, default=4096)
    options.add_argument("--pixels", type=int, default=1024)
    options.add_argument("--discs", type=int, default=100_000)
    given = options.parse_args()
    found = {"picture": bitmap(given.side, given.pixels)}
    if given.discs:
        found["discs"] = discs(given.discs)
    if given.json:
        print(json.dumps(found, indent=2))
        return
    for name, figures in found.items():
        print(name)
        for what, value in figures.items():
            print(f"  {what:26s} {value:12.4g}")


if __name__ == "__main__":
    main()
