"""The shipped scenes and their plates, each read and exposed once."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

import wavesim

SCENES = Path(__file__).resolve().parents[1] / "scenes"
NAMES = sorted(path.stem for path in SCENES.glob("*.toml"))


@cache
def scene(name: str) -> wavesim.Scene:
    return wavesim.load(SCENES / f"{name}.toml")


@cache
def plate(name: str) -> wavesim.Plate:
    return wavesim.expose(scene(name))


def maxima(values: np.ndarray) -> np.ndarray:
    """Indices of samples above both neighbours."""
    return np.flatnonzero((values[1:-1] > values[:-2]) & (values[1:-1] > values[2:])) + 1


def nearest_maximum(name: str, x_m: float, *, dark: bool = False) -> float:
    """x of the maximum (or minimum) along the plate's middle that lies nearest to `x_m`."""
    light = plate(name).profile_irradiance
    positions = plate(name).x_m[maxima(-light if dark else light)]
    return float(positions[np.argmin(np.abs(positions - x_m))])
