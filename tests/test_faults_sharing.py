"""What is handed out is shared: nobody can spoil it for others, and a fork leaves nobody waiting.

There is no outside source: a second exposure shows whether the first was spoilt.
"""

from __future__ import annotations

import importlib
import os
import signal
import subprocess
import sys
import threading
import time
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from threadpoolctl import threadpool_info, threadpool_limits

import wavesim
from tests.bench import SMALL_SCENE
from wavesim import light
from wavesim.grooves import efficiency
from wavesim.light import sun
from wavesim.threads import one_blas_thread

ROOT = Path(__file__).resolve().parents[1]
PATIENCE_S = 60.0


def test_the_light_of_a_scene_cannot_be_written_to() -> None:
    scene = wavesim.parse(SMALL_SCENE)
    for spectrum in (light.of_scene(scene), sun.irradiance("above", lo_m=5e-7, hi_m=5.01e-7)):
        for name in ("lo_m", "hi_m", "coefficient"):
            with pytest.raises(ValueError, match="read-only"):
                getattr(spectrum, name)[...] = 0.0
    for shared in (*sun.g173(), sun.lines().depth, sun.lines().wavelength_m):
        with pytest.raises(ValueError, match="read-only"):
            shared[...] = 0.0


def test_a_spectrum_leaves_the_arrays_that_it_was_made_of_alone() -> None:
    lo, hi = np.array([5e-7]), np.array([6e-7])
    light.Spectrum(lo, hi, np.ones((1, 5)), "radiance")
    lo[0] = 4e-7  # still the caller's own


def test_a_picture_is_that_of_the_light_that_is_there() -> None:
    """Neither the plate nor its picture can be changed, so that they cannot come apart."""
    plate = wavesim.expose(wavesim.parse(SMALL_SCENE))
    for array in (plate.xyz, plate.irradiance, plate.x_m, plate.picture()):
        with pytest.raises(ValueError, match="read-only"):
            array[...] = 0


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="no forks here")
def test_a_fork_while_threads_expose_can_expose() -> None:
    scene = wavesim.parse(SMALL_SCENE)
    wanted = wavesim.expose(scene).xyz
    ends = threading.Event()

    def work() -> None:
        while not ends.is_set():
            wavesim.expose(scene)

    threads = [threading.Thread(target=work) for _ in range(3)]
    for thread in threads:
        thread.start()
    try:
        for _ in range(6):
            child = os.fork()
            if child == 0:
                os._exit(0 if np.array_equal(wavesim.expose(scene).xyz, wanted) else 1)
            assert _status(child) == 0
    finally:
        ends.set()
        for thread in threads:
            thread.join()


FORK_BESIDE_GARBAGE = """
import gc, os, threading, time
import wavesim
from tests.bench import SMALL_SCENE

scene = wavesim.parse(SMALL_SCENE)
wavesim.expose(scene)
import h5py

busy = threading.Event()

def drop(stage):
    file = h5py.File("memory", "w", driver="core", backing_store=False)
    ring = [file.create_group("ring")]
    ring.append(ring)
    del file, ring
    busy.set()
    time.sleep(0.05)
    gc.collect()

worker = threading.Thread(target=lambda: wavesim.expose(scene, progress=drop))
worker.start()
busy.wait()
child = os.fork()
if child == 0:
    os._exit(0)
assert os.waitpid(child, 0)[1] == 0
worker.join()
"""


@pytest.mark.slow
@pytest.mark.skipif(not hasattr(os, "fork"), reason="no forks here")
def test_a_fork_waits_for_work_that_clears_away_what_was_read_from_a_file() -> None:
    """h5py locks itself before a fork: the fork must wait for the work before that lock is held."""
    command = [sys.executable, "-W", "ignore", "-c", FORK_BESIDE_GARBAGE]
    subprocess.run(command, check=True, cwd=ROOT, timeout=PATIENCE_S)


def _status(child: int) -> int:
    """Exit status of a child that must end in time."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        ended, status = os.waitpid(child, os.WNOHANG)
        if ended:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.01)
    os.kill(child, signal.SIGKILL)
    os.waitpid(child, 0)
    return -1


importlib.import_module("scipy.linalg")  # its library, too, is loaded, and set to two below


def blas_threads() -> set[int]:
    return {
        library["num_threads"] for library in threadpool_info() if library["user_api"] == "blas"
    }


def test_one_thread_to_a_matrix_while_anybody_asks_for_it() -> None:
    with threadpool_limits(2, user_api="blas"):
        first, second = one_blas_thread(), one_blas_thread()
        first.__enter__()
        second.__enter__()
        first.__exit__(None, None, None)  # not in the order of a stack: as two threads would
        assert blas_threads() == {1}
        second.__exit__(None, None, None)
        assert blas_threads() == {2}


def test_grooves_take_one_thread_to_a_matrix(monkeypatch: pytest.MonkeyPatch) -> None:
    counts: list[set[int]] = []
    scatter = vars(efficiency)["scatter"]

    def watched(*given: Any) -> object:
        counts.append(blas_threads())
        return scatter(*given)

    monkeypatch.setattr(efficiency, "scatter", watched)
    first_nm = 600 + time.time() % 1  # nothing that a cache holds
    scene = wavesim.load(ROOT / "scenes" / "anomalies_along.toml")
    with threadpool_limits(2, user_api="blas"):
        wavesim.efficiency(scene, order=1, from_=first_nm * 1e-9, to="603 nm", points=3)
        assert blas_threads() == {2}
    assert counts
    assert all(count == {1} for count in counts)
