"""The figure command: every drawing and every kind of mark, from a scene and from a plate file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from wavesim.cli import main

SCENE = """
schema = 1
title = "Two periods"
[source]
kind = "lamp"
element = "Hg"
slit = { width = "20 um", height = "1 mm" }
[bench]
collimator = "600 mm"
camera = "600 mm"
viewing = "19.1 deg"
[aperture]
kind = "grating"
count = 3000
density = "600 / mm"
[[aperture.defects]]
kind = "periodic"
amplitude = "20 nm"
period = 60
[plate]
width = "60 mm"
height = "1 mm"
pixel = "50 um"
"""


def run(*words: str) -> int | str | None:
    with pytest.raises(SystemExit) as end:
        main(list(words))
    return end.value.code


@pytest.mark.parametrize(
    "options",
    [
        [],
        ["--log", "--mark", "ghosts", "--size", "slide"],
        ["--mark", "lines"],
        ["--draw", "map"],
        ["--draw", "colours", "--title", "Where the colours go"],
    ],
)
def test_every_drawing(tmp_path: Path, options: list[str]) -> None:
    (tmp_path / "scene.toml").write_text(SCENE)
    out = tmp_path / "figure.png"
    assert run("figure", str(tmp_path / "scene.toml"), "-o", str(out), *options) == 0
    with Image.open(out) as picture:
        assert min(picture.size) > 400
        assert len(picture.convert("RGB").getcolors(1 << 24) or []) > 20  # something is drawn


def test_from_a_plate_file_and_as_json(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "scene.toml").write_text(SCENE)
    plate = tmp_path / "plate.h5"
    assert run("expose", str(tmp_path / "scene.toml"), "-o", str(plate)) == 0
    capsys.readouterr()
    out = tmp_path / "figure.pdf"
    assert run("figure", str(plate), "-o", str(out), "--json") == 0
    assert json.loads(capsys.readouterr().out)["title"] == "Two periods"
    assert out.read_bytes().startswith(b"%PDF")


def test_ghosts_are_marked_where_the_formula_puts_them() -> None:
    """x = f tan(asin((m + 1/P) lambda / d) - axis) for the strongest line, 546.0749 nm."""
    import math

    from wavesim.cli.figure import _ghost_marks
    from wavesim.lightpath import expose
    from wavesim.scene import parse

    plate = expose(parse(SCENE))
    marks = [mark for mark in _ghost_marks(plate) if mark.kind == "ghost"]
    sine = (1 + 1 / 60) * 546.0749e-9 * 600e3
    x = 0.6 * math.tan(math.asin(sine) - math.radians(19.1))
    assert min(abs(mark.position_m - x) for mark in marks) < 1e-6  # the line list's last digit


def test_wrong_ending(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "scene.toml").write_text(SCENE)
    assert run("figure", str(tmp_path / "scene.toml"), "-o", "figure.gif") == 2
    assert "ends in .png or .pdf or .svg" in capsys.readouterr().err
