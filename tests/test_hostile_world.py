"""A hostile world in small: mutants of all that is read, and the same light on any day.

The counts of a full patrol come from `python -m benchmarks.hostile`. What a patrol found is kept
here by name, as it was found or as small as it shows the same.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from tests.mutations import ROOT, patrol
from tests.small_scene import SMALL_SCENE
from wavesim.errors import InputError
from wavesim.lightpath import expose
from wavesim.scene import load, parse

# ---- mutants: a result or a sentence


@pytest.mark.parametrize(
    ("what", "mutants"),
    [
        ("scenes", 120),
        ("plates", 60),
        ("tables", 40),
        ("displacements", 30),
        ("measurements", 60),
        ("pictures", 40),
    ],
)
def test_a_mutant_ends_in_a_result_or_in_a_sentence(what: str, mutants: int) -> None:
    count = patrol(what, range(mutants))
    assert not count.faults, count.words()
    assert count.mutants == mutants
    assert count.kinds["result"] > 0  # some mutants are still good: the bounds are not all there is
    assert sum(count.kinds.values()) - count.kinds["result"] > mutants // 5


def test_a_fault_is_seen() -> None:
    """The judge itself: a traceback, a warning, a message of two lines."""
    import warnings

    from tests.mutations import judge

    def warns() -> str:
        warnings.warn("overflow", RuntimeWarning, stacklevel=1)
        return "done"

    def two_lines() -> str:
        raise InputError("wrong\nand worse")

    assert judge(0, lambda: str(1 // 0)).words.startswith("ZeroDivisionError at test_hostile")
    assert judge(0, warns).words.startswith("warning: overflow")
    assert judge(0, two_lines).kind == "FAULT"
    assert judge(0, lambda: "done").kind == "result"


# ---- the same bits: any number of threads, any run

GRATING = SMALL_SCENE.replace(
    'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"',
    'kind = "grating"\ncount = 3000\ndensity = "600 / mm"\n'
    'defects = [{ kind = "periodic", amplitude = "8 nm", period = 96 }, '
    '{ kind = "random", rms = "5 nm", seed = 3 }]',
).replace('camera = "1 m"', 'camera = "1 m"\nviewing = "19.3 deg"')
HOLES = SMALL_SCENE.replace(
    'kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"',
    'kind = "mesh"\ncount_x = 6\ncount_y = 5\npitch_x = "90 um"\n'
    'hole = { kind = "disc", diameter = "40 um" }',
).replace('slit = { width = "20 um", height = "4 mm" }', 'disc = "32 arcmin"')
NEAR = SMALL_SCENE.replace(
    'collimator = "600 mm"\ncamera = "1 m"', 'source_distance = "2 m"\nplate_distance = "500 mm"'
)
SCENES = {"slits": SMALL_SCENE, "grating with errors": GRATING, "holes": HOLES, "near": NEAR}

_EXPOSE = """
import os, sys
threads = int(sys.argv[1])
os.cpu_count = lambda: threads
os.sched_setaffinity(0, sorted(os.sched_getaffinity(0))[:threads])
from tests.test_hostile_world import keep_all
keep_all(sys.argv[2])
"""


def numbers() -> dict[str, np.ndarray]:
    """All light of all scenes, exposed in this process."""
    found = {}
    for name, text in SCENES.items():
        plate = expose(parse(text))
        found[f"{name}, irradiance"], found[f"{name}, xyz"] = plate.irradiance, plate.xyz
        found[f"{name}, spectrum"], found[f"{name}, picture"] = (
            plate.profile_spectrum,
            plate.picture(),
        )
    return found


def keep_all(path: str) -> None:
    np.savez(path, **numbers())


def exposed_on(threads: int, path: Path) -> dict[str, np.ndarray]:
    """The same from a fresh process of so many threads, whose BLAS has one."""
    home = {**os.environ, "PYTHONPATH": str(ROOT), "OPENBLAS_NUM_THREADS": "1"}
    home["OMP_NUM_THREADS"] = home["NUMBA_NUM_THREADS"] = str(threads)
    subprocess.run(
        [sys.executable, "-c", _EXPOSE, str(threads), str(path)],
        cwd=ROOT,
        env=home,
        check=True,
    )
    with np.load(path) as file:
        return dict(file)


def test_the_same_bits_from_one_thread_and_from_two_and_from_run_to_run(tmp_path: Path) -> None:
    """Of our own threads and of finufft's: always. OpenBLAS rounds a large matrix product
    otherwise when it shares it between threads: then to a few roundings, and the same picture.
    """
    here, again = numbers(), numbers()
    one, two = (exposed_on(threads, tmp_path / f"{threads}.npz") for threads in (1, 2))
    assert len(one) == 4 * len(SCENES)
    for name, light in one.items():
        assert np.array_equal(here[name], again[name]), f"{name}: two runs differ"
        assert np.array_equal(light, two[name]), f"{name}: one thread and two differ"
        if light.dtype == np.uint8:
            assert np.array_equal(light, here[name]), f"{name}: the machine's own threads differ"
        else:  # a sum of k terms differs by a few roundings of 1.1e-16 of its largest
            np.testing.assert_allclose(here[name], light, rtol=0, atol=4e-15 * np.abs(light).max())


# ---- what patrols found


def refused(text: str, tmp_path: Path, words: str) -> None:
    (tmp_path / "mutant.toml").write_text(text)
    with pytest.raises(InputError, match=words):
        expose(load(tmp_path / "mutant.toml"))


def test_a_displacement_of_terabytes(tmp_path: Path) -> None:
    import h5py

    with h5py.File(tmp_path / "measured.h5", "w") as file:
        file.create_dataset("error", (10**13,), "f8", chunks=(1024,))
        file["error"].attrs["units"] = "nm"
    scene = SMALL_SCENE.replace(
        "[plate]",
        '[[aperture.defects]]\nkind = "table"\nfile = "measured.h5"\ndataset = "error"\n[plate]',
    )
    refused(scene, tmp_path, "measured.h5: error: is too large for a table")
