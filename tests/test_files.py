"""Replacing a file: what may be replaced, and what a killed writer leaves behind.

There is no outside source: the folder itself shows what is left.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from wavesim.errors import OutputError
from wavesim.files import replacing

WRITER = """
import sys
from wavesim.files import replacing
with replacing(sys.argv[1]) as temporary:
    temporary.write_text("from another process")
    print(temporary.name, flush=True)
    sys.stdin.read()
"""


@contextmanager
def another_writer(target: Path) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """A process that has half written the file, and the name of its temporary file."""
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE}
    with subprocess.Popen([sys.executable, "-c", WRITER, target], text=True, **pipes) as writer:  # type: ignore[call-overload]
        yield writer, writer.stdout.readline().strip()


def write(target: Path, text: str) -> None:
    with replacing(target) as temporary:
        temporary.write_text(text)


def names(folder: Path) -> set[str]:
    return {path.name for path in folder.iterdir()}


def test_what_a_killed_writer_left_goes_with_the_next_write(tmp_path: Path) -> None:
    target = tmp_path / "a.h5"
    with another_writer(target) as (writer, temporary):
        writer.send_signal(signal.SIGKILL)
    assert names(tmp_path) == {temporary}
    write(tmp_path / "b.h5", "another name leaves it")
    assert names(tmp_path) == {temporary, "b.h5"}
    write(target, "mine")
    assert names(tmp_path) == {"a.h5", "b.h5"}


def test_a_living_writer_is_left_alone(tmp_path: Path) -> None:
    target = tmp_path / "a.h5"
    with another_writer(target) as (writer, temporary):
        write(target, "mine")
        assert names(tmp_path) == {"a.h5", temporary}
        assert target.read_text() == "mine"
        writer.communicate()  # ends its input: it goes on
        assert writer.returncode == 0
    assert target.read_text() == "from another process"
    assert names(tmp_path) == {"a.h5"}


def test_two_writers_in_one_process(tmp_path: Path) -> None:
    target = tmp_path / "a.h5"
    with replacing(target) as outer:
        outer.write_text("outer")
        write(target, "inner")
        assert target.read_text() == "inner"
    assert target.read_text() == "outer"


def test_only_our_own_leavings_are_cleared_away(tmp_path: Path) -> None:
    others = {".a.h5.12345678", ".a.h5.123.wavesim-part", "a.h5.12345678.wavesim-part"}
    for name in others:
        (tmp_path / name).write_text("somebody's")
    os.mkfifo(tmp_path / ".a.h5.12345678.wavesim-part")  # opening it would wait for ever
    write(tmp_path / "a.h5", "mine")
    assert names(tmp_path) == {*others, ".a.h5.12345678.wavesim-part", "a.h5"}


@pytest.mark.parametrize("kind", ["pipe", "device", "folder"])
def test_only_a_file_is_replaced(kind: str, tmp_path: Path) -> None:
    target = tmp_path / "a.h5"
    match kind:
        case "pipe":
            os.mkfifo(target)
        case "device":
            target.symlink_to(os.devnull)
        case "folder":
            target.mkdir()
    before = target.lstat()
    with pytest.raises(
        OutputError, match=r"a\.h5: is (not an ordinary file|a folder); expected the"
    ):
        write(target, "mine")
    assert target.lstat() == before
    assert names(tmp_path) == {"a.h5"}


def test_permissions_are_those_of_the_file_that_was_there(tmp_path: Path) -> None:
    target = tmp_path / "a.h5"
    for mode in (0o600, 0o640, 0o444):
        target.touch()
        target.chmod(mode)
        write(target, "new")
        assert target.stat().st_mode & 0o777 == mode


def test_a_new_file_gets_what_the_umask_leaves_and_nobody_else_s_umask_changes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def forbidden(_mask: int) -> int:
        raise AssertionError("the umask belongs to the whole process")

    old = os.umask(0o027)
    try:
        monkeypatch.setattr(os, "umask", forbidden)
        write(tmp_path / "a.h5", "new")
    finally:
        monkeypatch.undo()
        os.umask(old)
    assert (tmp_path / "a.h5").stat().st_mode & 0o777 == 0o640


@pytest.mark.parametrize("length", [200, 233, 255])
def test_the_longest_names_can_be_written(tmp_path: Path, length: int) -> None:
    target = tmp_path / ("n" * (length - 3) + ".h5")
    write(target, "new")
    assert names(tmp_path) == {target.name}
