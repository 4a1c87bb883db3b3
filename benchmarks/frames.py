"""A path that remembers: one slider moved after another, a preview with its picture each time."""

from __future__ import annotations

import itertools
import time
from pathlib import Path

import numpy as np

from benchmarks.columns import seconds
from benchmarks.row import Row
from wavesim.colorimetry import Rendering
from wavesim.colorimetry.plates import developed
from wavesim.lightpath import LightPath, expose
from wavesim.scene import Scene, load, parse

SLITS = Path(__file__).parents[1] / "scenes" / "slits_005.toml"
COLUMNS, ROWS = 1200, 60
_GRATING = """
[source]
kind = "sun"
slit = { width = "20 um", height = "4 mm" }
[[source.filters]]
kind = "bandpass"
centre = "550 nm"
width = "300 nm"
[bench]
collimator = "600 mm"
camera = "600 mm"
viewing = "19.3 deg"
[aperture]
kind = "grating"
count = 20000
density = "600 / mm"
[[aperture.defects]]
kind = "periodic"
amplitude = "10 nm"
period = 96
[plate]
width = "60 mm"
height = "8 mm"
pixel = "10 um"
"""
_SLIDERS = {
    "slits": {
        "aperture.count": [3, 4, 6, 7, 9],
        "aperture.width": ["30 um", "35 um", "45 um"],
        "aperture.pitch": ["80 um", "100 um", "110 um"],
        "exposure.over": [0.0, 1.0, 3.0],
        "source.slit.width": ["10 um", "30 um"],
    },
    "grating of 20,000": {
        "aperture.count": [19_000, 19_500],
        "aperture.density": ["590 / mm", "610 / mm"],
        "aperture.defects.0.amplitude": ["2 nm", "20 nm"],
        "source.filters.0.centre": ["500 nm", "600 nm"],
        "exposure.over": [0.0, 1.0, 2.0],
    },
}


def rows() -> list[Row]:
    """Frames of slits and of a grating, and a whole plate with its picture."""
    frames = [_frames("slits", load(SLITS)), _frames("grating of 20,000", parse(_GRATING))]
    return [*frames, _whole()]


def _frames(name: str, scene: Scene) -> Row:
    path = LightPath()
    _frame(path, scene)
    wall, used = [], []
    for key, values in _SLIDERS[name].items():
        for value in values:
            moved = scene.but({key: value})
            begin, clock = time.process_time(), time.perf_counter()
            _frame(path, moved)
            wall.append(time.perf_counter() - clock)
            used.append(time.process_time() - begin)
        _frame(path, scene)
    fresh = seconds(lambda: developed(expose(scene), Rendering()), 1)
    most = float(np.quantile(wall, 0.95))
    return Row(
        f"preview {COLUMNS:,} x {ROWS} with picture, one slider moved: {name}",
        f"median {np.median(wall) * 1e3:.0f} ms, 95 % within {most * 1e3:.0f} ms; processor "
        f"{np.median(used) * 1e3:.0f} ms",
        f"the whole plate anew: {fresh * 1e3:.0f} ms of processor time, "
        f"{fresh / float(np.median(used)):.0f} x",
        "15 ms, 33 ms",
        bool(np.median(wall) <= 0.015 and most <= 0.033),
    )


def _frame(path: LightPath, scene: Scene) -> None:
    path.preview(scene, COLUMNS, ROWS).picture()


def _whole() -> Row:
    scene = load(SLITS)
    expose(scene).picture()
    wall, used = [], []
    for _ in itertools.repeat(None, 7):
        begin, clock = time.process_time(), time.perf_counter()
        expose(scene).picture()
        wall.append(time.perf_counter() - clock)
        used.append(time.process_time() - begin)
    return Row(
        "whole slits_005 with picture, warm, nothing remembered",
        f"{np.median(wall) * 1e3:.0f} ms, processor {np.median(used) * 1e3:.0f} ms",
        "",
        "100 ms",
        bool(np.median(wall) <= 0.1),
    )
