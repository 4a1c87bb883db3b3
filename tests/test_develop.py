"""The develop command: brackets, tones, spaces and grain of an exposed plate."""

from __future__ import annotations

import json
import math
from pathlib import Path

import numpy as np
import pytest
import tifffile
from PIL import Image

import wavesim
from tests.bench import SMALL_SCENE
from wavesim.cli import main


@pytest.fixture
def plate(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    wavesim.expose(wavesim.parse(SMALL_SCENE)).save("three.h5")
    return tmp_path / "three.h5"


def develop(*args: str) -> int | str | None:
    with pytest.raises(SystemExit) as end:
        main(["develop", "three.h5", *args])
    return end.value.code


def test_linear_light_is_the_exposure_over_that_of_white(plate: Path) -> None:
    """ISO 12232: at speed 100 an exposure of 0.78 lx s is white. Luminance of linear sRGB by the
    second row of IEC 61966-2-1's matrix, 0.2126, 0.7152, 0.0722 (four digits: 1e-4)."""
    assert develop("--depth", "32", "-o", "light.tif") == 0
    rgb = tifffile.imread(plate.with_name("light.tif"))
    exposed = wavesim.open_plate(plate)
    luminance = rgb @ np.array([0.2126, 0.7152, 0.0722])
    wanted = exposed.xyz[::-1, :, 1] / 0.78
    middle = np.argmax(exposed.xyz[0, :, 1])  # white, whose luminance the white balance keeps
    assert luminance[:, middle] == pytest.approx(wanted[:, middle], rel=0.01)


def test_a_bracket_doubles_the_light_with_every_stop(
    plate: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """One stop is a factor of two of exposure (ISO 12232, common practice)."""
    steps = [word for step in ("-1", "0", "0", "2") for word in ("--stops", step)]
    assert develop("--depth", "32", *steps, "-o", "b.tif") == 0
    once, as_it_is, twice = (
        tifffile.imread(plate.with_name(f"b{step}.tif")) for step in ("-1", "+0", "+2")
    )
    np.testing.assert_allclose(once * 2, as_it_is, rtol=1e-6)  # float32
    np.testing.assert_allclose(twice, as_it_is * 4, rtol=1e-6)
    text = capsys.readouterr().out
    assert "-1 stop " in text
    assert "+2 stops" in text
    assert "never look at the Sun" in " ".join(text.split())


def test_a_film_says_so_and_keeps_white_white(plate: Path) -> None:
    assert develop("--tone", "film", "-o", "film.png") == 0
    assert develop("--tone", "log", "--decades", "6", "-o", "log.png") == 0
    assert develop("-o", "plain.png") == 0
    film, log, plain = (
        Image.open(plate.with_name(f"{name}.png")) for name in ("film", "log", "plain")
    )
    assert film.info["Title"] == "Three slits · photographic tone"
    assert log.info["Title"] == "Three slits · logarithmic, 6 decades"
    assert plain.info["Title"] == "Three slits"
    pictures = [np.asarray(image).astype(int) for image in (film, log, plain)]
    assert np.array_equal(pictures[2][..., :3], wavesim.open_plate(plate).picture())
    assert pictures[1].mean() > 1.5 * pictures[2].mean()  # faint light lifted
    assert pictures[1].max() == pictures[2].max() == 255


def test_sixteen_bits_and_a_wide_gamut_carry_their_profile(plate: Path) -> None:
    assert develop("--depth", "16", "--space", "display-p3", "-o", "wide.tif") == 0
    with tifffile.TiffFile(plate.with_name("wide.tif")) as file:
        page = file.pages[0]
        assert page.dtype == np.uint16
        assert b"D\0i\0s\0p\0l\0a\0y" in bytes(page.tags["InterColorProfile"].value)


def test_grain_follows_selwyn(plate: Path) -> None:
    """Density noise through a 48 um disc grows as 1 / sqrt(area) (Selwyn 1935): 0.01 becomes
    0.01 sqrt(pi) 24 um / 100 um for these pixels. 4,000 of them: known to 1.1 %, four of that."""
    assert develop("--depth", "32", "-o", "plain.tif") == 0
    assert develop("--depth", "32", "--grain", "0.01", "--seed", "4", "-o", "grainy.tif") == 0
    plain, grainy = (tifffile.imread(plate.with_name(f"{n}.tif")) for n in ("plain", "grainy"))
    bright = plain[..., 1] > 1e-3 * plain.max()
    spread = np.std(np.log10(grainy[bright][:, 1] / plain[bright][:, 1]))
    assert spread == pytest.approx(0.01 * math.sqrt(math.pi) * 24 / 100, rel=0.045)


def test_noise_and_halation_are_seeded_and_keep_the_light(plate: Path) -> None:
    options = ("--depth", "32", "--noise", "--halation", "5 %", "--halo", "200 um", "--seed", "7")
    assert develop(*options, "-o", "one.tif") == 0
    assert develop(*options, "-o", "two.tif") == 0
    assert develop("--depth", "32", "-o", "plain.tif") == 0
    first, second, plain = (
        tifffile.imread(plate.with_name(f"{n}.tif")) for n in ("one", "two", "plain")
    )
    assert np.array_equal(first, second)
    assert not np.array_equal(first, plain)
    # a halo of 200 um loses a few per cent of its 5 % beyond the edges of a plate of 20 mm x 2 mm
    assert first.sum() == pytest.approx(plain.sum(), rel=0.03)


def test_json(plate: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert develop("--stops", "1", "-o", "p.png", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    time = wavesim.open_plate(plate).exposure_s
    assert found["pictures"] == [
        {
            "picture_file": "p.png",
            "stops": 1.0,
            "time_s": pytest.approx(2 * time),
            "colour_lost": pytest.approx(0.5, abs=0.5),
            "luminance_lost": pytest.approx(0.5, abs=0.5),
            "colour_difference_median": pytest.approx(20, abs=20),
            "colour_difference_largest": pytest.approx(50, abs=50),
        }
    ]


@pytest.mark.parametrize(
    ("options", "message"),
    [
        ("--depth 32 -o a.png", "needs a TIFF file"),
        ("--depth 32 --tone film -o a.tif", "linear light, without --tone film"),
        ("--decades 3", "--decades needs --tone log"),
        ("--stops ninety", '"ninety" is not a number'),
        ("--halo 3", "has no unit"),
        ("--halo 60um", "--halation"),
        ("--seed 3", "--grain"),
        ("-o a.jpg", "ends in .png or .tif"),
        ("--stops 2 --stops 2.0000001", "would be written twice"),
    ],
)
def test_what_cannot_be_is_refused(
    options: str, message: str, plate: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert develop(*options.split()) == 2
    assert message in capsys.readouterr().err
    assert [path.name for path in plate.parent.iterdir()] == ["three.h5"]


def test_a_film_from_its_datasheet(plate: Path, capsys: pytest.CaptureFixture[str]) -> None:
    Path("film.csv").write_text("log_exposure,density\n-3,0.1\n-1,0.8\n0,1.6\n1,1.8\n")
    assert develop("--curve", "film.csv", "--negative", "-o", "negative.png") == 0
    said = capsys.readouterr().out
    assert "base and fog 0.10" in said
    assert "is the nearest speed" in said
    with Image.open("negative.png") as picture:
        grey = np.asarray(picture)
    assert np.ptp(grey.astype(int), axis=-1).max() <= 2  # rounding and dither
    light = wavesim.open_plate(plate).xyz[::-1, :, 1]
    assert grey[..., 1].flat[light.argmax()] < 0.5 * grey[..., 1].flat[light.argmin()]
    assert develop("--curve", "film.csv", "--tone", "film", "-o", "a.png") == 2
    assert develop("--curve", "missing.csv", "-o", "a.png") == 2
