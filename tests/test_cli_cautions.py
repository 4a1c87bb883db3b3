"""The caution for the eyes: in every command's text and JSON, and on every figure but on request.

The wording's sources (ISO 12312-2, IEC 60825-1, IEC 62471) stand in `wavesim.light.cautions`; here
every command's must be the one that `expose` prints of the same source.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.parameters import slow_but
from wavesim.cli import expose, main

SUNLIT = """
schema = 1
title = "Slits"
[source]
kind = "sun"
[bench]
camera = "1 m"
[aperture]
kind = "slits"
count = 3
width = "40 um"
pitch = "90 um"
[plate]
width = "20 mm"
height = "0.4 mm"
pixel = "100 um"
"""
RULED = """
schema = 1
title = "Ruling"
[source]
kind = "laser"
wavelength = "546 nm"
power = "2 mW"
[bench]
camera = "1 m"
viewing = "19 deg"
[aperture]
kind = "grating"
count = 600
density = "600 / mm"
mounting = "reflection"
material = "aluminium"
groove = { profile = "sinusoidal", depth = "150 nm", theory = "rigorous" }
[[aperture.defects]]
kind = "periodic"
amplitude = "10 nm"
period = 20
[plate]
width = "20 mm"
height = "0.4 mm"
pixel = "50 um"
"""
STUDY = """
schema = 1
title = "Widths"
scene = "slits.toml"
[[vary]]
key = "aperture.width"
values = ["20 um", "30 um", "40 um"]
[[vary]]
key = "aperture.count"
values = [2, 3, 4]
[record]
numbers = ["exposure_time"]
picture = { columns = 200, rows = 4 }
"""
PRINTING = {
    "predict": ["predict", "slits.toml"],
    "point": ["point", "slits.toml", "--x", "5 mm"],
    "measure": ["measure", "ruled.toml"],
    "compare": ["compare", "slits.toml", "--only", "small-angles", "--steps", "3"],
    "profile": ["profile", "ruled.toml"],
    "tolerance": ["tolerance", "ruled.toml", "--ghost", "1e-3"],
    "efficiency": ["efficiency", "ruled.toml", "--order", "1", "--wavelength", "546 nm",
                   "--turn-from", "0 deg", "--turn-to", "4 deg", "--points", "3"],
    "fit": ["fit", "slits.toml", "slits.h5", "--free", "aperture.width"],
    "study": ["study", "study.toml", "-o", "study.h5", "--workers", "1"],
    "study, dry run": ["study", "study.toml", "--dry-run"],
    "figure": ["figure", "slits.h5"],
    "figure of a study": ["figure", "study.h5", "-o", "s.png"],
    "sheet": ["sheet", "slits.h5"],
    "animate": ["animate", "slits.toml", "--vary", "aperture.count=2,3"],
}  # fmt: skip
EVERYDAY = ("predict", "measure", "study", "study, dry run", "sheet")
DRAWING = {
    "point": ["point", "slits.h5", "--x", "5 mm", "--figure", "F"],
    "compare": ["compare", "slits.toml", "--only", "small-angles", "--steps", "3", "--figure", "F"],
    "profile": ["profile", "ruled.toml", "--figure", "F"],
    "efficiency": [*PRINTING["efficiency"], "--figure", "F"],
    "fit": [*PRINTING["fit"], "--figure", "F"],
    "figure": ["figure", "slits.h5", "-o", "F"],
    "map": ["figure", "slits.h5", "--draw", "map", "-o", "F"],
    "colours": ["figure", "slits.h5", "--draw", "colours", "-o", "F"],
    "distribution": ["figure", "study.h5", "--draw", "distribution", "-o", "F"],
    "sensitivity": ["figure", "study.h5", "--draw", "sensitivity", "-o", "F"],
    "map of a study": [
        "figure",
        "study.h5",
        "--number",
        "exposure_time",
        "--draw",
        "map",
        "-o",
        "F",
    ],
    "contact": ["figure", "study.h5", "--draw", "contact", "-o", "F"],
    "sheet": ["sheet", "slits.h5", "-o", "F"],
}


def run(*args: str) -> int | str | None:
    with pytest.raises(SystemExit) as end:
        main(list(args))
    return end.value.code


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Scenes, a plate and a study's file."""
    made = tmp_path_factory.mktemp("cautions")
    for name, text in (("slits", SUNLIT), ("ruled", RULED), ("study", STUDY)):
        (made / f"{name}.toml").write_text(text)
    assert run("expose", str(made / "slits.toml"), "-o", str(made / "slits.h5")) == 0
    studied = ("study", str(made / "study.toml"), "-o", str(made / "study.h5"), "--workers", "1")
    assert run(*studied) == 0
    return made


@pytest.fixture(scope="module")
def expected(folder: Path) -> dict[str, str]:
    """What `expose` says of both sources."""
    found = {}
    for name in ("slits", "ruled"):
        result = CliRunner().invoke(
            expose.command,
            [str(folder / f"{name}.toml"), "-o", str(folder / "again.h5"), "--json"],
        )
        (found[name],) = json.loads(result.output)["cautions"]
    return found


def _marked(names: Iterable[str]) -> list[object]:
    """The names, all but a few of them marked as slow."""
    return slow_but(EVERYDAY, names)


@pytest.mark.parametrize("command", _marked(PRINTING))
def test_a_command_says_the_caution_once(
    command: str, folder: Path, expected: dict[str, str],
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(folder)
    args = PRINTING[command]
    caution = expected["ruled" if "ruled.toml" in args else "slits"]
    assert run(*args) == 0
    assert " ".join(capsys.readouterr().out.split()).count(f"caution {caution}") == 1
    assert run(*args, "--json") == 0
    assert json.loads(capsys.readouterr().out)["cautions"] == [caution]


def test_a_harmless_source_has_none(
    folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    Path("lamp.toml").write_text(SUNLIT.replace('"sun"', '"illuminant"\nname = "A"'))
    assert run("predict", "lamp.toml") == 0
    assert "caution" not in capsys.readouterr().out


@pytest.mark.parametrize("drawing", _marked(DRAWING))
def test_a_figure_may_leave_it_out(
    drawing: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """An SVG holds its texts as comments, a line of text each."""
    monkeypatch.chdir(folder)
    found = {}
    for name, options in (("with", ()), ("without", ("--no-caution",))):
        args = [f"{drawing}_{name}.svg" if word == "F" else word for word in DRAWING[drawing]]
        assert run(*args, *options) == 0
        assert "qualified supervisor" in " ".join(capsys.readouterr().out.split())
        text = Path(f"{drawing}_{name}.svg").read_text()
        found[name] = any(caution in text for caution in ("Sunlight:", "Laser of 2 mW:"))
    assert found == {"with": True, "without": False}


@pytest.mark.parametrize("args", [
    ["point", "slits.h5", "--x", "5 mm", "--size", "a4"],
    ["compare", "slits.toml", "--bar"],
    ["profile", "ruled.toml", "--no-caution"],
    ["efficiency", "ruled.toml", "--size", "web"],
    ["fit", "slits.toml", "slits.h5", "--free", "aperture.width", "--bar"],
    ["study", "study.toml", "--size", "letter"],
])  # fmt: skip
def test_how_a_figure_looks_needs_a_figure(
    args: list[str], folder: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    monkeypatch.chdir(folder)
    assert run(*args) == 2
    assert "needs --figure" in " ".join(capsys.readouterr().err.split())


@pytest.mark.parametrize("drawing", ["point", "profile", "efficiency", "fit", "map"])
def test_a_bar_is_refused_on_a_screen_before_any_work(
    drawing: str, folder: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(folder)
    args = ["bar.png" if word == "F" else word for word in DRAWING[drawing]]
    assert run(*args, "--size", "web", "--bar") == 2
    assert "for paper only" in capsys.readouterr().err
    assert not Path("bar.png").exists()
