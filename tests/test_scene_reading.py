"""Good scenes are read, come back unchanged, and say in SI what they said in words."""

from __future__ import annotations

import inspect
import json
import math
import subprocess
import sys
from pathlib import Path

import pytest
from pydantic import BaseModel

from tests.scene_texts import GOOD, edited, text
from wavesim import scene as scenes
from wavesim.errors import SceneError
from wavesim.scene.messages import tables_of

SHIPPED = sorted((Path(__file__).parents[1] / "scenes").glob("*.toml"))


@pytest.mark.parametrize("name", GOOD)
def test_a_good_scene_comes_back_from_its_text_and_from_its_values(name: str) -> None:
    scene = scenes.parse(text(GOOD[name]))
    assert scenes.parse(scene.text) == scene
    values = json.loads(json.dumps(scenes.resolved(scene), allow_nan=False))
    again = scenes.from_resolved(values, text=scene.text)
    assert again == scene
    assert hash(again) == hash(scene)
    assert again.text == scene.text


def test_the_good_scenes_use_every_key_of_the_format() -> None:
    used: set[tuple[str, str]] = set()
    for table in GOOD.values():
        _note(scenes.parse(text(table)), used)
    declared = {
        (_declaring(model, key), key)
        for model in tables_of(scenes.Scene)
        for key in model.model_fields
    }
    assert declared - used == set()


def _declaring(model: type[BaseModel], key: str) -> str:
    return next(base.__name__ for base in model.__mro__ if key in inspect.get_annotations(base))


def _note(value: object, used: set[tuple[str, str]]) -> None:
    if isinstance(value, tuple):
        for item in value:
            _note(item, used)
    elif isinstance(value, BaseModel):
        for key in type(value).model_fields:
            inner = getattr(value, key)
            if key in value.model_fields_set:
                used.add((_declaring(type(value), key), key))
            _note(inner, used)


def test_values_are_si() -> None:
    scene = scenes.parse(text(GOOD["grating by width"]))
    grating = scene.aperture
    assert isinstance(grating, scenes.Grating)
    assert grating.rulings == 72_002  # floor(60 mm / 0.8333 um), by hand
    assert isinstance(grating.groove, scenes.BlazedGroove)
    assert grating.groove.facet_angle_rad == pytest.approx(math.radians(18), rel=1e-15)
    assert scene.plate.pixels_x == 6000  # although 0.06 / 1e-05 is 5999.999... in floats
    assert scene.plate.pixels_y == 800


def test_waves_count_in_their_wavelength() -> None:
    errors = scenes.parse(text(GOOD["blurred"])).bench.aberrations
    assert errors is not None
    assert errors.spherical_m == pytest.approx(0.25 * 550e-9, rel=1e-15)
    assert errors.coma_m == 140e-9
    assert errors.astigmatism_m == pytest.approx(-0.5 * 550e-9, rel=1e-15)


@pytest.mark.parametrize("turn_deg", [-20.0, 0.0, 12.0, 40.0])
def test_included_angle_and_turn_put_the_order_on_the_camera_axis(turn_deg: float) -> None:
    """m lambda = 2 d sin(turn) cos(K) (design; identity of the sum of two sines)."""
    bench = scenes.Bench(
        camera_m=1.0, included_angle_rad=math.radians(30), turn_rad=math.radians(turn_deg)
    )
    path = math.sin(bench.alpha_rad) + math.sin(bench.camera_axis_rad)
    expected = 2 * math.sin(math.radians(turn_deg)) * math.cos(math.radians(15))
    assert path == pytest.approx(expected, abs=1e-15)  # a few roundings of numbers near one


def test_the_camera_looks_at_the_zero_order_unless_told() -> None:
    bench = scenes.Bench(camera_m=1.0, incidence_rad=0.3)
    assert (bench.alpha_rad, bench.camera_axis_rad) == (0.3, -0.3)


def test_plate_edges_and_middles() -> None:
    plate = scenes.PlateFormat(width_m=5e-3, height_m=2e-3, pixel_m=1e-3, centre_m=7e-3)
    # by hand: five pixels of 1 mm about x = 7 mm, two about y = 0
    assert plate.x_edges_m() == pytest.approx([4.5e-3, 5.5e-3, 6.5e-3, 7.5e-3, 8.5e-3, 9.5e-3])
    assert plate.x_m() == pytest.approx([5e-3, 6e-3, 7e-3, 8e-3, 9e-3])
    assert plate.y_m() == pytest.approx([-0.5e-3, 0.5e-3])
    assert plate.x_range_m == pytest.approx((4.5e-3, 9.5e-3))


def test_a_hexagon_has_its_area() -> None:
    hexagon = scenes.PolygonShape(sides=6, radius_m=2.0)
    assert hexagon.area_m2 == pytest.approx(6 * math.sqrt(3), rel=1e-14)  # 3 sqrt(3) / 2 r^2
    assert hexagon.corners_m[0] == pytest.approx((0.0, 2.0), abs=1e-15)


def test_spans_convert_both_ways() -> None:
    assert scenes.Span(rulings=96).in_metres(2e-6) == pytest.approx(192e-6)
    assert scenes.Span(length_m=192e-6).in_rulings(2e-6) == pytest.approx(96)


def test_rulings_are_counted_from_one_in_files_and_from_zero_inside() -> None:
    assert scenes.MissingDefect(rulings=(3, 1, 3)).indices == (0, 2)
    assert scenes.StepDefect(size_m=1e-7).rulings_before(9) == 5
    assert scenes.StepDefect(size_m=1e-7, ruling=500).rulings_before(15_000) == 500


def test_python_builds_scenes_from_numbers_or_texts() -> None:
    source = scenes.Laser(wavelength_m="632.8 nm")  # type: ignore[arg-type]
    assert source.wavelength_m == 632.8e-9
    with pytest.raises(
        SceneError, match=r"^wavelength_m: is out of range .* from 360 nm to 830 nm$"
    ):
        scenes.Laser(wavelength_m=1064e-9)
    with pytest.raises(SceneError, match=r'^wavelenth_m: is an unknown key; .*"wavelength_m"'):
        scenes.Laser(wavelenth_m=500e-9)  # type: ignore[call-arg]


def test_files_do_not_know_the_names_of_fields() -> None:
    with pytest.raises(SceneError, match=r'pixel_m: is an unknown key; .*"pixel"'):
        scenes.parse(text({**GOOD["sun"], "plate": {"width": "6 mm", "height": "6 mm",
                                                    "pixel_m": "10 um"}}))  # fmt: skip


def test_scenes_cannot_be_changed() -> None:
    scene = scenes.parse(text(GOOD["sun"]))
    with pytest.raises(ValueError, match="frozen"):
        scene.title = "another"  # type: ignore[misc]


@pytest.mark.parametrize("path", SHIPPED, ids=lambda path: path.stem)
def test_shipped_scenes_are_read(path: Path) -> None:
    assert scenes.load(path).title


def test_tables_are_looked_for_beside_the_scene(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text(text(GOOD["table"]))
    with pytest.raises(SceneError, match=r"source\.file: names a file that does not exist .*lamp"):
        scenes.load(tmp_path / "bench.toml")
    (tmp_path / "lamp.csv").write_text("")
    assert scenes.load(tmp_path / "bench.toml").folder == tmp_path


@pytest.mark.parametrize("wanted", ["x" * 1000, "no\0where", "a/b/c", "."], ids=ascii)
def test_names_that_cannot_be_files(tmp_path: Path, wanted: str) -> None:
    (tmp_path / "bench.toml").write_text(edited(GOOD["table"], "source.file", wanted))
    with pytest.raises(SceneError, match=r"source\.file: (names a file that|holds a control)"):
        scenes.load(tmp_path / "bench.toml")


def test_reading_a_scene_needs_neither_pint_nor_numpy(tmp_path: Path) -> None:
    (tmp_path / "bench.toml").write_text(text(GOOD["turned"]))
    program = (
        "import sys, wavesim.scene as s; s.load(sys.argv[1]);"
        "print([m for m in ('pint', 'numpy', 'scipy') if m in sys.modules])"
    )
    run = subprocess.run(
        [sys.executable, "-c", program, str(tmp_path / "bench.toml")],
        capture_output=True, text=True, check=True, timeout=60,
    )  # fmt: skip
    assert run.stdout.strip() == "[]"


def test_public_names_are_listed_and_sorted() -> None:
    assert scenes.__all__ == sorted(scenes.__all__)
    assert all(hasattr(scenes, name) for name in scenes.__all__)
