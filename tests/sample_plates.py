"""Plates made in a few lines, without the engine, for tests of storing and drawing."""

from __future__ import annotations

import numpy as np

from tests import bench
from wavesim.light.observer import cie1931
from wavesim.plate import Plate, Report

APERTURE = """\
kind = "slits"
count = {count}
width = "40 um"
pitch = "90 um"

[[aperture.defects]]
kind = "random"
rms = "4 nm"
seed = 7"""


def slit_plate(
    count: int = 6, *, nx: int = 300, ny: int = 40, nw: int = 48, flat: bool = True
) -> Plate:
    """N slits of 40 um at 90 um in equal-energy light: sinc^2 times interference, camera 1 m."""
    x_m = (np.arange(nx) - (nx - 1) / 2) * (0.06 / nx)
    y_m = (np.arange(ny) - (ny - 1) / 2) * (0.008 / ny)
    wavelength_m = np.linspace(380e-9, 760e-9, nw)
    profile = _profile(count, x_m, wavelength_m)
    rows = np.ones(ny) if flat else np.exp(-((y_m / 0.003) ** 2))
    colours = _cmf(wavelength_m)
    xyz = profile.T @ colours
    white = colours.sum(axis=0) / colours[:, 1].sum()
    level = 0.78
    xyz *= level / xyz[:, 1].max()
    irradiance = profile.sum(axis=0)
    return Plate(
        x_m=x_m,  # type: ignore[arg-type]
        y_m=y_m,  # type: ignore[arg-type]
        irradiance=rows[:, None] * irradiance,
        xyz=rows[:, None, None] * xyz,
        profile_irradiance=irradiance,
        profile_wavelength_m=wavelength_m,
        profile_spectrum=profile,
        scene=bench.scene(
            f"{count} slits in white light, Übungsraum",
            source='kind = "illuminant"\nname = "E"',
            aperture=APERTURE.format(count=count),
            plate='width = "60 mm"\nheight = "8 mm"\npixel = "10 um"',
        ),
        white_xyz=white,
        white_exposure_lx_s=level,
        exposure_s=1 / 30,
        report=Report(
            elements=count,
            wavelengths=nw,
            smoothing="a point source",
            pixel_error=1.3e-7,
            bin_error=2e-9,
            seconds={"light": 0.1, "far field": 1 / 3},
            seeds=(7,),
            cautions=("Never look into the sun.",),
            notes=("A note in plain words: λ < d.",),
        ),
    )


def _profile(count: int, x_m: np.ndarray, wavelength_m: np.ndarray) -> np.ndarray:
    u = x_m / np.hypot(x_m, 1.0) / wavelength_m[:, None]
    half = np.pi * 90e-6 * u
    with np.errstate(divide="ignore", invalid="ignore"):
        interference = np.where(
            np.abs(np.sin(half)) < 1e-9, 1.0, np.sin(count * half) / (count * np.sin(half))
        )
    return np.asarray((np.sinc(40e-6 * u) * interference) ** 2)


def _cmf(wavelength_m: np.ndarray) -> np.ndarray:
    table_m, cmf = cie1931()
    return np.stack([np.interp(wavelength_m, table_m, column) for column in cmf.T], axis=1)
