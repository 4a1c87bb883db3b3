"""Studies: what the engine costs beside the bare work, and how a study file opens.

python -m benchmarks studies
"""

from __future__ import annotations

import os
import tempfile
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

from benchmarks.row import Row
from wavesim.ensemble import Plan

WORK_S = 0.02
Batch = tuple[int, ...]


def _busy(_: int) -> int:
    """The bare work: 20 ms of a processor's time."""
    end = time.process_time() + WORK_S
    while time.process_time() < end:
        pass
    return 0


def _batch_busy(_plan: object, _name: str, folder: str, batch: Batch) -> Batch:
    """The same as a study's batch, with its part written."""
    from wavesim.ensemble.exposing import Recorded
    from wavesim.ensemble.parts import write_part

    write_part(Path(folder), [Recorded(index, {"strehl": float(_busy(index))}) for index in batch])
    return batch


def _batch_asleep(_plan: object, _name: str, _folder: str, batch: Batch) -> Batch:
    """Members that wait instead of computing: many workers simulated on few cores."""
    time.sleep(0.1 * len(batch))
    return batch


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


def _seconds(work: Callable[[], object]) -> float:
    begin = time.perf_counter()
    work()
    return time.perf_counter() - begin


def _plan(folder: Path, draws: int) -> Plan:
    from wavesim.ensemble import load_plan

    base = Path(__file__).resolve().parents[1] / "scenes/studies/random_errors.toml"
    text = base.read_text().replace("draws = 1000", f"draws = {draws}")
    text = text.replace('scene = "', f'scene = "{base.parent}/')
    (folder / "s.toml").write_text(text)
    return load_plan(folder / "s.toml")


def overhead(members: int, workers: int) -> list[Row]:
    """Members of 20 ms through the engine, over the same work in bare processes."""
    from distributed import Client, LocalCluster

    from wavesim.ensemble.engine import Distributed
    from wavesim.ensemble.running import batches

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        plan = _plan(folder, members)
        with ProcessPoolExecutor(workers) as pool:
            list(pool.map(_busy, range(workers)))
            bare = _seconds(lambda: list(pool.map(_busy, range(members), chunksize=20)))
        with (
            LocalCluster(
                n_workers=workers,
                threads_per_worker=1,
                dashboard_address=None,
                silence_logs=50,
                memory_limit=0,
            ) as cluster,
            Client(cluster) as client,
        ):
            engine = Distributed(client, workers, function=_batch_busy)
            list(engine.run(plan, folder, [(members + k,) for k in range(workers)]))
            split = batches(list(range(members)), WORK_S, workers)
            ours = _seconds(lambda: list(engine.run(plan, folder, split)))
            asleep = Distributed(client, workers, function=_batch_asleep)
            one = _seconds(lambda: list(asleep.run(plan, folder, [(k,) for k in range(20)])))
    sleeping = 20 * 0.1 / workers
    return [
        _row(f"{members} members of 20 ms, {workers} workers", ours, bare, "bare processes", 1.15),
        _row("20 members that wait 0.1 s", one, sleeping, "ideal", 1.15),
    ]


def many_workers() -> list[Row]:
    """160 waiting members for 1, 2 and 16 workers (threads, since they only wait)."""
    from distributed import Client, LocalCluster

    from wavesim.ensemble.engine import Distributed

    rows = []
    with tempfile.TemporaryDirectory() as name:
        plan = _plan(Path(name), 2)
        for workers in (1, 2, 16):
            with (
                LocalCluster(
                    n_workers=workers,
                    threads_per_worker=1,
                    processes=False,
                    dashboard_address=None,
                    silence_logs=50,
                ) as cluster,
                Client(cluster) as client,
            ):
                engine = Distributed(client, workers, function=_batch_asleep)
                spent = _seconds(
                    lambda e=engine: list(e.run(plan, Path(name), [(k,) for k in range(160)]))
                )
            rows.append(
                _row(
                    f"160 waiting members, {workers} workers", spent, 16.0 / workers, "ideal", 1.15
                )
            )
    return rows


def rulings(members: int, workers: int) -> list[Row]:
    """Random rulings of 10,000 grooves, a profile each, over work divided by cores."""
    import resource

    from wavesim.ensemble import run_study
    from wavesim.ensemble.exposing import record
    from wavesim.ensemble.members import Design

    with tempfile.TemporaryDirectory() as name:
        plan = _plan(Path(name), members)
        design = Design(plan)
        record(design, 0)
        sample = _seconds(lambda: [record(design, k) for k in range(100)]) / 100
        spent = _seconds(lambda: run_study(plan, Path(name) / "r.h5", workers=workers))
    peak = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss / 1e3
    return [
        _row(
            f"{members} rulings of 10,000 grooves, with start and file",
            spent,
            sample * members / workers,
            "work / cores",
            1.3,
        ),
        Row("peak memory of a worker", f"{peak:.0f} MB", "", "flat", True),
    ]


def opening(members: int) -> list[Row]:
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
        for k in range(0, members, 500):
            parts.write_part(folder, [Recorded(i, {}, profile=curve) for i in range(k, k + 500)])
        target = Path(name) / "many.h5"
        join = _seconds(lambda: joined.join(design.plan, design, folder, target))
        open_study(target)
        lazily = _seconds(lambda: open_study(target).profile[members // 2].values)
        plain = _seconds(lambda: h5py.File(target)["profile"][()])
    return [
        Row(f"{members} members joined into one file", f"{join:.2g} s", "", "", True),
        Row(
            "file opened lazily, one profile read",
            f"{lazily:.2g} s",
            f"all of it read by h5py: {plain:.2g} s",
            "2 s",
            lazily < 2.0,
        ),
    ]


def rows() -> list[Row]:
    """The table's lines."""
    workers = os.cpu_count() or 1
    return [*overhead(2000, workers), *many_workers(), *rulings(1000, workers), *opening(10_000)]
