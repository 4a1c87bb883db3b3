"""Time and memory of a 4,096 x 512 picture against a plain matrix-and-clip conversion.

    python -m benchmarks.picture [--json]

The plain conversion is numpy alone: one matrix, clip, the sRGB curve, rounding to 8 bits. Both
start from the same float64 XYZ: half of it a spectrum out of the gamut, half white fringes, up
to four stops over. Time is the best of five in one process; start-up is the first call of a
fresh process, with compiled code in its cache, after another compiled function has paid for
numba's own start. Peak is numpy's own account
of what each allocates beyond its input.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

from benchmarks.row import Row
from wavesim.colorimetry import Rendering, picture
from wavesim.colorimetry.spaces import encode, rgb_space
from wavesim.light.observer import observer

ROWS, COLUMNS, REPEATS = 512, 4096, 5
Array = NDArray[np.float64]

FIRST_CALL = """
import time, numpy as np, numba
from wavesim.colorimetry import picture
numba.njit("f8(f8)")(lambda x: x)
start = time.perf_counter()
picture(np.ones((8, 8, 3)), white_xyz=(0.95, 1, 1.09), white_level=1.0)
print(time.perf_counter() - start)
"""


def plate_like() -> tuple[Array, Array]:
    """XYZ (rows, columns, 3) with white at Y = 1, and the white (3,)."""
    wavelength_m, cmf = observer()
    white = cmf.sum(axis=0) / cmf[:, 1].sum()
    wavelengths = np.linspace(390e-9, 700e-9, COLUMNS)
    spectrum = np.stack([np.interp(wavelengths, wavelength_m, curve) for curve in cmf.T], axis=-1)
    fringes = np.cos(np.linspace(0, 300, COLUMNS))[:, None] ** 2 * white
    strength = np.exp2(np.linspace(-4, 4, ROWS // 2))[:, None, None]
    return np.concatenate([spectrum * strength, fringes * strength]), white


def plain(xyz: Array) -> NDArray[np.uint8]:
    """Matrix, clip, curve, round: hues shift and nothing is balanced or dithered."""
    linear = np.clip(xyz @ rgb_space("srgb").from_xyz().T, 0, 1)
    return np.asarray(np.round(encode(linear) * 255), dtype=np.uint8)


def best_s(work: Callable[[], object]) -> float:
    """Shortest wall time [s] of REPEATS runs after one to warm up."""
    work()
    times = []
    for _ in range(REPEATS):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def peak_mib(work: Callable[[], object]) -> float:
    """Largest extra allocation during one run [MiB]."""
    tracemalloc.start()
    work()
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    return peak / 2**20


def first_call_s() -> float:
    """First small picture of a fresh process [s], numba already started."""
    command = [sys.executable, "-c", FIRST_CALL]
    results = [
        subprocess.run(command, check=True, capture_output=True, text=True) for _ in range(3)
    ]
    return min(float(result.stdout) for result in results)


def measure() -> dict[str, dict[str, float]]:
    """Rows of the table: seconds, ratio to plain, peak MiB."""
    xyz, white = plate_like()
    rows: dict[str, Callable[[], object]] = {"plain numpy": lambda: plain(xyz)}
    for name, style in {
        "picture": Rendering(),
        "picture, not dithered": Rendering(dither=False),
        "picture, CSS Color 4": Rendering(gamut="css"),
        "picture, 16 bit P3": Rendering(space="display-p3", depth=16),
    }.items():
        rows[name] = lambda style=style: picture(  # type: ignore[misc]
            xyz, white_xyz=white, white_level=1.0, rendering=style
        )
    table = {}
    for name, work in rows.items():
        table[name] = {"seconds": best_s(work), "peak_MiB": peak_mib(work)}
    for row in table.values():
        row["ratio"] = row["seconds"] / table["plain numpy"]["seconds"]
    table["first call of a process"] = {"seconds": first_call_s()}
    return table


def rows() -> list[Row]:
    """The line of the table."""
    found = measure()
    ours, bare = found["picture"], found["plain numpy"]
    return [
        Row(
            f"picture of {COLUMNS:,} x {ROWS} pixels from XYZ",
            f"{ours['seconds']:.2f} s, {ours['peak_MiB']:.0f} MiB beside the input",
            f"a matrix and a clip: {bare['seconds']:.2f} s, {bare['peak_MiB']:.0f} MiB; "
            f"{ours['ratio']:.2f} x",
            "0.3 s",
            ours["seconds"] <= 0.3,
        )
    ]


def main() -> None:
    """Print the table, or JSON."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--json", action="store_true")
    table = measure()
    if parser.parse_args().json:
        print(json.dumps(table, indent=2))
        return
    print(f"{COLUMNS} x {ROWS} pixels, input {ROWS * COLUMNS * 24 / 2**20:.0f} MiB")
    print(f"{'':26}{'seconds':>9}{'of plain':>10}{'peak MiB':>10}")
    for name, row in table.items():
        ratio = f"{row['ratio']:10.2f}{row['peak_MiB']:10.1f}" if "ratio" in row else ""
        print(f"{name:26}{row['seconds']:9.3f}{ratio}")


if __name__ == "__main__":
    main()
