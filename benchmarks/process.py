"""`wavesim expose` as a whole process, against a Python that only imports what it needs."""

from __future__ import annotations

import resource
import statistics
import subprocess
import sys
import tempfile
from pathlib import Path

from benchmarks.row import Row

SCENE = Path(__file__).parents[1] / "scenes" / "slits_005.toml"
# loading a first kernel makes numba read its registries, which no program with numba can avoid
FIRST_KERNEL = """
import numpy as np
from wavesim.farfield.exact import direct_sum
direct_sum(np.ones(1, complex), np.ones(1), np.ones(1), np.zeros(1), np.ones(1, complex))
"""
LIBRARIES = "numpy, numba, finufft, h5py, pydantic, PIL.Image, click"


def rows() -> list[Row]:
    """Second and later runs, in turn: processor time, which other work leaves alone."""
    with tempfile.TemporaryDirectory() as folder:
        expose = [
            *(sys.executable, "-m", "wavesim", "expose", str(SCENE)),
            *("-o", f"{folder}/plate.h5", "--png", f"{folder}/plate.png"),
        ]
        commands = {
            "expose": expose,
            "imports": [sys.executable, "-c", f"import {LIBRARIES}"],
            "kernel": [sys.executable, "-c", f"import {LIBRARIES}\n{FIRST_KERNEL}"],
            "help": [sys.executable, "-m", "wavesim", "--help"],
        }
        times: dict[str, list[float]] = {name: [] for name in commands}
        for _ in range(6):
            for name, command in commands.items():
                times[name].append(_processor_seconds(command))
    ours, bare, kernel, helped = (statistics.median(times[name][1:]) for name in commands)
    return [
        Row(
            "wavesim expose, whole process, second run",
            f"{ours:.2f} s",
            f"imports alone {bare:.2f} s: {ours / bare:.2f} x",
            "2 x",
            ours <= 2 * bare,
        ),
        Row(
            "the same",
            f"{ours:.2f} s",
            f"imports and one cached kernel {kernel:.2f} s: {ours / kernel:.2f} x",
            "2 x",
            ours <= 2 * kernel,
        ),
        Row("wavesim --help, whole process", f"{helped:.2f} s", "", "0.3 s", helped <= 0.3),
    ]


def _processor_seconds(command: list[str]) -> float:
    """User and system time of a finished command [s]."""
    before = resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, capture_output=True, cwd=SCENE.parents[1])
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime + after.ru_stime) - (before.ru_utime + before.ru_stime)
