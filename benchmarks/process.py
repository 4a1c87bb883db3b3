"""`wavesim expose` as a whole process, against a Python that only imports what it needs.

python -m benchmarks.process    where the process's time goes, part by part
"""

from __future__ import annotations

import json
import os
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.row import Row

SCENE = Path(__file__).parents[1] / "scenes" / "slits_005.toml"
LIBRARIES = ("numpy", "numba", "finufft", "h5py", "pydantic", "PIL.Image", "click")
RUNS = 10  # the fastest counts: other work on the machine only adds
PARTS = f"""
import importlib, json, os, time
os.environ["OPENBLAS_NUM_THREADS"] = "1"  # as the command does
marks = [("Python itself", time.process_time())]
def mark(name):
    marks.append((name, time.process_time()))
for name in {LIBRARIES}:
    importlib.import_module(name)
    mark("import " + name)
from wavesim.scene import load
mark("import wavesim.scene, and pydantic's parts with it")
scene = load({str(SCENE)!r})
mark("read the scene")
import wavesim.lightpath
mark("import wavesim.lightpath")
plate = wavesim.lightpath.expose(scene, progress=mark)  # called as each stage begins
mark("end")
plate.picture()
mark("picture")
plate.save("plate.h5")
mark("HDF5")
plate.save_png("plate.png")
mark("PNG")
from wavesim.study.plate_summary import PlateSummary
PlateSummary(plate).sentences
mark("sentences")
print(json.dumps(marks))
"""


def rows() -> list[Row]:
    """Second and later runs, in turn: processor time, and time by the clock beside it."""
    with tempfile.TemporaryDirectory() as folder:
        expose = [
            *(sys.executable, "-m", "wavesim", "expose", str(SCENE)),
            *("-o", f"{folder}/plate.h5", "--png", f"{folder}/plate.png"),
        ]
        commands = {
            "expose": expose,
            "imports": [sys.executable, "-c", f"import {', '.join(LIBRARIES)}"],
            "help": [sys.executable, "-m", "wavesim", "--help"],
        }
        times: dict[str, list[tuple[float, float]]] = {name: [] for name in commands}
        for _ in range(RUNS):
            for name, command in commands.items():
                times[name].append(_seconds(command))
    ours, bare, helped = (min(used for used, _ in times[name][1:]) for name in commands)
    clock, bare_clock, _ = (min(took for _, took in times[name][1:]) for name in commands)
    return [
        Row(
            "wavesim expose, whole process, second run",
            f"{ours:.2f} s of processor time, {clock:.2f} s by the clock",
            f"imports alone {bare:.2f} s: {ours / bare:.2f} x; by the clock {bare_clock:.2f} s: "
            f"{clock / bare_clock:.2f} x",
            "2 x",
            ours <= 2 * bare,
        ),
        Row("wavesim --help, whole process", f"{helped:.2f} s", "", "0.3 s", helped <= 0.3),
    ]


def _seconds(command: list[str]) -> tuple[float, float]:
    """User and system time of a finished command, and how long it took [s]."""
    before, begin = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run(command, check=True, capture_output=True, cwd=SCENE.parents[1], env=_usual())
    took, after = time.perf_counter() - begin, resource.getrusage(resource.RUSAGE_CHILDREN)
    return (after.ru_utime + after.ru_stime) - (before.ru_utime + before.ru_stime), took


def _usual() -> dict[str, str]:
    """The environment with Python keeping compiled modules, as it does unless told otherwise."""
    return {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}


def parts() -> dict[str, float]:
    """Processor time of each part of an exposure [s], the fastest of several runs of each."""
    fastest: dict[str, float] = {}
    environment = _usual() | {"PYTHONPATH": str(SCENE.parents[1])}
    with tempfile.TemporaryDirectory() as folder:
        for _ in range(RUNS):
            done = subprocess.run(
                [sys.executable, "-c", PARTS],
                check=True, capture_output=True, text=True, cwd=folder, env=environment,
            )  # fmt: skip
            for name, seconds in _durations(json.loads(done.stdout)):
                fastest[name] = min(seconds, fastest.get(name, seconds))
    return fastest


def _durations(marks: list[tuple[str, float]]) -> list[tuple[str, float]]:
    """Time of each part, from marks set at its end; a stage of the exposure is marked as it
    begins, so that its time runs to the next mark."""
    names = [name for name, _ in marks]
    first, last = names.index("light"), names.index("end")
    names[first : last + 1] = ["begin", *names[first:last]]
    times = [seconds for _, seconds in marks]
    spans = [b - a for a, b in zip([0.0, *times], times, strict=False)]
    return list(zip(names, spans, strict=True))


if __name__ == "__main__":
    found = parts()
    for name, seconds in found.items():
        print(f"{seconds * 1e3:6.0f} ms  {name}")
    print(f"{sum(found.values()) * 1e3:6.0f} ms  together")
