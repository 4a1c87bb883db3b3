"""Small scenes and apertures for the tests of the engine."""

from __future__ import annotations

import numpy as np

from wavesim.aperture import Aperture, Comb, Slit
from wavesim.scene import Scene, parse

_TOML = """
schema = 1
[source]
{source}
[bench]
{bench}
[aperture]
{aperture}
[plate]
{plate}
[exposure]
{exposure}
"""


def scene(
    *,
    source: str = 'kind = "blackbody"\ntemperature = "5800 K"',
    bench: str = 'collimator = "600 mm"\ncamera = "1 m"',
    aperture: str = 'kind = "slits"\ncount = 5\nwidth = "40 um"\npitch = "90 um"',
    plate: str = 'width = "20 mm"\nheight = "1 mm"\npixel = "25 um"',
    exposure: str = "",
) -> Scene:
    """A scene from the parts that a test cares about."""
    return parse(
        _TOML.format(source=source, bench=bench, aperture=aperture, plate=plate, exposure=exposure)
    )


def slits(count: int, width_m: float, pitch_m: float, height_m: float = 0.01) -> Aperture:
    """Equal slits about zero."""
    return from_positions(
        (np.arange(count) - (count - 1) / 2) * pitch_m, width_m, pitch_m, height_m
    )


def from_positions(
    position_m: np.ndarray, width_m: float, pitch_m: float, height_m: float = 0.01
) -> Aperture:
    """Equal slits at any places."""
    weight = np.ones(position_m.size, dtype=np.complex128)
    return Aperture((Comb(Slit(width_m), position_m, weight),), height_m, pitch_m)
