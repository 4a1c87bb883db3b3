"""Small scenes and apertures for benchmarks and tests of the engine."""

from __future__ import annotations

import numpy as np

from wavesim.aperture import Aperture, Comb, Slit
from wavesim.scene import Scene, parse


def text(title: str = "", **tables: str) -> str:
    """A scene file from the bodies of its tables; those left out are the usual ones below."""
    bodies = {
        "source": 'kind = "blackbody"\ntemperature = "5800 K"',
        "bench": 'collimator = "600 mm"\ncamera = "1 m"',
        "aperture": 'kind = "slits"\ncount = 5\nwidth = "40 um"\npitch = "90 um"',
        "plate": 'width = "20 mm"\nheight = "1 mm"\npixel = "25 um"',
        **tables,
    }
    written = [f"[{name}]\n{body}\n" for name, body in bodies.items()]
    named = f'title = "{title}"\n' if title else ""
    return "\n".join(["schema = 1", named, *written])


def scene(title: str = "", **tables: str) -> Scene:
    """The scene that `text` writes."""
    return parse(text(title, **tables))


# exposed in a few hundredths of a second
SMALL_SCENE = text(
    "Three slits",
    source='kind = "sun"\nslit = { width = "20 um", height = "4 mm" }',
    aperture='kind = "slits"\ncount = 3\nwidth = "40 um"\npitch = "90 um"',
    plate='width = "20 mm"\nheight = "2 mm"\npixel = "100 um"',
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
