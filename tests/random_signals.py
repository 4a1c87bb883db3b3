"""Signals at random moments: SIGINT and SIGTERM while commands expose, study, develop and fit.

    python -m tests.random_signals [SIGNALS] [SEED] [COMMAND...]

After each one the command has ended, with its status and without a traceback, and every file is
the old one, or a new one that is whole. Four of five commands are copies of a process that has
all loaded, so that the moments fall into the work; the fifth begins from nothing.
"""

from __future__ import annotations

import faulthandler
import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass
from pathlib import Path

from tests.mutated_commands import check_whole, furnish_all
from tests.mutations import ROOT

DEADLINE_S = 150.0  # on a busy machine
SIGNALS = (signal.SIGINT, signal.SIGTERM)
COMMANDS: dict[str, tuple[str, ...]] = {
    "expose": ("expose", "fine.toml", "-o", "new.h5", "--png", "new.png"),
    "develop": ("develop", "fine.toml", "--stops", "-1", "--stops", "1", "-o", "new.png"),
    "fit": ("fit", "pair.toml", "pair.png", "--free", "aperture.width", "--pixel", "160 um",
            "-o", "new.toml", "--figure", "new.png"),
    "study": ("study", "study.toml", "-o", "new.h5", "--workers", "1"),
}  # fmt: skip
_SAID = (
    b"",
    b"wavesim: interrupted\n",
    b"wavesim: interrupted after everything had been written\n",
)
_EARLY = (1, -signal.SIGINT, -signal.SIGTERM)  # Python's own end, before a line of ours is run


@dataclass(frozen=True)
class Ended:
    """How a command ended: its status (negative: the signal's number), and what it said."""

    status: int
    said: bytes
    seconds: float


class Bench:
    """A folder with what the commands read; `child` is true in a copy that is to be a command."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.child = folder, False
        furnish_all(folder)
        fine = (folder / "bench.toml").read_text().replace("100 um", "20 um")
        (folder / "fine.toml").write_text(fine)
        self.before = {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}

    def run(
        self, args: tuple[str, ...], chance: random.Random | None, lasts_s: float, *, warm: bool
    ) -> Ended | None:
        """Run a command, strike it at a random moment if there is chance; None in the copy."""
        record = self.folder / "told.txt"
        begin = time.monotonic()
        pid = self._copied(args, record) if warm else _begun(args, self.folder, record)
        if pid == 0:
            return None
        if chance is not None:
            time.sleep(chance.uniform(0.0 if warm else 0.03, 1.05 * lasts_s))
            _sent(pid, chance.choice(SIGNALS))
            if chance.random() < 0.2:  # some strike twice
                time.sleep(chance.uniform(0.0, 0.1))
                _sent(pid, chance.choice(SIGNALS))
        status = _waited(pid, begin + DEADLINE_S)
        said = record.read_bytes()
        record.unlink()
        return Ended(status, said, time.monotonic() - begin)

    def _copied(self, args: tuple[str, ...], record: Path) -> int:
        ready, tell = os.pipe()
        pid = os.fork()
        if pid == 0:
            self.child = True
            os.chdir(self.folder)
            os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
            os.dup2(os.open(record, os.O_WRONLY | os.O_CREAT), 2)
            sys.argv[:] = ["wavesim", *args]
            faulthandler.register(signal.SIGUSR1, all_threads=True)
            signal.signal(signal.SIGINT, signal.default_int_handler)
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
        os.close(tell if pid else ready)
        if pid:
            os.read(ready, 1)  # comes when the copy is about to run the command, or has died
            os.close(ready)
        else:
            os.write(tell, b"!")
            os.close(tell)
        return pid

    def wrong(self, args: tuple[str, ...], ended: Ended) -> str:
        """What is wrong with an end and what it left, "" if nothing is."""
        early = ended.status in _EARLY and b"wavesim/cli" not in ended.said
        text = ended.said.lstrip(b"\n").replace(b"\n\n", b"\n")
        if not early and (ended.status not in (0, 130, 143) or text not in _SAID):
            return f"status {ended.status}, {ended.said[-4000:].decode(errors='replace')}"
        for path in sorted(self.folder.iterdir()):
            old = self.before.get(path.name)
            if path.is_dir() and path.name.endswith(".parts") and args[0] == "study":
                continue  # what stands in it is not computed again
            if path.is_file() and old is None and path.name != "told.txt":
                try:
                    check_whole(path)
                except Exception as error:
                    return f"{path.name}: {type(error).__name__}: {error}"
            if old is not None and path.read_bytes() != old:
                return f"{path.name} was changed"
        return ""

    def cleared(self, *, parts: bool) -> None:
        """Take away what commands wrote; what a study keeps to go on from stays unless `parts`."""
        for path in self.folder.iterdir():
            if path.is_file() and path.name not in self.before:
                path.unlink()
            elif parts and path.name.endswith(".parts"):
                shutil.rmtree(path)


def _begun(args: tuple[str, ...], folder: Path, record: Path) -> int:
    with record.open("wb") as file:
        return subprocess.Popen(
            [sys.executable, "-m", "wavesim", *args],
            cwd=folder,
            env={**os.environ, "PYTHONPATH": str(ROOT)},
            stdout=subprocess.DEVNULL,
            stderr=file,
            preexec_fn=lambda: signal.signal(signal.SIGINT, signal.default_int_handler),
        ).pid


def _sent(pid: int, number: signal.Signals) -> None:
    os.kill(pid, number)  # one that has ended is a zombie, which bears it


def _waited(pid: int, deadline: float) -> int:
    """The status of a process when it has ended; it is killed at the deadline."""
    while time.monotonic() < deadline:
        found, status = os.waitpid(pid, os.WNOHANG)
        if found:
            return os.waitstatus_to_exitcode(status)
        time.sleep(0.01)
    os.kill(pid, signal.SIGUSR1)  # a copy writes down where it stands
    time.sleep(1.0)
    os.kill(pid, signal.SIGKILL)
    return os.waitstatus_to_exitcode(os.waitpid(pid, 0)[1])


def patrol(bench: Bench, signals: int, seed: int, names: list[str]) -> list[str] | None:
    """Faults of so many struck commands; None in a copy that is to be a command."""
    chance, faults, counts = random.Random(seed), [], Counter[str]()
    lasts: dict[tuple[str, bool], float] = {}
    for name in names:
        args = COMMANDS[name]
        for warm in (True, True, False, False):
            ended = bench.run(args, None, 0.0, warm=warm)
            if ended is None:
                return None
            lasts[name, warm] = ended.seconds
            if ended.status or ended.said:
                faults.append(f"{name} itself: {ended}")
            bench.cleared(parts=True)
    for number in range(signals):
        name, warm = names[number % len(names)], number % 5 != 4
        ended = bench.run(COMMANDS[name], chance, lasts[name, warm], warm=warm)
        if ended is None:
            return None
        if fault := bench.wrong(COMMANDS[name], ended):
            faults.append(f"{number} {name}: {fault}")
            print(faults[-1], flush=True)
        counts[f"{name}, status {ended.status}"] += 1
        bench.cleared(parts=name != "study")
    print("; ".join(f"{text}: {n}" for text, n in sorted(counts.items())))
    print(f"{signals} struck, longest work {max(lasts.values()):.1f} s, {len(faults)} faults")
    return faults


def main(signals: str = "320", seed: str = "1", *names: str) -> None:
    folder = Path(tempfile.mkdtemp())
    bench = Bench(folder)
    begin = os.getpid()
    try:
        faults = patrol(bench, int(signals), int(seed), list(names or COMMANDS))
    finally:
        if os.getpid() == begin:
            shutil.rmtree(folder)
    if faults is None:
        from wavesim.__main__ import main as command

        command()
    sys.exit(bool(faults))


if __name__ == "__main__":
    main(*sys.argv[1:])
