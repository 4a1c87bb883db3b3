"""One value of a scene varied: scenes, a common exposure, the moving picture."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from tests.bench import scene
from wavesim.cli.animate import command
from wavesim.errors import InputError, SceneError
from wavesim.lightpath import expose
from wavesim.scene import Scene, parse
from wavesim.study.frames import at_time, together, varied

PLATE = 'width = "6 mm"\nheight = "0.5 mm"\npixel = "50 um"'


def small() -> Scene:
    source = 'kind = "blackbody"\ntemperature = "5800 K"\nilluminance = "1 klx"'
    return scene(source=source, plate=PLATE, exposure="over = 1.0")


def test_a_count_is_varied() -> None:
    found = varied(small(), "aperture.count", [1, 2, 5])
    assert [s.aperture.count for s in found] == [1, 2, 5]
    assert all(s.plate == small().plate and s.source == small().source for s in found)


def test_each_scene_keeps_a_text_that_reads_back() -> None:
    found = varied(small(), "bench.incidence", ["1 deg", "-2 deg"])
    assert [parse(s.text) for s in found] == found
    assert found[1].bench.incidence_rad == pytest.approx(-2 * np.pi / 180)


def test_a_value_inside_a_list_is_varied() -> None:
    text = small().text + '\n[[source.filters]]\nkind = "neutral"\ndensity = 1\n'
    found = varied(parse(text), "source.filters.0.density", [0.3, 2])
    assert [s.source.filters[0].density for s in found] == [0.3, 2]


def test_a_time_takes_the_place_of_stops() -> None:
    found = varied(small(), "exposure.time", ["1/8 s"])[0]
    assert found.exposure.time_s == 0.125
    assert found.exposure.over == 0


@pytest.mark.parametrize(
    ("key", "value", "says"),
    [
        ("aperture.cont", 3, "aperture.cont: is an unknown key"),
        ("aperture.pitch", 90, "aperture.pitch: is a bare number"),
        ("source.filters.3.density", 1, "source.filters.3.density: leads nowhere"),
        ("title.x", 1, "title.x: leads nowhere"),
    ],
)
def test_what_cannot_be_varied_is_named(key: str, value: float, says: str) -> None:
    with pytest.raises(SceneError, match=says):
        varied(parse('title = "x"\n' + small().text), key, [value], file="a.toml")


def test_nothing_to_vary_is_refused() -> None:
    with pytest.raises(InputError, match="needs at least one value"):
        varied(small(), "aperture.count", [])


def test_one_time_for_all() -> None:
    plates = [expose(s) for s in varied(small(), "aperture.count", [1, 2, 4])]
    common = together(plates)
    times = {plate.exposure_s for plate in common}
    assert times == {min(plate.exposure_s for plate in plates)}
    brightest = [plate.xyz[..., 1].max() for plate in common]
    # N slits: the middle goes as N^2, as long as slit and pixel (1/40 of a fringe) are narrow
    assert np.array(brightest) / brightest[0] == pytest.approx([1, 4, 16], rel=0.02)
    assert brightest[-1] == pytest.approx(
        2 * 0.78, rel=1e-9
    )  # a stop over white, as the scene says


def test_another_time_is_so_much_more_light() -> None:
    plate = expose(small())
    twice = at_time(plate, 2 * plate.exposure_s)
    assert np.array_equal(twice.xyz, 2 * plate.xyz)
    assert np.array_equal(twice.irradiance, plate.irradiance)
    with pytest.raises(InputError, match="time_s: must be positive"):
        at_time(plate, 0.0)


def test_the_command_writes_a_moving_picture(tmp_path: Path) -> None:
    name, output = tmp_path / "five.toml", tmp_path / "slits.gif"
    name.write_text(small().text)
    result = CliRunner().invoke(
        command, [str(name), "--vary", "aperture.count=1, 2, 5", "-o", str(output), "--json"]
    )
    assert result.exit_code == 0, result.output
    told = json.loads(result.output)
    assert [frame["value"] for frame in told["frames"]] == [1, 2, 5]
    assert len({frame["exposure_s"] for frame in told["frames"]}) == 1
    with Image.open(output) as picture:
        assert picture.format == "GIF"
        assert picture.n_frames == 3


@pytest.mark.parametrize("vary", ["aperture.count", "=1,2", "aperture.count=1,,2"])
def test_values_that_cannot_be_read_are_named(tmp_path: Path, vary: str) -> None:
    name = tmp_path / "five.toml"
    name.write_text(small().text)
    result = CliRunner().invoke(command, [str(name), "--vary", vary])
    assert result.exit_code == 2
    assert "needs a key and its values; expected aperture.count=1,2,3" in result.output
