"""Compiled loops come from the cache on disk without numba's compiler."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]
# what numba imports before it compiles anything, and the kernels of a plate of slits
COMPILER = ("scipy.linalg", "numba.np.arraymath", "numba.np.random.generator_methods")
EXPOSE = f"""
import sys
import wavesim
plate = wavesim.expose(wavesim.load("scenes/slits_005_green.toml"))
plate.picture()
print([m for m in {COMPILER} if m in sys.modules])
print(plate.xyz.sum().hex())
"""


@pytest.mark.slow
def test_a_cached_kernel_leaves_the_compiler_alone(tmp_path: Path) -> None:
    compiling, light = _run(tmp_path)
    fetching, same = _run(tmp_path)
    assert compiling == str(list(COMPILER))  # nothing was found, so numba made itself ready
    assert fetching == "[]"
    assert same == light


def _run(cache: Path) -> list[str]:
    environment = os.environ | {"NUMBA_CACHE_DIR": str(cache)}
    done = subprocess.run(
        [sys.executable, "-c", EXPOSE],
        cwd=ROOT, env=environment, capture_output=True, text=True, check=True,
    )  # fmt: skip
    return done.stdout.splitlines()
