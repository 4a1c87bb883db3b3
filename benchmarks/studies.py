"""Studies: what the engine costs beside the bare work, and how a study file opens.

python -m benchmarks studies, or one piece of it: python -m benchmarks.studies overhead waiting
rulings orders opening
"""

from __future__ import annotations

import filecmp
import os
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import TYPE_CHECKING, Any

from benchmarks.row import Row

if TYPE_CHECKING:
    from wavesim.ensemble import StudyPlan

WORK_S = 0.02
WAIT_S = 0.3  # of a batch that waits; those of studies take 0.7 s
Batch = tuple[int, ...]


def _busy(_: int) -> int:
    """The bare work: 20 ms of a processor's time."""
    end = time.process_time() + WORK_S
    while time.process_time() < end:
        pass
    return 0


def _batch_busy(_plan: object, _name: str, folder: str, batch: Batch) -> float:
    """The same as a study's batch, with its part written."""
    from wavesim.ensemble.exposing import Recorded
    from wavesim.ensemble.parts import write_part

    begin = time.perf_counter()
    write_part(Path(folder), [Recorded(index, {"strehl": float(_busy(index))}) for index in batch])
    return time.perf_counter() - begin


def _batch_waiting(_plan: object, _name: str, _folder: str, batch: Batch) -> float:
    """A batch of one member that waits instead of computing, as long as a batch of many takes."""
    time.sleep(WAIT_S)
    return 1e3 * len(batch)  # so long that the next batch holds one member, too


def _row(what: str, spent_s: float, bare_s: float, against: str, most: float) -> Row:
    """Seconds over those of the alternative, `most` times at the most."""
    ratio = spent_s / bare_s
    return Row(
        what,
        f"{spent_s:.3g} s",
        f"{ratio:.3g} x {against} ({bare_s:.3g} s)",
        f"{most:g} x",
        ratio <= most,
    )


def _fastest(work: Callable[[], object], times: int) -> float:
    """Seconds of the fastest run: other work on the machine only adds."""
    return min(_seconds(work) for _ in range(times))


def _seconds(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def _plan(folder: Path, draws: int, points: int = 401) -> StudyPlan:
    from wavesim.ensemble import load_plan

    base = Path(__file__).resolve().parents[1] / "scenes/studies/random_errors.toml"
    text = base.read_text().replace("draws = 1000", f"draws = {draws}")
    if points != 401:
        text = text.replace("0.002, points = 401", f"0.4, points = {points}")
    text = text.replace('scene = "', f'scene = "{base.parent}/')
    (folder / "s.toml").write_text(text)
    return load_plan(folder / "s.toml")


@contextmanager
def _cluster(workers: int, *, processes: bool) -> Iterator[Any]:
    import dask
    from distributed import Client, LocalCluster

    from wavesim.ensemble.engine import LEAN

    with (
        dask.config.set(LEAN),
        LocalCluster(
            n_workers=workers,
            threads_per_worker=1,
            processes=processes,
            dashboard_address=None,
            silence_logs=50,
            memory_limit=0,
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


def overhead(members: int = 2000) -> list[Row]:
    """Members of 20 ms through the engine, over the same work in bare processes."""
    from wavesim.ensemble.engine import Distributed

    workers = os.cpu_count() or 1
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plan = _plan(folder, members)
        with ProcessPoolExecutor(workers) as pool, _cluster(workers, processes=True) as client:
            engine = Distributed(client, workers, function=_batch_busy)
            list(pool.map(_busy, range(workers)))
            list(engine.run(plan, folder, [members + k for k in range(workers)]))
            bare = ours = processor = 0.0
            for first in range(0, members, members // 4):  # in turn: other work slows both
                which = range(first, first + members // 4)
                bare += _seconds(lambda w=which: list(pool.map(_busy, w, chunksize=20)))
                processor -= _processor_s()
                ours += _seconds(lambda w=which: list(engine.run(plan, folder, w)))
                processor += _processor_s()
            empty = [client.submit(_busy_not, k, pure=False) for k in range(20)]
            client.gather(empty)
            alone = _seconds(
                lambda: client.gather([client.submit(_busy_not, k, pure=False) for k in range(500)])
            )
    return [
        _row(f"{members:,} members of 20 ms, {workers} workers", ours, bare, "bare processes",
             1.15),
        _row("the same, processor time of all processes", processor, WORK_S * members,
             "20 ms a member", 1.15),
        Row("a task of dask.distributed that does nothing", f"{alone / 500 * 1e3:.2g} ms",
            "batches take 0.7 s", "", True),
    ]  # fmt: skip


def _busy_not(_: int) -> None:
    """A task that costs the engine alone."""


def waiting() -> list[Row]:
    """Batches that wait, for 1, 2 and 16 workers (threads, since they only wait)."""
    from wavesim.ensemble.engine import Distributed

    rates, rows = {}, []
    with tempfile.TemporaryDirectory() as name:
        plan = _plan(Path(name), 2)
        for workers in (1, 2, 16):
            with _cluster(workers, processes=False) as client:
                engine = Distributed(client, workers, function=_batch_waiting)
                list(engine.run(plan, Path(name), range(workers)))
                left = range(20 * workers)
                spent = _seconds(lambda e=engine, n=left: list(e.run(plan, Path(name), n)))
            rates[workers] = len(left) / spent
            speed_up = rates[workers] / rates[1]
            rows.append(
                Row(
                    f"speed-up of {workers} workers on batches that wait {WAIT_S:g} s",
                    f"{speed_up:.3g}",
                    f"{100 * speed_up / workers:.0f} % of ideal",
                    "87 %",
                    speed_up > 0.87 * workers,
                )
            )
    return rows


def rulings(members: int = 1000, points: int = 401) -> list[Row]:
    """Random rulings of 10,000 grooves, a profile each, over work divided by cores."""
    from wavesim.ensemble import run_study
    from wavesim.ensemble.exposing import record
    from wavesim.ensemble.members import Design

    workers = os.cpu_count() or 1
    with tempfile.TemporaryDirectory() as name, _peak_memory() as peak:
        plan, folder = _plan(Path(name), members, points), Path(name)
        design = Design(plan)
        sample = _fastest(lambda: [record(design, k) for k in range(25)], 8) / 25
        single = _fastest(lambda: run_study(plan, folder / "1.h5", workers=1), 1)
        spent = _fastest(lambda: run_study(plan, folder / "r.h5", workers=workers), 2)
        alike = filecmp.cmp(folder / "1.h5", folder / "r.h5", shallow=False)
        peaks = [peak()]
        run_study(_plan(folder, 2 * members, points), folder / "2.h5", workers=workers)
        peaks.append(peak())
    work_s = sample * members
    what = f"{members:,} rulings of 10,000 grooves, a profile of {points:,} points each"
    return [
        Row("work alone, in one process", f"{1e3 * sample:.3g} ms a member", "", "", True),
        _row(f"{what}, 1 process", single, work_s, "work", 1.3),
        _row(f"{what}, {workers} processes from start to file", spent, work_s / workers,
             "work / cores", 1.3),
        Row("the same bytes from both", "yes" if alike else "no", "", "yes", alike),
        Row("peak memory of a worker", f"{peaks[0]:.0f} MB",
            f"{peaks[1]:.0f} MB for twice the members", "flat", peaks[1] < 1.1 * peaks[0]),
    ]  # fmt: skip


def _processor_s() -> float:
    """Processor time of this process and its children [s]."""
    import psutil

    total = 0.0
    for process in (psutil.Process(), *psutil.Process().children(recursive=True)):
        with suppress(psutil.Error):
            times = process.cpu_times()
            total += times.user + times.system
    return total


@contextmanager
def _peak_memory() -> Iterator[Callable[[], float]]:
    """The largest memory of a child process since the last call [MB], looked at every 0.2 s."""
    import psutil

    found, ends = [0.0], threading.Event()

    def look() -> None:
        while not ends.wait(0.2):
            for child in psutil.Process().children(recursive=True):
                with suppress(psutil.Error):
                    found[0] = max(found[0], child.memory_info().rss / 1e6)

    def peak() -> float:
        largest, found[0] = found[0], 0.0
        return largest

    looking = threading.Thread(target=look)
    looking.start()
    try:
        yield peak
    finally:
        ends.set()
        looking.join()


def opening(members: int = 10_000) -> list[Row]:
    """A file of many members, opened lazily."""
    import h5py
    import numpy as np

    from wavesim.ensemble import joined, open_study, parts
    from wavesim.ensemble.exposing import Recorded
    from wavesim.ensemble.members import Design

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name) / "parts"
        folder.mkdir()
        design = Design(_plan(Path(name), members))
        curve = np.ones(401)
        numbers = dict.fromkeys(design.plan.table.record.numbers, 1.0)
        for k in range(0, members, 500):
            block = [Recorded(i, numbers, profile=curve) for i in range(k, k + 500)]
            parts.write_part(folder, block)
        target = Path(name) / "many.h5"
        join = _seconds(lambda: joined.join(design.plan, design, folder, target))
        open_study(target).close()
        lazily = _seconds(lambda: open_study(target).profile[members // 2].values)
        plain = _seconds(lambda: h5py.File(target)["profile"][()])
    return [
        Row(f"{members:,} members joined into one file", f"{join:.2g} s", "", "", True),
        Row(
            "file opened lazily, one profile read",
            f"{lazily:.2g} s",
            f"all of it read by h5py: {plain:.2g} s",
            "2 s",
            lazily < 2.0,
        ),
    ]


PIECES = {
    "overhead": overhead,
    "waiting": waiting,
    "rulings": rulings,
    "orders": lambda: rulings(points=20_001),
    "opening": opening,
}


def rows() -> list[Row]:
    """The table's lines."""
    return [row for piece in PIECES.values() for row in piece()]


def main(names: list[str]) -> None:
    """Print the lines of the named pieces, of all by default."""
    for name in names or PIECES:
        for row in PIECES[name]():
            met = "yes" if row.met else "NO"
            print(f"{row.what}: {row.measured}; {row.against}; to reach {row.reach or '-'}: {met}")


if __name__ == "__main__":
    main(sys.argv[1:])
