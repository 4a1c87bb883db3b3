"""Films, sensors and observers through predict, fit, study and figure, as a user runs them.

A film's picture has one value a pixel, whatever the colours; what a plate of it was exposed for is
what its study tells; a fit finds the width that the scene was exposed with.
"""

from __future__ import annotations

import json
from pathlib import Path

import h5py
import numpy as np
import pytest
from PIL import Image

import wavesim
from wavesim.cli import main

ROOT = Path(__file__).resolve().parents[1]
SLITS = (ROOT / "scenes" / "slits_005.toml").read_text(encoding="utf-8")
RECORDERS = {
    "eye": "",
    "observer": 'observer = "cie1964_10deg"',
    "sensor": 'sensor = { curves = "gaussian" }',
    "orthochromatic": 'film = { sensitivity = "orthochromatic" }',
    "blue": 'film = { sensitivity = "blue" }',
}
FILMS = ("orthochromatic", "blue")
STUDY = """
schema = 1
title = "Widths"
scene = "scene.toml"
[[vary]]
key = "aperture.width"
values = ["30 um", "40 um"]
[record]
numbers = ["exposure_time"]
picture = { columns = 200, rows = 8 }
"""


@pytest.fixture(params=RECORDERS)
def recorder(
    request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> str:
    """The scene with that recorder, in a folder of its own."""
    name = str(request.param)
    text = SLITS.replace("[exposure]\n", f"[exposure]\n{RECORDERS[name]}\n")
    text = text.replace('pixel = "25 um"', 'pixel = "100 um"').replace("over = 3.3", "over = 0.5")
    (tmp_path / "scene.toml").write_text(text)
    (tmp_path / "study.toml").write_text(STUDY)
    monkeypatch.chdir(tmp_path)
    return name


def printed(capsys: pytest.CaptureFixture[str], *args: str) -> dict[str, object]:
    """What a command prints with --json."""
    capsys.readouterr()
    with pytest.raises(SystemExit) as end:
        main([*args, "--json"])
    assert end.value.code == 0
    found = json.loads(capsys.readouterr().out)
    assert isinstance(found, dict)
    return found


def test_the_predicted_time_is_that_of_the_exposure(
    recorder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """Within the fifth that the estimate states, as the recorder counts the light."""
    exposed = wavesim.expose(wavesim.load("scene.toml"))
    found = printed(capsys, "predict", "scene.toml")["exposure"]
    assert isinstance(found, dict)
    assert found["time_s"] == pytest.approx(exposed.exposure_s, rel=0.2), recorder


def test_a_study_and_its_contact_sheet_are_the_recorder_s(
    recorder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    printed(capsys, "study", "study.toml", "-o", "study.h5", "--workers", "1")
    exposed = wavesim.expose(wavesim.load("scene.toml"))
    with h5py.File("study.h5") as file:
        assert file["exposure_time"][1] == pytest.approx(exposed.exposure_s, rel=1e-12)
        picture = np.asarray(file["picture"], dtype=int)
    spread = np.ptp(picture, axis=-1).max()
    assert (spread == 0) == (recorder in FILMS)
    if recorder not in FILMS:
        assert spread > 100
    printed(capsys, "figure", "study.h5", "--draw", "contact", "-o", "contact.png", "--no-caution")
    with Image.open("contact.png") as drawn:
        right = np.asarray(drawn.convert("RGB"), dtype=int)[:, drawn.width // 3 :]
    assert (np.ptp(right, axis=-1).max() < 20) == (
        recorder in FILMS
    )  # ink and paper are nearly grey


@pytest.mark.slow
@pytest.mark.parametrize("recorder", ["sensor", *FILMS], indirect=True)
def test_a_fit_of_its_plate_finds_the_width(
    recorder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    wavesim.expose(wavesim.load("scene.toml")).save("plate.h5")
    value, error = fitted(recorder, capsys, "plate.h5")
    assert abs(value - 40e-6) < 3 * error
    assert abs(value - 40e-6) < 0.1e-6


@pytest.mark.slow
@pytest.mark.parametrize("recorder", FILMS, indirect=True)
def test_a_fit_of_a_film_s_picture_finds_the_width(
    recorder: str, capsys: pytest.CaptureFixture[str]
) -> None:
    wavesim.expose(wavesim.load("scene.toml")).save_png("film.png")
    value, error = fitted(recorder, capsys, "film.png", "--pixel", "100 um")
    assert abs(value - 40e-6) < 2 * error


def fitted(recorder: str, capsys: pytest.CaptureFixture[str], *args: str) -> tuple[float, float]:
    """Width and standard error by `fit`, from 52 um, of what was exposed with 40 um."""
    text = Path("scene.toml").read_text().replace('width = "40 um"', 'width = "52 um"')
    Path("guess.toml").write_text(text)
    found = printed(capsys, "fit", "guess.toml", *args, "--free", "aperture.width")
    assert found["fits"], recorder
    width = found["values"]["aperture.width"]  # type: ignore[index]
    return width["value"], width["standard_error"]
