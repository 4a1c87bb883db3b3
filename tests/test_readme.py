"""The README's examples are run as they stand."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from wavesim.cli import main

ROOT = Path(__file__).resolve().parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GALLERY = (ROOT / "scenes" / "README.md").read_text(encoding="utf-8")
SETTING_UP = ("python3 -m venv", ".ci/run")  # what a test cannot run within itself


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", README, re.DOTALL | re.MULTILINE)


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the shipped scenes in it, for the examples to work in."""
    (tmp_path / "scenes").symlink_to(ROOT / "scenes")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(line: str) -> tuple[int, str]:
    """Status and output of one command line that starts with `wavesim`."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), pytest.raises(SystemExit) as end:
        main(shlex.split(line)[1:])
    return int(end.value.code or 0), out.getvalue()


def test_python_examples(desk: Path, capsys: pytest.CaptureFixture[str]) -> None:
    names: dict[str, object] = {}
    for block in blocks("python"):
        exec(compile(block, "README.md", "exec"), names)
    printed = capsys.readouterr().out.splitlines()
    assert re.fullmatch(r"exposed \d\.\d\d s, brightest pixel \d+ lx", printed[0])
    assert float(printed[1]) == pytest.approx(0.497, abs=5e-4)  # the digits that README shows
    assert (desk / "slits_005.png").stat().st_size > 0


def test_the_first_screen_is_the_job_one_command_and_one_picture() -> None:
    screen = README[: README.index("\n## ")]
    assert screen.count("\n") <= 36  # lines of a screen, its picture apart
    assert re.findall(r"^```(\w+)$", screen, re.MULTILINE) == ["sh"]
    assert len(blocks("sh")[0].splitlines()) == 1
    assert "wavesim expose scenes/slits_005.toml" in screen
    assert re.findall(r"!\[[^\]]+\]\(([^)]+)\)", screen) == ["scenes/pictures/slits_005.png"]


def test_the_first_lines_of_python_are_few() -> None:
    assert len(blocks("python")[0].splitlines()) <= 12


def test_console_example(desk: Path) -> None:
    for block in blocks("console"):
        line, _, expected = block.partition("\n")
        status, output = run(line.removeprefix("$ "))
        assert status == 0
        assert untimed(output) == untimed(expected)
        assert (desk / "slits_005.h5").exists()


def untimed(text: str) -> str:
    """The same without the wall time and the estimate of a method."""
    together = " ".join(text.split())
    return re.sub(r"in [\d.e+-]+ s:|to \S+ in white light", "...", together)


@pytest.mark.slow
@pytest.mark.usefixtures("desk")
def test_shell_examples() -> None:
    lines = [line for block in blocks("sh") for line in block.splitlines()]
    commands = [line for line in lines if line.startswith("wavesim ")]
    assert commands
    for line in commands:
        status, _ = run(line)
        assert status == 0, line
    assert all(line.startswith(("wavesim ", *SETTING_UP)) for line in lines)


def test_the_scene_in_brief_is_a_scene() -> None:
    from wavesim import parse

    for block in blocks("toml"):
        assert parse(block).aperture.kind == "slits"


def test_pictures_and_links_are_there_and_small() -> None:
    targets = re.findall(r"\]\(([^)#]+)\)", README)
    local = [target for target in targets if "://" not in target]
    assert local
    for target in local:
        assert (ROOT / target).exists(), target
    pictures = list((ROOT / "scenes" / "pictures").glob("*.png"))
    for picture in pictures:
        assert picture.stat().st_size <= 700_000
        assert f"(pictures/{picture.name})" in GALLERY
    assert sum(picture.stat().st_size for picture in pictures) < 9_000_000  # a clone stays small


def test_the_gallery_shows_every_scene_and_its_links_lead_somewhere() -> None:
    for scene in (ROOT / "scenes").glob("*.toml"):
        assert f"(pictures/{scene.stem}.png)" in GALLERY
        assert f"({scene.name})" in GALLERY
    for target in re.findall(r"\]\(([^)#]+)\)", GALLERY):
        assert (ROOT / "scenes" / target).exists(), target


def test_every_command_in_the_table_exists() -> None:
    named = set(re.findall(r"^\| `wavesim (\w+)", README, re.MULTILINE))
    help_text = CliRunner().invoke(_group(), ["--help"]).output  # type: ignore[arg-type]
    listed = set(re.findall(r"^  (\w+)  ", help_text.split("Commands:")[1], re.MULTILINE))
    assert named == listed


def _group() -> object:
    from wavesim import cli

    return cli._wavesim
