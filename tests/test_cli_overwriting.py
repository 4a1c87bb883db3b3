"""No command writes over what it reads: the scene or plate, and the tables and pictures of a scene.

There is no outside source: that a program leaves its input alone is common practice.
"""

from __future__ import annotations

import shlex
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

import wavesim
from tests.bench import SMALL_SCENE
from wavesim import lightpath
from wavesim.cli import main

LAMP = "wavelength_nm,relative\n500,1\n600,1\n"
READING_A_TABLE = SMALL_SCENE.replace('kind = "sun"', 'kind = "table"\nfile = "lamp.csv"')
READING_A_PICTURE = """
schema = 1
source = { kind = "laser", wavelength = "633 nm" }
bench = { camera = "1 m" }
aperture = { kind = "picture", file = "mask.png", cell = "50 um" }
plate = { width = "5 mm", height = "5 mm", pixel = "100 um" }
"""


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with scenes, the table and the picture that they name, and a plate."""
    monkeypatch.chdir(tmp_path)
    Path("lamp.csv").write_text(LAMP)
    Image.fromarray(np.eye(4, dtype=np.uint8) * 255).save("mask.png")
    Path("table.toml").write_text(READING_A_TABLE)
    Path("picture.toml").write_text(READING_A_PICTURE)
    Path("scene.png").write_text(SMALL_SCENE)
    Path("link.png").symlink_to("mask.png")
    wavesim.expose(wavesim.load("table.toml")).save("plate.h5")
    return tmp_path


@pytest.mark.parametrize(
    ("line", "message"),
    [
        ("expose picture.toml --png mask.png",
         "mask.png: is read by picture.toml as aperture.file (found 'mask.png')"),
        ("expose picture.toml --png ./link.png", "link.png: is read by picture.toml"),
        ("expose scene.png --png scene.png", "scene.png: is scene.png, which is an input file"),
        ("animate picture.toml --vary plate.centre='0 mm,1 mm' -o mask.png",
         "mask.png: is read by picture.toml as aperture.file"),
        ("animate picture.toml --vary aperture.file=mask.png,link.png -o link.png",
         "link.png: is read by picture.toml as aperture.file"),
        ("compare scene.png --figure scene.png", "scene.png: is scene.png, which is an input file"),
        ("figure picture.toml -o mask.png", "mask.png: is read by picture.toml as aperture.file"),
        ("point picture.toml --x '0 mm' --figure mask.png", "mask.png: is read by picture.toml"),
        ("sheet table.toml picture.toml -o mask.png", "mask.png: is read by picture.toml"),
        ("profile table.toml --table lamp.csv", "lamp.csv: is read by table.toml as source.file"),
        ("measure plate.h5 --csv lamp.csv", "lamp.csv: is read by plate.h5 as source.file"),
        ("measure lamp.csv --csv lamp.csv", "lamp.csv: is lamp.csv, which is an input file"),
    ],
)  # fmt: skip
def test_what_is_read_is_not_written_over(
    line: str,
    message: str,
    desk: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:
    def work(*_: object, **__: object) -> None:
        raise AssertionError("work was done before the refusal")

    monkeypatch.setattr(lightpath, "expose", work)
    before = {path.name: path.read_bytes() for path in desk.iterdir()}
    with pytest.raises(SystemExit) as end:
        main(shlex.split(line))
    said = capsys.readouterr().err
    assert end.value.code == 2
    assert said.startswith(f"wavesim: {message}")
    assert said.endswith("expected another name\n")
    assert said.count("\n") == 1
    assert {path.name: path.read_bytes() for path in desk.iterdir()} == before


@pytest.mark.usefixtures("desk")
def test_one_name_is_not_written_twice(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        main(shlex.split("profile table.toml --table a.csv --ghosts ./a.csv"))
    assert end.value.code == 2
    said = "wavesim: a.csv: would be written twice; expected a name for each\n"
    assert capsys.readouterr().err == said
    assert not Path("a.csv").exists()


def test_a_table_that_is_gone_stops_nothing(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (desk / "lamp.csv").unlink()
    (desk / "figure.png").write_text("old")
    with pytest.raises(SystemExit) as end:
        main(["figure", "plate.h5", "-o", "figure.png"])
    assert (end.value.code, capsys.readouterr().err) == (0, "")
