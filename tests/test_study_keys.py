"""The keys of a study file, for people; and a study file that moves with its folder."""

from __future__ import annotations

import shutil
import tomllib
from pathlib import Path

import h5py
import pytest

from tests.narrowing import of_kind
from wavesim.cli import main
from wavesim.ensemble.joined import member_scene, plan_of
from wavesim.ensemble.numbers import NUMBERS
from wavesim.ensemble.plan import StudyTable
from wavesim.scene.aperture import Slits
from wavesim.scene.reference import reference

ROOT = Path(__file__).resolve().parents[1]
STUDIES = ROOT / "scenes" / "studies"
PLATES = """
schema = 1
scene = "slits.toml"
draws = 3
[[draw]]
key = "aperture.width"
law = "table"
file = "widths.csv"
[record]
numbers = ["exposure_time"]
"""


def run(*args: str) -> int | str | None:
    with pytest.raises(SystemExit) as end:
        main(list(args))
    return end.value.code


def test_the_page_of_keys_is_that_of_the_program(tmp_path: Path) -> None:
    assert run("keys", "--study", "--markdown", "-o", str(tmp_path / "KEYS.md")) == 0
    assert (tmp_path / "KEYS.md").read_text() == (STUDIES / "KEYS.md").read_text(encoding="utf-8")


def test_every_key_is_explained_and_every_shipped_study_uses_known_ones() -> None:
    tables = reference(StudyTable)
    assert all(key.meaning and key.values for table in tables for key in table.keys)
    known = {(table.name, key.name) for table in tables for key in table.keys}
    for path in STUDIES.glob("*.toml"):
        study = tomllib.loads(path.read_text(encoding="utf-8"))
        if "record" not in study:
            continue  # a base scene
        assert {("", key) for key in study} <= known, path.name
        assert {("record", key) for key in study["record"]} <= known, path.name
        for table in ("vary", "draw"):
            used = {(table, key) for entry in study.get(table, []) for key in entry}
            assert used <= known, path.name


def test_the_command_explains_a_key(capsys: pytest.CaptureFixture[str]) -> None:
    assert run("keys", "--study", "vary.steps") == 0
    assert "number of values of a range" in capsys.readouterr().out
    assert run("keys", "--study", "vary.stpes") == 2
    assert 'did you mean "vary.steps"?' in capsys.readouterr().err
    assert run("keys", "vary.steps") == 2  # no key of a scene


def test_the_page_lists_every_number_that_can_be_recorded() -> None:
    page = (STUDIES / "KEYS.md").read_text(encoding="utf-8")
    assert all(f"| `{name}` |" in page for name in NUMBERS)


def test_a_study_moves_with_its_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """No folder's absolute name is in the file, and its scene and tables are found again."""
    home = tmp_path / "here"
    home.mkdir()
    scene = (ROOT / "scenes" / "slits_002.toml").read_text(encoding="utf-8")
    (home / "slits.toml").write_text(scene.replace('pixel = "25 um"', 'pixel = "500 um"'))
    (home / "widths.csv").write_text("value,weight\n4e-5,1\n5e-5,1\n")
    (home / "plates.toml").write_text(PLATES)
    assert run("study", str(home / "plates.toml"), "-o", str(home / "p.h5"), "--workers", "1") == 0
    before = member_scene(home / "p.h5", 1)
    with h5py.File(home / "p.h5") as file:
        texts = [str(value) for value in file.attrs.values()]
    assert not any(str(tmp_path) in text for text in texts)
    shutil.move(home, tmp_path / "there")
    monkeypatch.chdir(tmp_path)
    assert of_kind(Slits, before.aperture).width_m in (4e-5, 5e-5)
    assert plan_of("there/p.h5").folder.resolve() == (tmp_path / "there").resolve()
    assert member_scene("there/p.h5", 1) == before


def test_a_study_written_elsewhere_finds_its_folder(tmp_path: Path) -> None:
    (tmp_path / "out").mkdir()
    (tmp_path / "in").mkdir()
    scene = (ROOT / "scenes" / "slits_002.toml").read_text(encoding="utf-8")
    (tmp_path / "in" / "slits.toml").write_text(scene.replace('"25 um"', '"500 um"'))
    (tmp_path / "in" / "widths.csv").write_text("value,weight\n4e-5,1\n5e-5,1\n")
    (tmp_path / "in" / "plates.toml").write_text(PLATES)
    out = tmp_path / "out" / "p.h5"
    assert run("study", str(tmp_path / "in" / "plates.toml"), "-o", str(out), "--workers", "1") == 0
    assert plan_of(out).folder.resolve() == (tmp_path / "in").resolve()
