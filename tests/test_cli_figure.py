"""The figure command: every drawing and every kind of mark, from a scene and from a plate file."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from PIL import Image

from tests.parameters import slow_beyond
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


def run(*args: str) -> int | str | None:
    with pytest.raises(SystemExit) as end:
        main(list(args))
    return end.value.code


@pytest.mark.parametrize(
    "options",
    slow_beyond(
        1,
        [
            [],
            ["--log", "--mark", "ghosts", "--size", "slide"],
            ["--mark", "lines"],
            ["--draw", "map"],
            ["--draw", "colours", "--title", "Where the colours go"],
        ],
    ),
)
def test_every_drawing(tmp_path: Path, options: list[str]) -> None:
    (tmp_path / "scene.toml").write_text(SCENE)
    out = tmp_path / "figure.png"
    assert run("figure", str(tmp_path / "scene.toml"), "-o", str(out), *options) == 0
    with Image.open(out) as picture:
        assert min(picture.size) > 400
        assert len(picture.convert("RGB").getcolors(1 << 24) or []) > 20  # something is drawn


@pytest.mark.slow
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


def test_lines_are_marked_where_their_light_falls() -> None:
    """Mercury's wavelengths, each at f tan(asin(m lambda / d) - axis)."""
    import math

    from wavesim.figures.line_marks import line_marks
    from wavesim.lightpath import expose
    from wavesim.scene import parse

    marks = {mark.label: mark.position_m for mark in line_marks(expose(parse(SCENE)))}
    assert {"546.1", "577.0", "579.1"} <= set(marks)
    assert all(label.replace(".", "").isdigit() for label in marks)
    x = 0.6 * math.tan(math.asin(546.0749e-9 * 600e3) - math.radians(19.1))
    assert marks["546.1"] == pytest.approx(x, abs=1e-6)
    sun = SCENE.replace('kind = "lamp"\nelement = "Hg"', 'kind = "sun"')
    green = sun.replace(
        "[bench]",
        '[[source.filters]]\nkind = "bandpass"\ncentre = "520 nm"\nwidth = "10 nm"\n[bench]',
    )
    letters = {mark.label for mark in line_marks(expose(parse(green)))}
    assert {"E", "b1", "b2"} <= letters  # 526.96, 518.36, 517.27 nm pass the filter
    assert not letters & {"D1", "D2", "a", "C", "F"}


def test_a_source_without_lines_is_said_so(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    led = SCENE.replace('kind = "lamp"\nelement = "Hg"', 'kind = "blackbody"\ntemperature = "3 kK"')
    (tmp_path / "scene.toml").write_text(led)
    assert run("figure", str(tmp_path / "scene.toml"), "-o", "f.png", "--mark", "lines") == 2
    printed = capsys.readouterr().err
    assert all(fact in printed for fact in ("blackbody", "no lines", "--mark orders"))


def test_wrong_ending(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "scene.toml").write_text(SCENE)
    assert run("figure", str(tmp_path / "scene.toml"), "-o", "figure.gif") == 2
    assert "ends in .png or .pdf or .svg" in capsys.readouterr().err
