"""One value of a scene varied: scenes, a common exposure, the moving picture."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from PIL import Image

from tests.bench import scene
from tests.narrowing import of_kind
from wavesim.cli.animate import command
from wavesim.errors import InputError, OutputError, SceneError
from wavesim.lightpath import expose
from wavesim.scene import Scene, parse
from wavesim.scene.aperture import Slits
from wavesim.scene.source import NeutralFilter
from wavesim.study.frames import at_time, together, varied

PLATE = 'width = "6 mm"\nheight = "0.5 mm"\npixel = "50 um"'


def small() -> Scene:
    source = 'kind = "blackbody"\ntemperature = "5800 K"\nilluminance = "1 klx"'
    return scene(source=source, plate=PLATE, exposure="over = 1.0")


def test_a_count_is_varied() -> None:
    found = varied(small(), "aperture.count", [1, 2, 5])
    assert [of_kind(Slits, s.aperture).count for s in found] == [1, 2, 5]
    assert all(s.plate == small().plate and s.source == small().source for s in found)


def test_each_scene_keeps_a_text_that_reads_back() -> None:
    found = varied(small(), "bench.incidence", ["1 deg", "-2 deg"])
    assert [parse(s.text) for s in found] == found
    assert found[1].bench.incidence_rad == pytest.approx(-2 * np.pi / 180)


def test_a_value_inside_a_list_is_varied() -> None:
    text = small().text + '\n[[source.filters]]\nkind = "neutral"\ndensity = 1\n'
    found = varied(parse(text), "source.filters.0.density", [0.3, 2])
    assert [of_kind(NeutralFilter, s.source.filters[0]).density for s in found] == [0.3, 2]


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
    record = json.loads(result.output)
    assert [frame["value"] for frame in record["frames"]] == [1, 2, 5]
    times = [frame["exposure_s"] for frame in record["frames"]]
    assert times[0] > times[1] > times[2]  # each as bright as the others: one slit is no darker
    with Image.open(output) as picture:
        assert picture.format == "GIF"
        assert getattr(picture, "n_frames", 1) == 3


def _shown(tmp_path: Path, ending: str, *options: str) -> tuple[Path, str]:
    name, output = tmp_path / "five.toml", tmp_path / f"slits{ending}"
    name.write_text(small().text)
    args = [str(name), "--vary", "aperture.count=1,3", "-o", str(output), *options]
    result = CliRunner().invoke(command, args)
    assert result.exit_code == 0, result.output
    return output, result.output


@pytest.mark.slow
def test_full_brightness_from_the_first_frame(tmp_path: Path) -> None:
    """The brightest pixel of every plate is white; with one time for all, one slit is dim.

    A slide's paper and letters are nowhere quite white.
    """
    for options, white in (((), True), (("--one-time",), False)):
        output, _ = _shown(tmp_path, ".png", "--size", "slide", *options)
        with Image.open(output) as film:
            first = np.asarray(film.convert("RGB"))
        assert bool((first == 255).all(axis=2).sum() > 50) is white


def test_the_caution_can_be_left_out(tmp_path: Path) -> None:
    name = tmp_path / "sun.toml"
    name.write_text(scene(source='kind = "sun"\nlines = false', plate=PLATE).text)
    high = {}
    for options in ((), ("--no-caution",)):
        args = [str(name), "--vary", "aperture.count=1", "-o", str(tmp_path / "a.png"), *options]
        result = CliRunner().invoke(command, args)
        assert "never look at the Sun" in " ".join(result.output.split())
        with Image.open(tmp_path / "a.png") as picture:
            high[options] = picture.height
    assert high[("--no-caution",)] < high[()]


@pytest.mark.slow
def test_mp4_plays_for_as_long_as_it_says(tmp_path: Path) -> None:
    """Decoded by FFmpeg: 2 plates of 0.2 s, the last one twice, in the colours of the PNG."""
    av = pytest.importorskip("av")
    output, _ = _shown(tmp_path, ".mp4", "--seconds", "0.2")
    same, _ = _shown(tmp_path, ".png", "--seconds", "0.2")
    with av.open(str(output)) as film:
        stream = film.streams.video[0]
        shown = [frame.to_ndarray(format="rgb24").astype(int) for frame in film.decode(stream)]
        assert float(stream.duration * stream.time_base) == pytest.approx(0.6)
        assert stream.codec_context.name == "h264"
    with Image.open(same) as picture:
        wanted = []
        for number in range(2):
            picture.seek(number)
            wanted.append(np.asarray(picture.convert("RGB"), dtype=int))
    assert len(shown) == 15
    for frame, want in ((shown[0], wanted[0]), (shown[-1], wanted[1])):
        difference = np.abs(frame - want[: frame.shape[0], : frame.shape[1]])
        assert np.median(difference) <= 2
        assert difference.mean() < 4
    assert np.abs(shown[0] - shown[-1]).mean() > 4


def test_mp4_without_its_library_is_refused(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("wavesim.figures.movie.find_spec", lambda _: None)
    name, output = tmp_path / "five.toml", tmp_path / "slits.mp4"
    name.write_text(small().text)
    result = CliRunner().invoke(
        command, [str(name), "--vary", "aperture.count=1,3", "-o", str(output)]
    )
    assert isinstance(result.exception, OutputError)
    assert 'expected pip install "wavesim[video]", or .gif, .png or .webp' in str(result.exception)
    assert not output.exists()


def test_a_title_true_of_every_frame() -> None:
    """A scene called "Five slits" shows one in the first frame: the title names what is varied."""
    from wavesim.cli.animate import _heading

    assert _heading("aperture.count", [1, 2, 5]) == "aperture.count = 1, 2, 5"
    many = _heading("bench.turn", [f"{k} deg" for k in range(30)])
    assert many == "bench.turn = 0 deg, 1 deg, 2 deg, 3 deg, \N{HORIZONTAL ELLIPSIS}, 29 deg"


@pytest.mark.parametrize("vary", ["aperture.count", "=1,2", "aperture.count=1,,2"])
def test_values_that_cannot_be_read_are_named(tmp_path: Path, vary: str) -> None:
    name = tmp_path / "five.toml"
    name.write_text(small().text)
    result = CliRunner().invoke(command, [str(name), "--vary", vary])
    assert result.exit_code == 2
    assert "needs a key and its values; expected aperture.count=1,2,3" in result.output
