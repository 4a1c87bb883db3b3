"""`wavesim expose` as a whole process, against a Python that only imports what it needs."""

from __future__ import annotations

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.row import Row

SCENE = Path(__file__).parents[1] / "scenes" / "slits_005.toml"
LIBRARIES = "numpy, numba, finufft, h5py, pydantic, PIL.Image, click"


def rows() -> list[Row]:
    """Second and later runs, in turn."""
    with tempfile.TemporaryDirectory() as folder:
        expose = [
            *(sys.executable, "-m", "wavesim", "expose", str(SCENE)),
            *("-o", f"{folder}/plate.h5", "--png", f"{folder}/plate.png"),
        ]
        imports = [sys.executable, "-c", f"import {LIBRARIES}"]
        help_ = [sys.executable, "-m", "wavesim", "--help"]
        times: dict[str, list[float]] = {"expose": [], "imports": [], "help": []}
        for _ in range(6):
            for name, command in (("expose", expose), ("imports", imports), ("help", help_)):
                begin = time.perf_counter()
                subprocess.run(command, check=True, capture_output=True)
                times[name].append(time.perf_counter() - begin)
    ours, bare, helped = (statistics.median(times[k][1:]) for k in ("expose", "imports", "help"))
    return [
        Row(
            "wavesim expose, whole process, second run",
            f"{ours:.2f} s",
            f"imports alone {bare:.2f} s: {ours / bare:.2f} x",
            "2 x",
            ours <= 2 * bare,
        ),
        Row("wavesim --help, whole process", f"{helped:.2f} s", "", "0.3 s", helped <= 0.3),
    ]
