"""Every command that the gallery and the scenes' comments write is one that the program takes.

All are parsed as they would be, and the scenes that they name are read; a few are run whole.
"""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import click
import pytest

import wavesim
from tests.shipped import NAMES
from wavesim.cli import _wavesim, main

ROOT = Path(__file__).resolve().parents[1]
WORD = r'(?:"[^"]*"|[\w.%/+-]*\w)'
COMMAND = re.compile(
    rf"wavesim \w+(?: -?-?{WORD})*? scenes/[\w/]+\.toml(?: {WORD}\.\w+)*"
    rf"(?: -{{1,2}}[\w-]+(?: {WORD})?)*"
)
RUN = ("predict", "profile", "compare", "tolerance")  # take seconds


def written() -> list[tuple[str, str]]:
    """File and command of all comments of scenes and studies, and of the pages' running text."""
    found = []
    files = [*ROOT.glob("scenes/*.toml"), *ROOT.glob("scenes/*/*.toml"), ROOT / "scenes/README.md"]
    for path in sorted(files):
        text = path.read_text(encoding="utf-8")
        if path.suffix == ".toml":
            lines = [line[1:].strip() for line in text.splitlines() if line.startswith("#")]
            text = " ".join(lines)
        found += [
            (path.name, command) for command in COMMAND.findall(text) if "NAME" not in command
        ]
    names = [name for name in NAMES if f"({name}.toml)" in (ROOT / "scenes/README.md").read_text()]
    return [*found, *(("README.md", f"wavesim expose scenes/{name}.toml") for name in names)]


WRITTEN = written()


def test_commands_are_found() -> None:
    files = {file for file, _ in WRITTEN}
    assert {"README.md", "grating_screw.toml", "replica.toml"} <= files
    assert sum(file == "README.md" for file, _ in WRITTEN) == len(NAMES)


@pytest.mark.parametrize(("file", "command"), WRITTEN)
def test_a_written_command_is_one_of_the_program(file: str, command: str) -> None:
    _, name, *args = shlex.split(command)
    with click.Context(_wavesim) as context:
        known = _wavesim.get_command(context, name)
        assert known is not None, file
        assert known.make_context(name, [*args], parent=context).params, file
    scene = next(word for word in args if word.startswith("scenes/"))
    assert wavesim.load(ROOT / scene).title


@pytest.mark.slow
@pytest.mark.parametrize(
    "command", [command for file, command in WRITTEN if command.split()[1] in RUN]
)
def test_a_written_command_runs(
    command: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
) -> None:  # fmt: skip
    (tmp_path / "scenes").symlink_to(ROOT / "scenes")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(SystemExit) as end:
        main(shlex.split(command)[1:])
    assert end.value.code in (0, None)
    assert capsys.readouterr().out
