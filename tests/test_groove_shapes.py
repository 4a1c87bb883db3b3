"""Trapezoidal and multilevel grooves, from a scene to their orders."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import wavesim
from wavesim.errors import SceneError

PITCH_M, WAVELENGTH_M = 100e-6, 550e-9
SCENE = """\
schema = 1
title = "Grooves"
[source]
kind = "laser"
wavelength = "550 nm"
power = "1 mW"
[bench]
collimator = "600 mm"
camera = "1 m"
[aperture]
kind = "grating"
count = 100
density = "{density} / mm"
height = "10 mm"
mounting = "{mounting}"
groove = {{ {groove} }}
{more}
[plate]
width = "60 mm"
height = "7.5 mm"
pixel = "25 um"
[exposure]
time = "auto"
"""
RIDGE = 'profile = "trapezoidal", depth = "200 nm", top = 0.3, bottom = 0.4'
CORNERS = ((0, 0), (0.2, 0), (0.35, 200), (0.65, 200), (0.8, 0), (1, 0))  # of the pitch, nm


def scene(
    groove: str, density: int = 10, mounting: str = "transmission", more: str = "", folder: str = ""
) -> wavesim.Scene:
    text = SCENE.format(groove=groove, density=density, mounting=mounting, more=more)
    if not folder:
        return wavesim.parse(text)
    (Path(folder) / "scene.toml").write_text(text)
    return wavesim.load(Path(folder) / "scene.toml")


def corner_table(folder: Path, pitch_um: float) -> None:
    rows = "\n".join(f"{x * pitch_um:.9f},{height}" for x, height in CORNERS)
    (folder / "ridge.csv").write_text(f"place_um,height_nm\n{rows}\n")


@pytest.mark.parametrize("mounting", ["transmission", "reflection"])
@pytest.mark.parametrize("levels", [2, 3, 4, 8, 16])
def test_levels_send_sinc_squared_of_one_level_into_the_first_order(
    levels: int, mounting: str
) -> None:
    """sinc^2(1 / N): 41, 68, 81, 95, 99 % (Goodman, Introduction to Fourier Optics)."""
    step = WAVELENGTH_M / levels / (0.5 if mounting == "transmission" else 2)  # n - 1, or both ways
    depth_nm = (levels - 1) * step * 1e9
    groove = f'profile = "multilevel", depth = "{depth_nm} nm", levels = {levels}, index = 1.5'
    sines = np.array([1, -1]) * WAVELENGTH_M / PITCH_M
    amplitude = wavesim.amplitude(scene(groove, mounting=mounting), sines, WAVELENGTH_M)
    first, opposite = np.abs(amplitude) ** 2 / (100 * PITCH_M) ** 2
    assert first == pytest.approx(np.sinc(1 / levels) ** 2, rel=1e-4)  # angles of 0.3 deg: 1e-5
    assert opposite == pytest.approx(first if levels == 2 else 0.0, abs=1e-4)


def test_a_trapezoid_is_the_table_of_its_corners(tmp_path: Path) -> None:
    corner_table(tmp_path, 100.0)
    table = scene('profile = "table", file = "ridge.csv"', folder=str(tmp_path))
    sines = np.linspace(-0.2, 0.3, 41)
    expected = wavesim.amplitude(table, sines, WAVELENGTH_M)
    found = wavesim.amplitude(scene(RIDGE), sines, WAVELENGTH_M)
    assert np.abs(found - expected).max() < 1e-12 * np.abs(expected).max()


@pytest.mark.slow
def test_a_trapezoid_of_metal_is_the_table_of_its_corners(tmp_path: Path) -> None:
    """And, met along the normal, it treats both sides alike."""
    corner_table(tmp_path, 1e3 / 1200)
    metal = {"density": 1200, "mounting": "reflection", "more": 'material = "aluminium"'}
    table = 'profile = "table", file = "ridge.csv", theory = "rigorous"'
    of_corners = efficiencies(scene(table, folder=str(tmp_path), **metal))  # type: ignore[arg-type]
    ridge = efficiencies(scene(f'{RIDGE}, theory = "rigorous"', **metal))  # type: ignore[arg-type]
    for order in (-1, 0, 1):
        assert ridge[order] == pytest.approx(of_corners[order], abs=1e-5)
    assert ridge[1] == pytest.approx(ridge[-1], abs=1e-6)


@pytest.mark.slow
def test_levels_of_a_few_wavelengths_favour_the_first_order_by_rigorous_theory() -> None:
    """Less than scalar theory's 81 % less the reflections of both faces: each edge scatters."""
    groove = (
        'profile = "multilevel", depth = "825 nm", levels = 4, index = 1.5, theory = "rigorous"'
    )
    found = efficiencies(scene(groove, density=200))
    assert np.all(found[1] > 0.6)
    assert np.all(found[1] < np.sinc(1 / 4) ** 2 * 0.96**2)
    assert np.all(found[-1] < 0.02)


def efficiencies(of_scene: wavesim.Scene) -> dict[int, np.ndarray]:
    """Efficiency at 550 nm of orders -1, 0 and 1, along and across."""
    found = wavesim.efficiency(
        of_scene, order=(-1, 0, 1), from_="549 nm", to="551 nm", points=3, tolerance=1e-2
    )
    return {order.order: np.array([order.along[1], order.across[1]]) for order in found.orders}


def test_walls_need_some_width() -> None:
    with pytest.raises(SceneError, match=r"aperture\.groove\.bottom.*inclined walls.*binary"):
        scene('profile = "trapezoidal", depth = "200 nm", top = 0.6, bottom = 0.4')
    with pytest.raises(SceneError, match=r"levels"):
        scene('profile = "multilevel", depth = "200 nm", levels = 1')
