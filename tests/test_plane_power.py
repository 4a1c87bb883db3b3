"""The errors that a plate in two dimensions states: table, wavelengths, knots of the near field."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

import wavesim.plate.plane.expose as stage
from tests import bench
from tests.parameters import slow_but
from wavesim.aperture.plane import Lattice, PlaneAperture, RectangleElement
from wavesim.diffraction.planar.tables import Reach, SamplingPlan, plane_table
from wavesim.lightpath import expose
from wavesim.plate.plane.frame import Frame
from wavesim.plate.plane.source import Extent
from wavesim.plate.plane.sweep import reach_of, sweep_plane
from wavesim.plate.plane.wavelengths import Steps
from wavesim.scene import Scene

CELL, SIDE, WAVE = 10e-6, 96, 550e-9


def _picture() -> PlaneAperture:
    random = np.random.default_rng(5)
    coarse = random.random((SIDE // 8, SIDE // 8)) < 0.5
    grey = np.kron(coarse, np.ones((8, 8), dtype=bool)).astype(np.float32)
    lattice = Lattice(RectangleElement(CELL, CELL), CELL, grey)
    return PlaneAperture((), lattice, float(grey.sum()) * CELL**2)


def _swept(cells: float, frame: Frame) -> np.ndarray:
    wavelengths = np.array([WAVE])
    reach: Reach = reach_of(frame, wavelengths, 0.0)
    table = plane_table(_picture(), SamplingPlan(cells, reach, 0, 0))
    return sweep_plane(table, frame, 0.0, wavelengths, np.ones((1, 1)))[0]


@pytest.mark.parametrize("pixel", [1.0, 3.0])
@pytest.mark.parametrize("cells", slow_but([4], [2, 3, 4, 6, 10]))
def test_table_keeps_to_its_stated_error(cells: float, pixel: float) -> None:
    edges = (np.arange(65) - 32) * pixel * WAVE / (SIDE * CELL)  # in units of lambda / width
    frame = Frame(edges, edges, (0, 0), straight=True)  # type: ignore[arg-type]
    exact = _swept(24, frame)
    away = np.ones(exact.shape, dtype=bool)
    away[28:36, 28:36] = False  # the bright middle would set the mean
    off = (_swept(cells, frame) - exact)[away].std() / exact[away].mean()
    size = _picture().size_m
    stated = SamplingPlan(cells, (0, 1, 0, 1), 0, 0).error / stage.averaged(
        size, frame, Extent((0.0, 0.0))
    )
    assert stated / 30 < off < stated


def in_sunlight(distances: str, aperture: str) -> Scene:
    """The Sun through a pinhole, a collimator, and what stands there."""
    return bench.scene(
        source='kind = "sun"\nslit = { width = "20 um", height = "20 um" }',
        bench=f'collimator = "600 mm"\n{distances}',
        aperture=aperture,
        plate='width = "4 mm"\nheight = "4 mm"\npixel = "40 um"',
    )


DISC = 'kind = "disc"\ndiameter = "0.5 mm"'
DOTS = 'kind = "dots"\ncount = 400\ndiameter = "40 um"\nstop = { diameter = "3 mm" }'


def _finer(factor: float) -> Callable[..., object]:
    plain = stage.choose_wavelengths  # type: ignore[attr-defined]

    def finer(spectrum: object, steps: Steps, **options: object) -> object:
        step = min(steps.inverse_per_m, 1e-3 / 550e-9) / factor
        return plain(spectrum, replace(steps, inverse_per_m=step), **options)  # type: ignore[arg-type]

    return finer


@pytest.mark.parametrize("aperture", slow_but([DISC], [DISC, DOTS]))
def test_wavelengths_keep_to_their_stated_error(
    aperture: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    scene = in_sunlight('camera = "1 m"', aperture)
    plate = expose(scene)
    monkeypatch.setattr(stage, "choose_wavelengths", _finer(3.0))
    exact = expose(scene)
    assert exact.report.wavelengths > 3 * plate.report.wavelengths
    off = np.abs(plate.irradiance - exact.irradiance).max() / exact.irradiance.max()
    assert off < plate.report.bin_error


@pytest.mark.slow
def test_knots_keep_to_their_stated_error(monkeypatch: pytest.MonkeyPatch) -> None:
    scene = in_sunlight('plate_distance = "150 mm"', DISC)
    side = {"plate.width": "1 mm", "plate.height": "1 mm", "plate.pixel": "20 um"}
    plate = expose(scene := scene.but(side))  # the smaller the plate, the fewer the knots
    plain = stage.near_knots  # type: ignore[attr-defined]
    monkeypatch.setattr(stage, "near_knots", lambda w, size, far, at: plain(w, size, far / 3, at))
    exact = expose(scene)
    off = np.abs(plate.irradiance - exact.irradiance).max() / exact.irradiance.max()
    assert off < plate.report.bin_error
    assert plate.report.notes != exact.report.notes  # more wavelengths were computed
