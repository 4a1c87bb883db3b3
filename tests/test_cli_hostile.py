"""The command in a hostile world: killed, interrupted, without room, with nobody reading."""

from __future__ import annotations

import os
import random
import resource
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

import wavesim
from tests.bench import SMALL_SCENE
from tests.parameters import slow_beyond
from wavesim.files import replacing

KILLS = int(os.environ.get("WAVESIM_KILLS", "20"))
ROOT = Path(__file__).resolve().parents[1]
_AT_WORK_S = 1.2  # of processor time: after the imports, long before a comparison ends
PATIENCE_S = 60.0  # a start with kernels to compile, on a busy machine


@pytest.fixture
def desk(tmp_path: Path) -> Path:
    (tmp_path / "three.toml").write_text(SMALL_SCENE)
    return tmp_path


def command(*args: str) -> list[str]:
    return [sys.executable, "-m", "wavesim", *args]


def start(desk: Path, *args: str, **options: object) -> subprocess.Popen[bytes]:
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **options}
    home = {**os.environ, "PYTHONPATH": str(ROOT)}
    return subprocess.Popen(command(*args), cwd=desk, env=home, **pipes)  # type: ignore[call-overload]


def left_in(desk: Path) -> list[str]:
    return sorted(p.name for p in desk.iterdir() if p.name != "three.toml")


@pytest.mark.slow
def test_killed_at_any_moment_the_old_plate_stays_or_the_new_one_is_whole(desk: Path) -> None:
    """kill -9 at random moments of exposing over an existing plate and picture."""
    scene = wavesim.load(desk / "three.toml")
    plate_file, picture_file = desk / "a.h5", desk / "a.png"
    _expose_into(scene, plate_file, picture_file)  # loads the kernels
    begin = time.perf_counter()
    _expose_into(scene, plate_file, picture_file)
    lasts_s = time.perf_counter() - begin
    wanted, picture = wavesim.open_plate(plate_file), picture_file.read_bytes()
    dice = random.Random(8)
    cut = 0
    for _ in range(KILLS):
        child = os.fork()
        if child == 0:  # a copy of this process, warm
            _expose_into(scene, plate_file, picture_file)
            os._exit(0)
        time.sleep(dice.uniform(0.0, 1.1 * lasts_s))
        os.kill(child, signal.SIGKILL)
        cut += os.waitpid(child, 0)[1] != 0
        found = wavesim.open_plate(plate_file)  # every chunk carries a checksum
        assert np.array_equal(found.xyz, wanted.xyz)
        assert picture_file.read_bytes() == picture
    assert cut >= KILLS // 4  # the moments were spread over the work, not after it
    _expose_into(scene, plate_file, picture_file)
    assert left_in(desk) == ["a.h5", "a.png"]  # what the killed left goes with the next write


def _expose_into(scene: wavesim.Scene, plate_file: Path, picture_file: Path) -> None:
    plate = wavesim.expose(scene)
    plate.save(plate_file)
    plate.save_png(picture_file)


@pytest.mark.parametrize(
    ("number", "status", "said"),
    slow_beyond(1, [(signal.SIGINT, 130, b"\nwavesim: interrupted\n"), (signal.SIGTERM, 143, b"")]),
)
def test_a_signal_ends_it_with_its_status(
    number: signal.Signals, status: int, said: bytes, desk: Path
) -> None:
    (desk / "a.h5").write_text("old")
    running = start(desk, "compare", "three.toml", "-o", "a.h5", preexec_fn=heed_interrupts)
    _until_it_has_worked(running.pid, _AT_WORK_S)
    running.send_signal(number)
    _, err = running.communicate(timeout=PATIENCE_S)
    assert (running.returncode, err) == (status, said)
    assert (desk / "a.h5").read_text() == "old"
    assert left_in(desk) == ["a.h5"]


def heed_interrupts() -> None:
    """As in the foreground: shells start background jobs deaf to Ctrl-C."""
    signal.signal(signal.SIGINT, signal.SIG_DFL)


def _until_it_has_worked(pid: int, seconds: float) -> None:
    """Wait until a process has used so much processor time: it is past its start by then."""
    limit = time.monotonic() + PATIENCE_S
    while time.monotonic() < limit:
        try:
            fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
        except OSError:  # another system than Linux
            time.sleep(2 * seconds)
            return
        if (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK") >= seconds:
            return
        time.sleep(0.02)


def test_interrupted_while_writing_the_old_file_stays(desk: Path) -> None:
    (desk / "a.h5").write_text("old")
    with pytest.raises(KeyboardInterrupt):
        _write_half(desk / "a.h5")
    assert (desk / "a.h5").read_text() == "old"
    assert left_in(desk) == ["a.h5"]


def _write_half(path: Path) -> None:
    with replacing(path) as temporary:
        temporary.write_text("half of the n")
        raise KeyboardInterrupt


@pytest.mark.slow
def test_two_processes_write_one_file(desk: Path) -> None:
    both = [start(desk, "expose", "three.toml", "-o", "a.h5", "--png", "a.png") for _ in range(2)]
    for running in both:
        _, err = running.communicate(timeout=PATIENCE_S)
        assert (running.returncode, err) == (0, b"")
    assert left_in(desk) == ["a.h5", "a.png"]
    wanted = wavesim.expose(wavesim.load(desk / "three.toml"))
    assert np.array_equal(wavesim.open_plate(desk / "a.h5").xyz, wanted.xyz)


def test_nobody_reads_the_output(desk: Path) -> None:
    reader, writer = os.pipe()
    os.close(reader)
    running = start(desk, "schema", stdout=writer)
    os.close(writer)
    _, err = running.communicate(timeout=PATIENCE_S)
    assert (running.returncode, err) == (1, b"")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="no /dev/full here")
def test_no_room_for_the_output(desk: Path) -> None:
    with Path("/dev/full").open("wb") as full:
        running = start(desk, "schema", stdout=full)
        _, err = running.communicate(timeout=PATIENCE_S)
    message = b"wavesim: the output cannot be written: No space left on device\n"
    assert (running.returncode, err) == (1, message)


@pytest.mark.parametrize(
    "work", slow_beyond(1, ["expose three.toml", "compare three.toml --only n-slits"])
)
def test_a_limit_on_file_size_leaves_the_old_plate(work: str, desk: Path) -> None:
    """Stands in for a full disk where there are no rights to make one."""
    (desk / "a.h5").write_text("old")

    def few_bytes() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (2_000, 2_000))

    running = start(desk, *work.split(), "-o", "a.h5", preexec_fn=few_bytes)
    _, err = running.communicate(timeout=PATIENCE_S)
    assert running.returncode == 2
    assert err.startswith(b"wavesim: a.h5: cannot be written: File too large")
    assert (desk / "a.h5").read_text() == "old"
    assert left_in(desk) == ["a.h5"]


@pytest.fixture
def small_disk() -> Iterator[Path]:
    """A file system of 128 KiB; only root can make one."""
    mount = shutil.which("mount")
    if os.geteuid() != 0 or mount is None:
        pytest.skip("needs root, to make a small file system")
    folder = Path(tempfile.mkdtemp())
    options = ["-t", "tmpfs", "-o", "size=128k", "tmpfs", str(folder)]
    made = subprocess.run([mount, *options], capture_output=True, check=False)
    if made.returncode != 0:
        folder.rmdir()
        pytest.skip("not allowed to make a small file system here")
    try:
        yield folder
    finally:
        subprocess.run(["umount", str(folder)], check=True)
        folder.rmdir()


@pytest.mark.slow
def test_a_full_disk_leaves_the_old_plate(desk: Path, small_disk: Path) -> None:
    (small_disk / "a.h5").write_text("old")
    running = start(desk, "expose", "three.toml", "-o", str(small_disk / "a.h5"))
    _, err = running.communicate(timeout=PATIENCE_S)
    assert running.returncode == 2
    assert b"a.h5: cannot be written: No space left on device" in err
    assert (small_disk / "a.h5").read_text() == "old"
    assert [p.name for p in small_disk.iterdir()] == ["a.h5"]


def test_a_signal_waits_while_the_compilers_lock_is_taken() -> None:
    """Else it stayed taken, and a thread that compiled waited for it, and the program for that."""
    from numba.core.compiler_lock import _CompilerLock

    from wavesim.cli import signals

    frames = []

    class Lock:
        def acquire(self) -> None:
            frames.append(sys._getframe())

        release = acquire

    lock = _CompilerLock()
    lock._lock = Lock()
    with lock:
        frames.append(sys._getframe())
    assert [signals._heard(frame) for frame in frames] == [False, True, False]
