"""Every command that writes, where it may not, where there is no room, and under odd names.

There is no outside source: that the old file stays or a whole new one stands is common practice.
"""

from __future__ import annotations

import contextlib
import io
import os
import resource
import shutil
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

import wavesim.cli
from tests.mutated_commands import check_whole, furnish_all

# a command that writes a file, and the file's ending
WRITERS: tuple[tuple[str, tuple[str, ...]], ...] = (
    (".h5", ("expose", "bench.toml", "-o")),
    (".png", ("expose", "bench.toml", "--png")),
    (".png", ("develop", "plate.h5", "-o")),
    (".tif", ("develop", "plate.h5", "--depth", "32", "-o")),
    (".png", ("point", "bench.toml", "--x", "3 mm", "--figure")),
    (".csv", ("profile", "grating.toml", "--span", "0.5", "--table")),
    (".csv", ("profile", "grating.toml", "--span", "0.5", "--ghosts")),
    (".svg", ("profile", "grating.toml", "--span", "0.5", "--figure")),
    (".csv", ("measure", "circle.csv", "--circle", "--density", "600 / mm", "--csv")),
    (".csv", ("efficiency", "rigorous.toml", "--points", "2", "--from", "500 nm", "-o")),
    (".h5", ("efficiency", "rigorous.toml", "--points", "2", "--from", "500 nm", "-o")),
    (".h5", ("compare", "bench.toml", "--only", "order-places", "--steps", "2", "-o")),
    (".toml", ("fit", "pair.toml", "pair.png", "--free", "aperture.width", "--pixel", "160 um",
               "-o")),
    (".h5", ("study", "study.toml", "--workers", "1", "-o")),
    (".pdf", ("figure", "plate.h5", "-o")),
    (".png", ("sheet", "plate.h5", "plate.h5", "-o")),
    (".gif", ("animate", "bench.toml", "--vary", "aperture.count=1,2", "-o")),
    (".md", ("keys", "--markdown", "-o")),
    (".json", ("schema", "-o")),
)  # fmt: skip
EVERY_WRITER = pytest.mark.parametrize(
    ("ending", "line"), WRITERS, ids=[f"{line[0]}{ending}" for ending, line in WRITERS]
)
OLD = "old"


@pytest.fixture(scope="module")
def furnished(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("desk")
    furnish_all(folder)
    return folder


@pytest.fixture
def desk(furnished: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder with one file of each kind, as it is again afterwards."""
    monkeypatch.chdir(furnished)
    before = {path.name: path.read_bytes() for path in furnished.iterdir() if path.is_file()}
    yield furnished
    for path in furnished.iterdir():
        if path.name.endswith(".parts"):  # of a study that goes on from there
            shutil.rmtree(path)
        elif path.is_file() and path.name not in before:
            path.unlink()
    assert {p.name: p.read_bytes() for p in furnished.iterdir() if p.is_file()} == before


def run(*args: str) -> tuple[int, str]:
    """Status and complaint of a command, run in this process as the program runs it."""
    errors = io.StringIO()
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(errors):
        status = wavesim.cli._run(list(args))
    return status, errors.getvalue()


def refused(outcome: tuple[int, str], message: str) -> None:
    status, errors = outcome
    assert (status, errors.count("\n")) == (2, 1), outcome
    assert message in errors, errors


@contextlib.contextmanager
def few_bytes(most: int) -> Iterator[None]:
    """No file may grow beyond so many bytes: as on a full disk."""
    usual = resource.getrlimit(resource.RLIMIT_FSIZE)
    resource.setrlimit(resource.RLIMIT_FSIZE, (most, usual[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, usual)


def left_in(folder: Path) -> list[str]:
    """Temporary files; the parts of a study that failed stay for the next run."""
    return sorted(path.name for path in folder.iterdir() if path.name.endswith(".wavesim-part"))


@pytest.mark.slow
@EVERY_WRITER
def test_without_room_the_old_file_stays(ending: str, line: tuple[str, ...], desk: Path) -> None:
    target = desk / f"target{ending}"
    target.write_text(OLD)
    with few_bytes(20):
        outcome = run(*line, target.name)
    refused(outcome, "no room for all of it" if ending == ".tif" else "File too large")
    assert target.read_text() == OLD
    assert not left_in(desk)


# as long as a name may be, with all that the names alone have
ODD = "-new words.b \u03b2\U0001f4a9" + "x" * 250


@pytest.mark.slow
@EVERY_WRITER
def test_a_file_of_any_name_is_written_whole(
    ending: str, line: tuple[str, ...], desk: Path
) -> None:
    written_whole(ODD, ending, line, desk)


@pytest.mark.slow
@pytest.mark.parametrize("stem", ["-new", "new words", "\u03b2\U0001f4a9", "x" * 250, "a.b"])
def test_a_name_odd_in_one_way_is_written_whole(stem: str, desk: Path) -> None:
    for ending, line in WRITERS[:3]:
        written_whole(stem, ending, line, desk)


def written_whole(stem: str, ending: str, line: tuple[str, ...], desk: Path) -> None:
    """The name cut to 250 bytes with its ending, which leaves room for a temporary one."""
    stem = os.fsencode(stem)[: 250 - len(os.fsencode(ending))].decode()
    assert run(*line, f"{stem}{ending}") == (0, "")
    check_whole(desk / f"{stem}{ending}")
    assert not left_in(desk)


@EVERY_WRITER
def test_what_is_no_file_is_refused_before_any_work(
    ending: str, line: tuple[str, ...], desk: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def work(*_: object, **__: object) -> None:
        raise AssertionError("work was done before the refusal")

    for name in ("expose", "open_plate"):
        monkeypatch.setattr(f"wavesim.lightpath.{name}", work)
    (desk / f"folder{ending}").mkdir(exist_ok=True)
    refused(run(*line, f"folder{ending}"), "is a folder")
    refused(run(*line, f"nowhere/a{ending}"), "there is no folder")
    refused(run(*line, f"bench.toml/a{ending}"), "there is no folder")
    refused(run(*line, f"{'x' * 300}{ending}"), "File name too long")


@pytest.mark.skipif(os.geteuid() != 0, reason="only root can become somebody else")
def test_a_folder_of_somebody_else(desk: Path) -> None:
    """In a child that gave its rights away: root may write everywhere."""
    desk.chmod(0o755)
    for above in list(desk.parents)[:3]:
        above.chmod(above.stat().st_mode | 0o055)
    child = os.fork()
    if child == 0:
        status = 1
        with contextlib.suppress(BaseException):
            os.setgroups([])
            os.setgid(65534)
            os.setuid(65534)
            for ending, line in WRITERS:
                refused(run(*line, f"target{ending}"), "is read-only")
            status = 0
        os._exit(status)
    assert os.waitpid(child, 0)[1] == 0


@pytest.mark.slow
@EVERY_WRITER
def test_two_processes_write_one_file(ending: str, line: tuple[str, ...], desk: Path) -> None:
    target = desk / f"both{ending}"
    begin = time.monotonic() + 0.2
    children = []
    for _ in range(2):
        child = os.fork()
        if child == 0:
            status = 1
            with contextlib.suppress(BaseException):
                time.sleep(max(0.0, begin - time.monotonic()))
                status = run(*line, target.name)[0]
            os._exit(status)
        children.append(child)
    ends = [os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) for child in children]
    assert ends == [0, 0] or (line[0] == "study" and sorted(ends) == [0, 2])
    check_whole(target)
    assert not left_in(desk)


@pytest.mark.parametrize(
    "line",
    [
        ("fit", "pair.toml", "pair.png", "--free", "aperture.width", "--pixel", "160 um",
         "-o", "pair.toml"),
        ("fit", "pair.toml", "pair.png", "--free", "aperture.width", "--pixel", "160 um",
         "--figure", "pair.png"),
        ("measure", "circle.csv", "--circle", "--density", "600 / mm", "--csv", "circle.csv"),
        ("develop", "out.png", "-o", "out.png"),
        ("study", "study.toml", "-o", "study.toml"),
        ("figure", "plate.h5", "-o", "plate.h5"),
        ("expose", "bench.toml", "-o", "bench.toml"),
    ],
)  # fmt: skip
@pytest.mark.usefixtures("desk")
def test_what_is_read_stays_as_it_was(line: tuple[str, ...]) -> None:
    status, errors = run(*line)
    assert (status, errors.count("\n")) == (2, 1), errors
