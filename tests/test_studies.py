"""The studies in Python: the words and units of the command line, and the numbers of its JSON."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

import wavesim
from tests.bench import SMALL_SCENE
from tests.narrowing import known, of_kind
from tests.scene_texts import GOOD
from wavesim.cli.predict import command as predict_command
from wavesim.errors import InputError, SceneError
from wavesim.scene import Scene, from_resolved, parse, resolved
from wavesim.scene.defect import PeriodicDefect
from wavesim.scene.reference import markdown, matching, reference

ROOT = Path(__file__).resolve().parents[1]
SCREW = ROOT / "scenes" / "grating_screw.toml"


def json_like(record: dict[str, object]) -> object:
    """As JSON holds it: what is no finite number becomes null."""
    texts = json.dumps(record).replace("Infinity", "null").replace("NaN", "null")
    return json.loads(texts.replace("-null", "null"))


def test_predict_is_the_command() -> None:
    options = [str(SCREW), "--wavelength", "546.07 nm", "--order", "1", "--json"]
    printed = json.loads(CliRunner().invoke(predict_command, options).output)
    found = wavesim.predict(wavesim.load(SCREW), wavelength="546.07 nm", order=1)
    del printed["scene_file"]
    assert json_like(found.record()) == printed


def test_a_number_is_si_and_a_text_has_its_unit() -> None:
    scene = wavesim.load(SCREW)
    by_text = wavesim.profile(scene, wavelength="546.1 nm", order=2, span=0.05)
    by_number = wavesim.profile(scene, wavelength=546.1e-9, order=2, span=0.05)
    assert by_text.fwhm_orders == by_number.fwhm_orders
    with pytest.raises(InputError, match=r"wavelength: .*no unit.*546\.1 nm"):
        wavesim.predict(scene, wavelength="546")
    with pytest.raises(InputError, match="wavelength: is not a length"):
        wavesim.predict(scene, wavelength="5 deg")


def test_point_and_measure_take_a_plate() -> None:
    plate = wavesim.expose(parse(SMALL_SCENE))
    assert wavesim.point(plate, "5 mm").x_m == wavesim.point(plate, 5e-3).x_m
    angle = wavesim.point(plate, angle="0.3 deg")
    assert angle.x_m == pytest.approx(math.tan(math.radians(0.3)), abs=50e-6)  # half a pixel
    with pytest.raises(InputError, match="x: needs a position or an angle"):
        wavesim.point(plate)
    mercury = wavesim.load(ROOT / "scenes" / "grating_600_mercury.toml")
    lines = wavesim.measure(wavesim.expose(mercury)).lines
    green = min(lines, key=lambda line: abs(known(line.wavelength_m) - 546.0735e-9))
    assert abs(known(green.wavelength_m) - 546.0735e-9) < 2 * known(green.uncertainty_m)


def test_compare_follows_values_as_in_the_file() -> None:
    found = wavesim.compare(
        parse(SMALL_SCENE), only="small-angles", vary="aperture.pitch", values=("60 um", "90 um")
    )
    assert [row.value for row in found.rows] == pytest.approx([60e-6, 90e-6])
    assert found.comparisons[0].unit == "m"


# --- a scene with some values changed -------------------------------------------------------------


def test_keys_are_written_with_dots_brackets_or_underlines() -> None:
    scene = wavesim.load(SCREW)
    key = "aperture.defects.1.amplitude"
    for changes in ({key: "7 nm"}, {"aperture.defects[1].amplitude": "7 nm"}):
        defect = of_kind(PeriodicDefect, scene.but(changes).aperture.defects[1])
        assert defect.amplitude_m == pytest.approx(7e-9)
    assert scene.but(aperture__defects__1__amplitude="7 nm") == scene.but({key: "7 nm"})
    assert scene.but(plate__width="30 mm").folder == scene.folder


@pytest.mark.parametrize(
    ("changes", "facts"),
    [
        ({"aperture.pich": "9 um"}, ("aperture.pich", "unknown", '"pitch"')),
        ({"aperture.width": 40}, ("aperture.width", "40", '"40 um"')),
        ({"aperture.count": 0}, ("aperture.count", "0", "10,000,000")),
        ({"aperture.defects.5.rms": "1 nm"}, ("aperture.defects.5.rms",)),
        ({"plate.x.y": 1}, ("plate",)),
    ],
)
def test_a_wrong_change_is_refused_as_in_a_file(
    changes: dict[str, object], facts: tuple[str, ...]
) -> None:
    for scene in (parse(SMALL_SCENE), parse(SMALL_SCENE).with_text("")):
        with pytest.raises(SceneError if scene.text else InputError) as caught:
            scene.but(changes)  # type: ignore[arg-type]
        if scene.text:
            assert [fact for fact in facts if fact not in str(caught.value)] == []


@pytest.mark.parametrize("name", GOOD)
def test_a_scene_without_its_text_is_changed_as_well(name: str) -> None:
    """Every key of the format stands in one of these scenes; nothing else may move."""
    from tests.scene_texts import text

    whole = parse(text(GOOD[name]))
    bare: Scene = from_resolved(resolved(whole))
    assert bare.but(title="other").but(title=whole.title) == whole
    assert whole.but(title="other").but(title=whole.title) == whole
    assert bare.but(plate__width="50 mm") == whole.but(plate__width="50 mm")


def test_an_altered_scene_is_not_taken_for_its_old_text() -> None:
    scene = parse(SMALL_SCENE)
    wider = scene.model_copy(update={"plate": scene.plate.model_copy(update={"width_m": 0.03})})
    assert wider.but(aperture__count=5).plate.width_m == 0.03


# --- labelled data --------------------------------------------------------------------------------


def test_a_plate_as_a_labelled_dataset() -> None:
    plate = wavesim.expose(parse(SMALL_SCENE))
    data = plate.to_xarray()
    assert data.irradiance.dims == ("y", "x")
    assert data.irradiance.attrs["units"] == "W m-2"
    assert float(data.irradiance.sum()) * plate.scene.plate.pixel_area_m2 == plate.power_W
    middle = data.profile_spectrum.sel(wavelength=550e-9, method="nearest")
    assert middle.dims == ("x",)
    assert np.array_equal(data.exposure.sel(component="Y"), plate.xyz[..., 1])
    assert parse(data.attrs["scene"]) == plate.scene


# --- the reference of keys ------------------------------------------------------------------------


def test_the_page_of_keys_is_that_of_the_program() -> None:
    page = (ROOT / "scenes" / "KEYS.md").read_text(encoding="utf-8")
    assert page == markdown(), "wavesim keys --markdown -o scenes/KEYS.md"


def test_every_key_of_the_schema_is_explained() -> None:
    schema = wavesim.scene.json_schema()
    tables = [schema, *schema["$defs"].values()]  # type: ignore[attr-defined]
    known = {name for table in tables for name in table.get("properties", {})}
    listed = {key.name for table in reference() for key in table.keys}
    assert known <= listed | {"kind", "profile"}
    assert all(key.meaning and key.values for table in reference() for key in table.keys)


def test_a_key_is_found_by_its_name_or_its_table() -> None:
    kinds = [table.condition for table in matching("aperture.pitch")]
    assert kinds == ['kind = "slits"', 'kind = "wires"', 'kind = "grating"']
    assert {table.name for table in matching("source.slit")} >= {"source.slit"}
    assert matching("nothing") == ()


def test_the_command_explains_a_key(capsys: pytest.CaptureFixture[str]) -> None:
    from wavesim.cli import main

    for line, facts, status in (
        ("keys aperture.count", ("10,000,000", "number of slits", "count = 6"), 0),
        ("keys", ("[plate]", "pixel", "[[source.filters]]"), 0),
        ("keys pich", ("pich", '"pitch"'), 2),
    ):
        with pytest.raises(SystemExit) as end:
            main(line.split())
        printed = capsys.readouterr()
        assert end.value.code == status
        assert all(fact in printed.out + printed.err for fact in facts)
        assert all(len(text) <= 80 for text in printed.out.splitlines())


# --- what is given in place of a scene, a plate or a study ----------------------------------------


@pytest.mark.parametrize(
    "call",
    [
        lambda name: wavesim.expose(name),
        lambda name: wavesim.preview(name, 100, 10),
        lambda name: wavesim.LightPath().middle_row(name, 100),
        lambda name: wavesim.predict(name),
        lambda name: wavesim.profile(name),
        lambda name: wavesim.tolerance(name),
        lambda name: wavesim.compare(name),
        lambda name: wavesim.efficiency(name),
        lambda name: wavesim.fit(name, "slit.jpg", "aperture.width", pixel="40 um"),
        lambda name: wavesim.amplitude(name, [0.0], 550e-9),
    ],
)
def test_a_name_in_place_of_a_scene_is_told_how_to_read_it(call: Callable[[Any], object]) -> None:
    with pytest.raises(InputError, match=r"scene: is of type str .*slits.toml.*wavesim\.load\("):
        call("slits.toml")


def test_a_scene_in_place_of_a_plate_or_a_study_is_told_where_they_come_from() -> None:
    scene: Any = wavesim.load(SCREW)
    for call in (lambda: wavesim.point(scene, "1 mm"), lambda: wavesim.visibility(scene)):
        with pytest.raises(InputError, match=r"plate: is of type Scene.*wavesim\.expose\("):
            call()
    with pytest.raises(InputError, match=r"plan: is of type Scene.*wavesim\.load_study\("):
        wavesim.run_study(scene, "study.h5")
