"""What `predict` advises: pairs of lines, the slit for them, ghosts that show, orders that miss."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
import pytest

import wavesim
from tests import bench
from tests.narrowing import known
from tests.rulings import grating
from wavesim.study.plate_summary import PlateSummary
from wavesim.study.predict import predict
from wavesim.study.predict.shown_ghosts import of_plate
from wavesim.study.predict.unreached import unreached_warning

SCENES = Path(__file__).resolve().parents[1] / "scenes"
SODIUM_NM = (588.995, 589.5924)


@pytest.mark.parametrize(("order", "needed"), [(1, 987), (2, 494), (3, 330)])
def test_rulings_that_resolve_the_sodium_pair(order: int, needed: int) -> None:
    """lambda / dlambda = 986.5 (Rayleigh, m N); without source slit, pixels far below a line."""
    for count, resolved in ((needed + 2, True), (needed - 3, False)):
        scene = grating(count, pitch_m=1e-5).but(plate__pixel="1 um")
        found = predict(scene, wavelengths_m=tuple(nm * 1e-9 for nm in SODIUM_NM), orders=(order,))
        (pair,) = found.pairs
        assert pair.resolved is resolved
        assert math.isnan(pair.slit_m)  # a laser has no source slit


def test_the_widest_slit_against_a_direct_sum() -> None:
    """Two N-slit lines averaged over slit and pixel, point by point."""
    scene = wavesim.load(SCENES / "sodium_2000.toml")
    (pair,) = predict(scene).pairs
    assert pair.resolved
    count, focal = 2000, scene.bench.camera_focal_m
    pitch = known(scene.aperture.mean_pitch_m)
    image = pair.slit_m / known(scene.bench.collimator_m) * focal
    beta = math.asin(589.3e-9 / pitch)

    def line(x: np.ndarray) -> np.ndarray:
        """sinc^2 with its first zero at lambda f / (N d cos beta)."""
        offsets = np.add.outer(
            np.linspace(-image / 2, image / 2, 801),
            np.linspace(-1, 1, 9) * scene.plate.pixel_m / 2,
        ).ravel()
        zero = 589.3e-9 * focal / (count * pitch * math.cos(beta))
        return np.sinc((x[:, None] - offsets) / zero).__pow__(2).mean(axis=1)

    x = np.linspace(0, pair.separation_m, 101)
    both = line(x - pair.separation_m / 2) + line(x + pair.separation_m / 2)
    middle = 2 * line(np.array([pair.separation_m / 2]))[0]
    # 2 %: end points of the sums, cos(alpha) / cos(beta) taken as 1
    assert middle / both.max() == pytest.approx(8 / math.pi**2, rel=0.02)


def test_the_order_worth_turning_to() -> None:
    """Mercury on 600 rulings/mm: the yellow pair asks for 274; any order resolves it."""
    best = predict(wavesim.load(SCENES / "grating_600_mercury.toml")).best_order
    assert best is not None
    assert best.order == 1
    assert best.resolved == best.pairs > 0
    assert math.sin(best.angle_rad) == pytest.approx(best.wavelength_m * 600e3, rel=1e-6)


def test_a_turntable_is_told_its_turn() -> None:
    """m lambda = 2 d sin(phi) cos(K) on the camera's axis."""
    scene = wavesim.load(SCENES / "grating_1200_green.toml")
    best = predict(scene).best_order
    assert best is not None
    assert best.key == "turn"
    half = known(scene.bench.included_angle_rad) / 2
    product = 2 / 1200e3 * math.sin(best.angle_rad) * math.cos(half)
    assert product == pytest.approx(best.order * best.wavelength_m, rel=1e-9)


def test_ghosts_that_an_exposure_shows_are_on_the_plate() -> None:
    plate = wavesim.expose(wavesim.load(SCENES / "grating_600_ghosts.toml"))
    shown = [ghost for ghost in of_plate(plate) or () if ghost.shown]
    assert {ghost.ghost.harmonics for ghost in shown} >= {(1,), (-1,)}
    row = plate.xyz[plate.xyz.shape[0] // 2, :, 1]
    for ghost in shown[:2]:
        near = np.abs(plate.x_m - ghost.ghost.x_m) < 1.5 * plate.scene.plate.pixel_m
        stops = math.log2(row[near].max() / plate.white_exposure_lx_s)
        assert stops == pytest.approx(ghost.stops, abs=0.35)  # a line between two pixels
    text = " ".join(
        ghost.text for ghost in PlateSummary(plate).sentences if ghost.label == "ghosts"
    )
    assert "order 1" in text
    assert "apparent wavelength" in text


def test_ghosts_too_faint_are_said_not_to_show() -> None:
    scene = wavesim.load(SCENES / "grating_600_ghosts.toml").but(exposure__over=0.0)
    found = predict(scene).shown_ghosts
    assert found is not None
    assert not any(ghost.shown for ghost in found)


def test_a_ruling_too_fine_for_any_order_is_said_so() -> None:
    """6,000/mm at normal incidence: lambda / d > 1 for all visible light."""
    source = 'kind = "blackbody"\ntemperature = "5800 K"'
    fine = bench.scene(
        source=f'{source}\nslit = {{ width = "20 um", height = "4 mm" }}',
        bench='collimator = "600 mm"\ncamera = "1 m"\nviewing = "30 deg"',
        aperture='kind = "grating"\ndensity = "6000 / mm"\ncount = 6000\n'
        'groove = { profile = "slit", width = "80 nm" }',
    )
    warning = predict(fine).warning
    assert warning is not None
    assert "only order 0" in warning
    record = PlateSummary(wavesim.expose(fine)).record()
    assert record["warnings"] == [warning]
    turned = fine.but(aperture__density="1200 / mm", bench__viewing="5 deg")
    assert "viewing = " in (predict(turned).warning or "")


@pytest.mark.parametrize(
    "path", sorted(SCENES.glob("grating_[1-6]*.toml")), ids=lambda path: path.stem
)
def test_no_shipped_scene_misses_its_plate(path: Path) -> None:
    assert unreached_warning(wavesim.load(path)) is None
