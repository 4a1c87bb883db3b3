"""Seeded mutations of everything that wavesim reads, and a judge of what comes of each.

    python -m tests.mutations scenes 0 10000     one JSON line a mutant: seed, verdict, words
    python -m tests.mutations scenes 4711 --show the mutant itself, and its verdict

A mutant may end in a result or in a WavesimError of one line. Any other exception, a warning, a
value that is not a number on the plate, a standstill or memory beyond the bounds is a fault.
`patrol` runs mutants in a process of their own: a hang or a crash is counted and not shared.
"""

from __future__ import annotations

import faulthandler
import json
import os
import resource
import selectors
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import suppress
from contextvars import ContextVar
from dataclasses import asdict, dataclass, field
from pathlib import Path

from wavesim.errors import WavesimError

ROOT = Path(__file__).resolve().parents[1]
SECONDS = 10.0  # of processor time beyond which a mutant counts as slow
PATIENCE_S = 30.0  # of processor time for one mutant; as long at rest is a standstill
AFFORDED_S = 3.0  # what the program may estimate for a mutant, half an hour otherwise
RESTING = 0.01  # of a processor: less, and it waits for something that never comes
_LOOK_S = 5.0  # between two looks at a process that says nothing
FREE_BYTES = 1_500_000_000  # what the program is told that the machine has free
MOST_BYTES = 2_500_000_000  # what it may really hold: libraries, slack, and what it was told
LONGEST = 1500  # letters of a message
_FULL = 9  # status of a process that has held too much


@dataclass(frozen=True)
class Verdict:
    """What came of one mutant: "result", the name of a WavesimError, "slow" or "FAULT".

    Slow is judged by hand: the program computed for longer than it had estimated, or without
    an estimate. A process that rests is a fault.
    """

    seed: int
    kind: str
    text: str
    seconds: float


def judge(seed: int, work: Callable[[], str]) -> Verdict:
    """Run `work`, which returns what it did in a few words."""
    begin = time.process_time()
    with warnings.catch_warnings(record=True) as said:
        warnings.simplefilter("always")
        kind, text = _outcome(work)
    seconds = time.process_time() - begin
    if said and kind != "FAULT":
        first = said[0]
        kind, text = "FAULT", f"warning: {first.message} ({first.filename}:{first.lineno})"
    if seconds > SECONDS and kind != "FAULT":
        kind, text = "slow", f"{kind}: {text}"
    return Verdict(seed, kind, text, round(seconds, 3))


def _outcome(work: Callable[[], str]) -> tuple[str, str]:
    try:
        return "result", work()
    except WavesimError as error:
        message = str(error)
        if "\n" in message or not message.strip() or len(message) > LONGEST:
            return "FAULT", f"message of {len(message)} letters: {message[:300]!r}"
        return type(error).__name__, message
    except Exception as error:
        frames = traceback.extract_tb(error.__traceback__)
        ours = [f for f in frames if f"{os.sep}wavesim{os.sep}" in f.filename] or list(frames)
        line = f"{Path(ours[-1].filename).name}:{ours[-1].lineno} {ours[-1].name}"
        return "FAULT", f"{type(error).__name__} at {line}: {error}"[:500]


@dataclass
class Count:
    """What came of many mutants."""

    mutants: int = 0
    kinds: Counter[str] = field(default_factory=Counter)
    faults: list[Verdict] = field(default_factory=list)
    slow: list[Verdict] = field(default_factory=list)
    slowest: Verdict | None = None
    peak_bytes: int = 0
    seconds: float = 0.0  # of processor time, all mutants together

    def add(self, verdict: Verdict) -> None:
        self.mutants += 1
        self.seconds += verdict.seconds
        self.kinds[verdict.kind] += 1
        if verdict.kind == "FAULT":
            self.faults.append(verdict)
        elif verdict.kind == "slow":
            self.slow.append(verdict)
        if self.slowest is None or verdict.seconds > self.slowest.seconds:
            self.slowest = verdict

    def text(self) -> str:
        """The faults, one a line, for a test to show."""
        return "\n".join(f"seed {v.seed}: {v.text}" for v in self.faults)


def patrol(what: str, seeds: range) -> Count:
    """Judge mutants `seeds` of a kind, in a fresh process that is replaced when it dies."""
    count, seed = Count(), seeds.start
    while seed < seeds.stop:
        for verdict, peak in _worker(what, seed, seeds.stop):
            count.add(verdict)
            count.peak_bytes = max(count.peak_bytes, peak)
            seed = verdict.seed + 1
    return count


def _worker(what: str, first: int, stop: int) -> Iterator[tuple[Verdict, int]]:
    """Verdicts of one process until all are given, or until it dies over one of them."""
    command = [sys.executable, "-m", "tests.mutations", what, str(first), str(stop)]
    with (
        tempfile.TemporaryFile() as errors,
        subprocess.Popen(command, cwd=ROOT, stdout=subprocess.PIPE, stderr=errors) as child,
        selectors.DefaultSelector() as waiting,
    ):
        assert child.stdout is not None
        waiting.register(child.stdout, selectors.EVENT_READ)
        seed, rest, end = first, b"", ""
        while not end:
            if end := _out_of_patience(child.pid, waiting):
                with suppress(OSError):
                    child.send_signal(signal.SIGUSR1)  # it writes down where it is
                time.sleep(0.5)
                child.kill()
            chunk = os.read(child.stdout.fileno(), 65536) if not end else b""
            if not chunk and not end:
                end = f"the process ended with {child.wait()}"
                if child.returncode == _FULL:
                    stop = seed  # its last verdict stands; the next mutant gets a fresh process
            *lines, rest = (rest + chunk).split(b"\n")
            for line in lines:
                content = json.loads(line)
                peak = content.pop("peak")
                yield Verdict(**content), peak
                seed += 1
        errors.seek(0)
        output = errors.read()[-3000:].decode(errors="replace")
        if seed < stop:
            kind = "slow" if end == "slow" else "FAULT"
            yield Verdict(seed, kind, f"{end}: {output}", PATIENCE_S), 0
        elif output:
            yield Verdict(seed - 1, "FAULT", f"wrote to the terminal: {output}", 0.0), 0


def _out_of_patience(pid: int, waiting: selectors.BaseSelector) -> str:
    """Wait for the next words of a process: "" when they come, or why none are to be expected."""
    begin, rested = _processor_s(pid), 0.0
    while True:
        before = _processor_s(pid)
        if waiting.select(_LOOK_S):
            return ""
        now = _processor_s(pid)
        at_work = now - before > RESTING * _LOOK_S or _would_run(pid)
        rested = 0.0 if at_work else rested + _LOOK_S
        if rested >= PATIENCE_S:
            return "stands still"
        if now - begin > PATIENCE_S:
            return "slow"


def _processor_s(pid: int) -> float:
    """Processor time that a process has used [s]; 0 where the system does not tell."""
    try:
        fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    except OSError:
        return 0.0
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _would_run(pid: int) -> bool:
    """Whether a thread is ready to run, or stopped: others have the processors."""
    for task in Path(f"/proc/{pid}/task").glob("*/stat"):
        with suppress(OSError):
            if task.read_text().rpartition(")")[2].split()[0] in "RTD":
                return True
    return False


def _bounded() -> None:
    """Tell the program of little free memory and time, and hold it to little more memory."""
    import wavesim.live.cost as live
    import wavesim.memory as memory
    import wavesim.plate.duration as duration

    vars(duration)["_longest_s"] = ContextVar("longest_s", default=AFFORDED_S)
    vars(duration)["announce"] = _silent
    vars(live)["MOST_SECONDS"] = AFFORDED_S
    vars(memory)["open"] = _no_file  # it asks Linux first
    vars(memory)["os"] = _Little
    resource.setrlimit(resource.RLIMIT_AS, (MOST_BYTES + 6_000_000_000,) * 2)  # addresses


def _silent(*_: object) -> None:
    """In the place of an estimate that is said before work of more than a minute."""


def _no_file(*_: object, **__: object) -> object:
    raise OSError


class _Little:
    @staticmethod
    def sysconf(name: str) -> int:
        return 4096 if name == "SC_PAGE_SIZE" else FREE_BYTES // 4096


def _keep(folder: Path, faults: Path, name: str) -> None:
    """Copy the mutant to where faults are collected."""
    faults.mkdir(parents=True, exist_ok=True)
    for path in folder.glob("mutant*"):
        shutil.copyfile(path, faults / f"{name}{path.suffix}")


def peak_bytes() -> int:
    # ru_maxrss would begin at the peak of the process that started this one
    status = Path("/proc/self/status").read_text()
    return int(status.partition("VmHWM:")[2].split()[0]) * 1024


def main(args: list[str]) -> None:
    from tests import (
        mutated_commands,
        mutated_doors,
        mutated_files,
        mutated_scenes,
        mutated_studies,
    )

    workshops = {
        **mutated_scenes.WORKSHOPS,
        **mutated_files.WORKSHOPS,
        **mutated_doors.WORKSHOPS,
        **mutated_studies.WORKSHOPS,
        **mutated_commands.WORKSHOPS,
    }
    what, first, stop = args[0], int(args[1]), args[2]
    _bounded()
    faulthandler.register(signal.SIGUSR1, all_threads=True)  # where it hangs
    with tempfile.TemporaryDirectory() as folder:
        work = workshops[what](Path(folder))
        if stop == "--show":
            print(judge(first, lambda: work(first)))
            for path in sorted(Path(folder).iterdir()):
                if path.name.startswith("mutant"):
                    print(path.name, path.read_bytes()[:5000].decode(errors="replace"), sep="\n")
            return
        for seed in range(first, int(stop)):
            verdict = judge(seed, lambda seed=seed: work(seed))  # type: ignore[misc]
            if peak_bytes() > MOST_BYTES and verdict.kind != "FAULT":
                text = f"{peak_bytes() / 1e9:.2f} GB: {verdict.text}"
                verdict = Verdict(seed, "FAULT", text, verdict.seconds)
            if verdict.kind == "FAULT" and "WAVESIM_FAULTS" in os.environ:
                _keep(Path(folder), Path(os.environ["WAVESIM_FAULTS"]), f"{what}-{seed}")
            print(json.dumps({**asdict(verdict), "peak": peak_bytes()}), flush=True)
            if peak_bytes() > MOST_BYTES:
                sys.exit(_FULL)  # the peak never falls: the next mutant gets a process of its own


if __name__ == "__main__":
    main(sys.argv[1:])
