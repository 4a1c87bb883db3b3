"""A study killed at random moments (command, worker, scheduler) or interrupted, and resumed.

    python -m tests.study_kills [MOMENTS] [SEED]

Prints, for each moment, what was killed, how many members stood on disk then, and how many of all
moments lost or doubled a member or changed a bit of the file.
"""

from __future__ import annotations

import os
import random
import re
import signal
import subprocess
import sys
import tempfile
import time
from collections import Counter
from contextlib import suppress
from pathlib import Path

import h5py

from tests.bench import text
from wavesim.ensemble import load_plan, run_study

MEMBERS = 400
STUDY = """
scene = "base.toml"
seed = 7
draws = {members}
[[draw]]
key = "aperture.defects.0.seed"
law = "seed"
[record]
line = {{ wavelength = "546.1 nm", order = 1 }}
profile = {{ half_width = 0.1, points = 2001 }}
"""
VICTIMS = ("command", "worker", "scheduler", "ctrl-c")
_PROGRAM = "import sys; from wavesim.__main__ import main; sys.exit(main())"
_DEADLINE_S = 300.0


def random_ruling(title: str, *, count: int, density: int, width: str, rms: str) -> str:
    """A scene of that title: a laser, and rulings with independent random errors of position."""
    return text(
        title,
        source='kind = "laser"\nwavelength = "546.1 nm"\npower = "1 mW"',
        bench='camera = "1 m"\nbeam = "20 mm"',
        aperture=f'kind = "grating"\ncount = {count}\ndensity = "{density} / mm"\n'
        f'height = "5 mm"\ngroove = {{ profile = "slit", width = "{width}" }}\n'
        f'[[aperture.defects]]\nkind = "random"\nrms = "{rms}"\nseed = 1',
        plate='width = "2 mm"\nheight = "0.2 mm"\npixel = "20 um"',
    )


class Bench:
    """A folder with the study, its whole file, and what is needed to run it again and again."""

    def __init__(self, folder: Path, members: int = MEMBERS) -> None:
        self.folder, self.members, self.struck = folder, members, 0
        scene = random_ruling("Fine", count=20_000, density=1200, width="0.4 um", rms="20 nm")
        (folder / "base.toml").write_text(scene)
        self.study = folder / "study.toml"
        self.study.write_text(STUDY.format(members=members))
        self.whole = run_study(load_plan(self.study), folder / "whole.h5", workers=1).file

    def command(self, target: Path, *options: str) -> subprocess.Popen[str]:
        line = [sys.executable, "-c", _PROGRAM, "study", str(self.study), "-o", str(target)]
        return subprocess.Popen(
            [*line, *options], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True,
            start_new_session=True,
        )  # fmt: skip

    def strike(self, victim: str, chance: random.Random) -> str:
        """Kill the victim at a random moment, resume; what is wrong, "" if nothing is."""
        target = self.folder / f"{victim}-{chance.getrandbits(32)}.h5"
        if victim == "scheduler":
            outcome = self._scheduler_killed(target, chance)
        else:
            outcome = self._own_killed(victim, target, chance)
        held = members_on_disk(target)
        doubled = [index for index, times in held.items() if times > 1]
        print(f"  {victim} killed with {self.struck} of {self.members} members done", flush=True)
        if victim == "worker" and not target.exists():
            return f"the command did not bear it: {outcome[-300:]}"
        again = self.command(target, "--workers", "1")
        output = again.communicate(timeout=_DEADLINE_S)[0]
        if again.returncode or "Traceback" in output + outcome:
            return f"exit {again.returncode}: {output[-300:]} {outcome[-300:]}"
        if doubled:
            return f"members {doubled[:5]} stand in two parts"
        if target.read_bytes() != self.whole.read_bytes():
            return "the file differs"
        if members_on_disk(target) or list(self.folder.glob(f"*{target.name}*.parts")):
            return "parts were left behind"
        target.unlink()
        return ""

    def _own_killed(self, victim: str, target: Path, chance: random.Random) -> str:
        running = self.command(target, "--workers", "2")
        if not _reached(target, chance.randrange(2, self.members * 3 // 4), running):
            return running.communicate()[0]
        time.sleep(chance.uniform(0, 0.3))
        self.struck = members_done(target)
        if victim == "command":
            os.killpg(running.pid, signal.SIGKILL)
            return running.communicate()[0]
        if victim == "ctrl-c":
            os.killpg(running.pid, signal.SIGINT)
            output = running.communicate(timeout=_DEADLINE_S)[0]
            return (
                output if running.returncode == 130 else f"Traceback? {running.returncode} {output}"
            )
        workers = _workers_of(running.pid)
        if workers:
            with suppress(ProcessLookupError):
                os.kill(chance.choice(workers), signal.SIGKILL)
        return running.communicate(timeout=_DEADLINE_S)[0]

    def _scheduler_killed(self, target: Path, chance: random.Random) -> str:
        dask = [sys.executable, "-m", "distributed.cli.dask_scheduler"]
        scheduler = subprocess.Popen(
            [*dask, "--host", "127.0.0.1", "--port", "0", "--no-dashboard"],
            stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        address = _address(scheduler)
        worker = [sys.executable, "-m", "distributed.cli.dask_worker", address]
        workers = [
            subprocess.Popen([*worker, "--nthreads", "1", "--no-dashboard", "--no-nanny",
                              "--death-timeout", "5"],
                             stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, text=True)
            for _ in range(2)
        ]  # fmt: skip
        try:
            time.sleep(3)
            running = self.command(target, "--cluster", address)
            if _reached(target, chance.randrange(2, self.members * 3 // 4), running):
                time.sleep(chance.uniform(0, 0.3))
            self.struck = members_done(target)
            scheduler.kill()
            return running.communicate(timeout=_DEADLINE_S)[0]
        finally:
            for process in (scheduler, *workers):
                process.kill()
                process.wait()


def members_on_disk(target: Path) -> Counter[int]:
    """Member -> in how many whole parts it stands."""
    found: Counter[int] = Counter()
    for folder in target.parent.glob(f"{target.name}.*.parts"):
        for path in folder.glob("members-*.h5"):
            with h5py.File(path) as file:
                found.update(file["index"][()].tolist())
    return found


def members_done(target: Path) -> int:
    """How many members stand on disk, by the names of their parts."""
    names = [path.name for path in target.parent.glob(f"{target.name}.*.parts/members-*")]
    return sum(int(name[-8:-3]) for name in names)


def _reached(target: Path, members: int, running: subprocess.Popen[str]) -> bool:
    """Wait until so many members stand on disk; False where the command ends before."""
    begin = time.monotonic()
    while time.monotonic() - begin < _DEADLINE_S and running.poll() is None:
        if members_done(target) >= members:
            return True
        time.sleep(0.02)
    return False


def _workers_of(pid: int) -> list[int]:
    """Processes of a command that compute members."""
    import psutil

    children = psutil.Process(pid).children(recursive=True)
    return [child.pid for child in children if "spawn_main" in " ".join(child.cmdline())]


def _address(scheduler: subprocess.Popen[str]) -> str:
    assert scheduler.stderr is not None
    for line in scheduler.stderr:
        found = re.search(r"tcp://[\d.]+:\d+", line)
        if found:
            return found[0]
    raise RuntimeError("the scheduler gave no address")


def main(moments: int = 20, seed: int = 1) -> int:
    """Print what every moment brought, and the count; the number of faults."""
    chance, faults = random.Random(seed), []
    with tempfile.TemporaryDirectory() as name:
        bench = Bench(Path(name))
        for moment in range(moments):
            fault = bench.strike(VICTIMS[moment % len(VICTIMS)], chance)
            if fault:
                faults.append(fault)
                print(f"  fault: {fault}", flush=True)
    print(f"{moments} moments, {len(faults)} with a member lost or doubled or a bit changed")
    return len(faults)


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])) > 0)
