"""Rulings built by hand and scenes of gratings, for checks of the engine by order mu."""

from __future__ import annotations

import numpy as np

from wavesim import aperture, scene
from wavesim.aperture import Aperture, Comb, Slit
from wavesim.diffraction.far import amplitude

PITCH_M = 2.0**-19  # 1.9 um; a power of two, so that places n d are exact numbers
WAVELENGTH_M = 500e-9
SLIT_M = PITCH_M / 5  # wide enough to count, narrow enough to light every order up to the fourth


def by_hand(position: np.ndarray, weight: np.ndarray | float = 1.0) -> Aperture:
    """Slits at `position` (n,) in pitches."""
    ones = np.ones(position.size, dtype=np.complex128)
    return Aperture((Comb(Slit(SLIT_M), position * PITCH_M, weight * ones),), 0.01, PITCH_M)


def factor(ruled: Aperture, mu: list[float] | np.ndarray) -> np.ndarray:
    """|A(mu)|^2 over the envelope and (sum of weights)^2, from the engine's amplitude."""
    order = np.asarray(mu, dtype=np.float64)
    sine = order * WAVELENGTH_M / ruled.pitch_m
    intensity = np.abs(amplitude(ruled, 0.0, sine, WAVELENGTH_M)) ** 2
    width = ruled.combs[0].element.width_m
    envelope = width * np.sinc(width * order / ruled.pitch_m)
    total = sum(np.abs(comb.weight.sum()) for comb in ruled.combs)
    return intensity / (envelope * total) ** 2


TEXT = """
schema = 1
[source]
kind = "laser"
wavelength = "{wavelength}"
[bench]
camera = "1 m"
{bench}
[aperture]
kind = "grating"
count = {count}
pitch = "{pitch_m!r} m"
groove = {{ profile = "slit", width = "{width_m!r} m" }}
{defects}
[plate]
width = "100 mm"
height = "1 mm"
pixel = "20 um"
"""


def grating(
    count: int,
    *defects: str,
    bench: str = "",
    pitch_m: float = PITCH_M,
    width_m: float | None = None,
    wavelength: str = "500 nm",
) -> scene.Scene:
    """A scene of a slit grating with defects given as TOML lines."""
    tables = "\n".join("[[aperture.defects]]\n" + text for text in defects)
    return scene.parse(
        TEXT.format(
            count=count,
            defects=tables,
            bench=bench,
            pitch_m=pitch_m,
            width_m=pitch_m / 5 if width_m is None else width_m,
            wavelength=wavelength,
        )
    )


def periodic(amplitude: float, period: float, *, phase_deg: float = 0.0) -> str:
    """A periodic displacement of `amplitude` pitches and `period` rulings."""
    return (
        f'kind = "periodic"\namplitude = "{amplitude * PITCH_M!r} m"\nperiod = {period!r}\n'
        f'phase = "{phase_deg} deg"'
    )


def built(*arguments: object, **options: object) -> Aperture:
    """The engine's aperture of `grating`."""
    return aperture.build(grating(*arguments, **options))  # type: ignore[arg-type]
