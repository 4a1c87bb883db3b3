"""The shell around the computation: terminals, signals, closed streams, full disks, odd names.

What would be right is common practice of command lines (POSIX exit statuses; ECMA-48 names the
control characters); each test says what a person at the terminal would see.
"""

from __future__ import annotations

import json
import os
import pty
import re
import signal
import subprocess
import sys
import time
import warnings
from pathlib import Path

import numpy as np
import pytest

from tests.bench import SMALL_SCENE
from wavesim.cli import common, signals
from wavesim.errors import InputError, SceneError, TableError
from wavesim.scene import parse
from wavesim.scene.units import UnitError, measure

ROOT = Path(__file__).resolve().parents[1]
ESCAPE = "\x1b[31mred\x9b31m"


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    (tmp_path / "three.toml").write_text(SMALL_SCENE)
    return tmp_path


def wavesim(
    desk: Path, *args: str, before: str = "", **environment: str
) -> subprocess.CompletedProcess[str]:
    """The command in a shell, after other words of the shell."""
    line = f'{before} exec "{sys.executable}" -m wavesim "$@"'
    return subprocess.run(
        ["bash", "-c", line, "wavesim", *args],
        cwd=desk, env={**os.environ, "PYTHONPATH": str(ROOT), **environment},
        capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip


# ---- what reaches a terminal


def test_json_holds_no_character_that_steers_a_terminal(capsys: pytest.CaptureFixture[str]) -> None:
    given = {"title": f"{ESCAPE}\x85\u202e", "umlaut": "Fünf Spalte, 干涉"}
    common.echo_json(given)
    said = capsys.readouterr().out
    assert all(c.isprintable() or c == "\n" for c in said)
    assert "Fünf Spalte, 干涉" in said
    assert json.loads(said) == given


def test_progress_shows_a_name_in_one_short_line_without_control_characters() -> None:
    terminal, end = pty.openpty()
    child = os.fork()
    if child == 0:
        os.dup2(end, 2)
        sys.stderr = os.fdopen(2, "w")
        with common.progress(f"{ESCAPE}\n{'x' * 500}") as show:
            show(f"stage {ESCAPE}")
            time.sleep(0.3)
        os._exit(0)
    os.close(end)
    said = b""
    try:
        while chunk := os.read(terminal, 65536):
            said += chunk
    except OSError:  # the other end is closed
        pass
    os.waitpid(child, 0)
    assert b"\x1b[31mred" not in said
    assert b"\xc2\x9b" not in said
    assert b"x" * 100 not in said
    assert b"stage" in said


@pytest.mark.parametrize(
    "error",
    [
        InputError("is wrong", file="a\nb" * 200_000, key="k" * 500_000, value="v\n" * 9000),
        InputError("p" * 500_000, expected=ESCAPE * 100_000),
    ],
)
def test_a_message_is_one_line_that_can_be_read(error: InputError) -> None:
    assert len(str(error)) < 1500
    assert str(error).isprintable()


# ---- signals


def test_a_signal_in_a_callback_waits_until_it_is_heard() -> None:
    """An exception raised in __del__ or in a callback of C code would be dropped."""
    usual = {n: signal.getsignal(n) for n in (signal.SIGTERM, signal.SIGINT, signal.SIGALRM)}
    went_on = []

    class Deaf:
        def __del__(self) -> None:
            os.kill(os.getpid(), signal.SIGTERM)
            time.sleep(0.05)
            went_on.append(True)

    try:
        signals.listen()
        deaf: list[object] = [Deaf()]
        with pytest.raises(SystemExit) as left:
            _drop_and_wait(deaf)
        assert left.value.code == signals.status() == 128 + signal.SIGTERM
        assert went_on
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0)
        for number, handler in usual.items():
            signal.signal(number, handler)
        signals._struck.clear()


_STRUCK_AT_THE_END = """
import atexit, os, signal, time
import wavesim.cli as cli

class Deaf:
    def __del__(self):
        os.kill(os.getpid(), signal.SIGTERM)

def done(args):
    Deaf()  # the signal is noted, and waits
    return 0

cli._guarded = done
atexit.register(time.sleep, 0.2)  # Python takes its time to end
cli.main([])
"""


def test_a_signal_that_waits_when_all_is_done_gives_the_status() -> None:
    """The alarm that was to hear it once more ended the process: "Alarm clock", status 142."""
    ended = subprocess.run(
        [sys.executable, "-c", _STRUCK_AT_THE_END], cwd=ROOT, capture_output=True, check=False
    )
    said = b"wavesim: interrupted after everything had been written\n"
    assert (ended.returncode, ended.stderr) == (128 + signal.SIGTERM, said)


_STRUCK_AT_A_START = """
import os, signal, sys, threading
from concurrent.futures import ThreadPoolExecutor
import wavesim.cli as cli

wait, pool = threading.Event.wait, ThreadPoolExecutor(1)

def struck(event, timeout=None):  # a thread is waited for until it has begun
    threading.Event.wait = wait
    os.kill(os.getpid(), signal.SIGTERM)
    return wait(event, timeout)

def work(args):
    threading.Event.wait = struck
    pool.submit(int).result()
    wait(threading.Event(), 20)
    return 0

cli._guarded = work
cli.main([])
"""


def test_a_signal_while_a_thread_starts_waits_until_it_has() -> None:
    """Interrupted there, the pool did not know its thread, and Python waited for it for ever."""
    ended = subprocess.run(
        [sys.executable, "-c", _STRUCK_AT_A_START],
        cwd=ROOT, capture_output=True, check=False, timeout=60,
    )  # fmt: skip
    assert (ended.returncode, ended.stderr) == (128 + signal.SIGTERM, b"")


def _drop_and_wait(things: list[object]) -> None:
    things.clear()
    time.sleep(2)


@pytest.mark.slow
def test_ctrl_c_at_any_early_moment_shows_no_traceback(desk: Path) -> None:
    """Python itself needs some 20 ms before it runs a line of ours."""
    for wait_s in (0.05, 0.08, 0.12, 0.16, 0.25, 0.4):
        with subprocess.Popen(
            [sys.executable, "-m", "wavesim", "expose", "three.toml", "--json"],
            cwd=desk, env={**os.environ, "PYTHONPATH": str(ROOT)}, text=True,
            stdout=subprocess.PIPE, stderr=subprocess.PIPE,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        ) as child:  # fmt: skip
            time.sleep(wait_s)
            child.send_signal(signal.SIGINT)
            _, said = child.communicate(timeout=60)
        assert child.returncode in (0, 1, 130, -signal.SIGINT)
        if child.returncode in (1, -signal.SIGINT):  # before our first line: Python's own end
            assert "wavesim/cli" not in said
            assert "an error in wavesim itself" not in said
        else:
            assert "Traceback" not in said


def test_end_of_input_is_no_interrupt(monkeypatch: pytest.MonkeyPatch) -> None:
    import wavesim.cli as cli

    def broken(*_: object, **__: object) -> None:
        raise EOFError("ran out of input")

    monkeypatch.setattr(cli._wavesim, "invoke", broken)
    assert cli._run(["schema"]) == 1


# ---- streams, folders, names, environment


def test_wrong_input_is_told_by_the_status_where_nobody_listens(desk: Path) -> None:
    assert wavesim(desk, "expose", "missing.toml", before="exec 2>&-;").returncode == 2


def test_a_working_folder_that_is_gone(desk: Path) -> None:
    done = wavesim(desk, "schema", before="mkdir gone; cd gone; rmdir ../gone;")
    assert done.returncode in (0, 2)
    done = wavesim(desk, "expose", "a.toml", "-o", "a.h5", before="mkdir g; cd g; rmdir ../g;")
    assert done.returncode == 2
    assert "folder" in done.stderr
    assert "report" not in done.stderr


@pytest.mark.slow
def test_leftovers_of_a_shell_change_nothing(desk: Path) -> None:
    odd = {"MPLBACKEND": "nonsense", "NUMBA_NUM_THREADS": "many"}
    done = wavesim(desk, "figure", "three.toml", "-o", "a.png", **odd)
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.slow
def test_a_home_that_cannot_be_written_is_not_talked_about(desk: Path) -> None:
    home = desk / "three.toml" / "home"  # a file is in the way, even for those who may write all
    unset = "unset MPLCONFIGDIR XDG_CONFIG_HOME XDG_CACHE_HOME;"
    done = wavesim(desk, "figure", "three.toml", "-o", "f.png", before=unset, HOME=str(home))
    assert (done.returncode, done.stderr) == (0, "")


@pytest.mark.slow
def test_a_page_that_cannot_be_written_whole(desk: Path) -> None:
    """A file beyond what the shell allows fails in the same way as one on a full disk."""
    done = wavesim(desk, "sheet", "three.toml", "-o", "a.pdf", before="ulimit -f 4;")
    assert done.returncode == 2
    assert "a.pdf: cannot be written" in done.stderr
    assert sorted(p.name for p in desk.iterdir()) == ["three.toml"]


def test_a_name_that_is_too_long_is_refused_before_any_work(desk: Path) -> None:
    from wavesim.cli.options import writable

    with pytest.raises(InputError, match="cannot be written"):
        writable(desk / ("n" * 300 + ".h5"), (".h5",))
    with pytest.raises(InputError, match="NUL"):
        writable(desk / "a\0b.h5", (".h5",))
    assert writable(desk / ("n" * 252 + ".h5"), (".h5",))


def test_a_title_that_no_file_can_hold_is_refused() -> None:
    untitled = re.sub("title = .*", "", SMALL_SCENE)
    with pytest.raises(SceneError, match=r"title: .*control"):
        parse(untitled.replace("[source]", 'title = "a\\u0000b"\n[source]'))


@pytest.mark.parametrize("text", ["7/½", "-1e308 decade", "1e308 century", "2 ½ mm"])
def test_odd_quantities_are_refused_without_a_warning(text: str) -> None:
    with warnings.catch_warnings(action="error"), pytest.raises(UnitError):
        measure(text)


def test_a_varied_plate_whose_text_was_forged() -> None:
    from wavesim.study.frames import varied

    forged = parse(SMALL_SCENE).with_text("this is [no scene")
    with pytest.raises(SceneError, match="no scene"):
        varied(forged, "aperture.count", [1, 2], file="forged.h5")


# ---- values at the end of their ranges


@pytest.mark.parametrize("duty", [0.0, 1.0])
def test_a_level_of_no_width_is_a_flat_mirror(duty: float) -> None:
    from wavesim.aperture import Rays
    from wavesim.aperture.grooves import GrooveSurface, binary

    rays = Rays(0.0, np.array([0.0, 0.1]), 5e-7)
    with warnings.catch_warnings(action="error"):
        found = binary(2e-6, 1e-7, duty, GrooveSurface("reflection")).amplitude(rays)
    assert abs(found) == pytest.approx(2e-6 * abs(np.sinc(2e-6 * rays.u)), abs=1e-20)


def test_a_table_with_values_out_of_all_measure(tmp_path: Path) -> None:
    from wavesim.light.tables import source_table

    (tmp_path / "t.csv").write_text("wavelength_nm,relative\n400,1\n500,1e308\n600,1e308\n")
    with warnings.catch_warnings(action="error"), pytest.raises(TableError, match="line 3"):
        source_table(tmp_path / "t.csv")


def test_a_title_in_a_script_that_no_font_here_has_gives_no_warning(tmp_path: Path) -> None:
    from matplotlib.figure import Figure

    from wavesim.figures.style import save

    figure = Figure((2, 1))
    figure.text(0.1, 0.5, "干涉 \U00013000")
    with warnings.catch_warnings(action="error"):
        save(figure, tmp_path / "a.png")
