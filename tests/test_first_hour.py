"""The first hour is run as it stands: every command line and every line of Python."""

from __future__ import annotations

import contextlib
import doctest
import io
import re
import shlex
import subprocess
from pathlib import Path

import pytest

from wavesim.cli import main

ROOT = Path(__file__).resolve().parents[1]
PAGE = (ROOT / "scenes" / "FIRST_HOUR.md").read_text(encoding="utf-8")
ALIKE = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE
FILES = ("slits_005.png", "slits_005.h5", "six.png", "mercury.h5", "ghosts.png", "series.png")


def blocks(language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```$", PAGE, re.DOTALL | re.MULTILINE)


def steps() -> list[tuple[str, str]]:
    """Each command (its `> ` lines joined to it) and what the page shows of its output."""
    pattern = r"^\$ (.*\n(?:> .*\n)*)((?:(?!\$ ).*\n)*)"
    found = [step for block in blocks("console") for step in re.findall(pattern, block, re.M)]
    return [(re.sub(r"^> ", "", command, flags=re.M), shown) for command, shown in found]


def run(command: str) -> str:
    """Output of one command; `wavesim` in this process, anything else by the shell."""
    if not command.startswith("wavesim "):
        return subprocess.run(
            ["sh", "-c", command], check=True, capture_output=True, text=True
        ).stdout
    out = io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(out),
        pytest.raises(SystemExit) as end,
    ):
        main(shlex.split(command)[1:])
    assert end.value.code in ((2,) if "slip" in command else (0, None)), out.getvalue()
    return out.getvalue()


@pytest.fixture
def desk(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with the shipped scenes in it, for the hour to be spent in."""
    (tmp_path / "scenes").symlink_to(ROOT / "scenes")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.slow
def test_every_command_shows_what_the_page_shows(desk: Path) -> None:
    checker = doctest.OutputChecker()
    commands = steps()
    assert len(commands) >= 10
    for command, shown in commands:
        output = run(command)
        assert checker.check_output(shown, output, ALIKE), f"{command}\n{output}"
    for name in FILES:
        assert (desk / name).stat().st_size > 0, name


def test_every_line_of_python_gives_what_the_page_gives(desk: Path) -> None:
    text = "\n".join(blocks("pycon"))
    test = doctest.DocTestParser().get_doctest(text, {}, "FIRST_HOUR.md", None, 0)
    said = io.StringIO()
    result = doctest.DocTestRunner(optionflags=ALIKE).run(test, out=said.write)
    assert result.attempted >= 20
    assert result.failed == 0, said.getvalue()
    assert (desk / "series.png").exists()


def test_the_page_is_found_and_its_pictures_are_there() -> None:
    assert "scenes/FIRST_HOUR.md" in (ROOT / "README.md").read_text(encoding="utf-8")
    pictures = re.findall(r"!\[[^\]]+\]\(([^)]+)\)", PAGE)
    assert pictures
    for picture in pictures:
        assert (ROOT / "scenes" / picture).exists(), picture
