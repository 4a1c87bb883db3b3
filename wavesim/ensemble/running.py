"""From a plan to a study file: what is done already is read, the rest is computed and joined."""

from __future__ import annotations

import math
import os
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from wavesim.ensemble import engine, joined, parts
from wavesim.ensemble.engine import Batch, Engine
from wavesim.ensemble.exposing import Recorded, record
from wavesim.ensemble.members import Design
from wavesim.ensemble.plan import StudyPlan
from wavesim.errors import instance
from wavesim.files import make_folder, refuse_no_file
from wavesim.plate.duration import announce

_TRIED = 2  # members that tell how long the others take: the first starts what all share
_WORTH_PROCESSES_S = 8.0  # of work that is left: starting processes takes a few seconds


@dataclass(frozen=True)
class Progress:
    """How far a study is: members done and in all, and the time left [s] (nan at first)."""

    done: int
    members: int
    left_s: float


@dataclass(frozen=True)
class Run:
    """A finished study: members in all, done in this run, failed, and its file."""

    members: int
    computed: int
    failed: int
    file: Path


@dataclass(frozen=True)
class Estimate:
    """What a study will take.

    Attributes
    ----------
    members, done : in all, and on disk already
    member_s : time of one member, measured on the first
    workers : processes at work
    seconds, bytes : of what is left, and of the whole file
    """

    members: int
    done: int
    member_s: float
    workers: int
    seconds: float
    bytes: int


def estimate(plan: StudyPlan, output: Path, *, workers: int | None = None) -> Estimate:
    """Members, time and bytes of a study, from its first member; nothing is written.

    Raises
    ------
    InputError
        As `Design`, or the first member's scene is refused.
    """
    design = Design(plan)
    begin = time.perf_counter()
    first = record(design, 0)
    seconds = time.perf_counter() - begin
    begin = time.perf_counter()
    if seconds < 10.0:  # once more, without what only the first run of a process pays
        record(design, min(1, design.count - 1))
        seconds = time.perf_counter() - begin
    done = len(parts.done(parts.folder_of(output, plan.identity)))
    count = workers or (os.cpu_count() or 1)
    size = _bytes_of(first, len(design.columns))
    return Estimate(
        members=design.count,
        done=done,
        member_s=seconds,
        workers=count,
        seconds=seconds * (design.count - done) / count,
        bytes=size * design.count,
    )


def run_study(
    plan: StudyPlan,
    output: str | Path,
    *,
    workers: int | None = None,
    cluster: str | None = None,
    progress: Callable[[Progress], None] | None = None,
) -> Run:
    """Compute what is not done yet and join all members into one file.

    Where the file is there already and this very study made it, nothing is left to do.

    Parameters
    ----------
    output : the study file to write (HDF5); parts stand in a folder beside it until it is whole
    workers : processes; default this machine's cores where the work is worth starting them
    cluster : address of a dask scheduler that runs already
    progress : called after each batch

    Raises
    ------
    InputError, ComputationError
        As `Design` and the engines; what is done by then stays, and the same call goes on.
    OutputError
        A folder or disk that cannot be written.
    """
    instance("plan", plan, StudyPlan, 'a study, such as wavesim.load_study("study.toml")')
    target, begin = Path(output), time.monotonic()
    refuse_no_file(target)
    design, folder = Design(plan), parts.folder_of(target, plan.identity)
    failed = joined.failed_in(target, plan)
    if failed is not None:
        return Run(design.count, 0, failed, target)
    make_folder(folder)
    before = parts.done(folder)
    left = [index for index in range(design.count) if index not in before]
    tell = progress or (lambda _: None)
    tell(Progress(len(before), design.count, math.nan))
    computed = 0
    if left:
        for batch in _computed(plan, design, folder, left, workers, cluster):
            computed += len(batch)
            spent = time.monotonic() - begin
            rest = spent / computed * (len(left) - computed)
            tell(Progress(len(before) + computed, design.count, rest))
    failed = joined.join(plan, design, folder, target)
    parts.remove(folder)
    return Run(design.count, computed, failed, target)


def _computed(
    plan: StudyPlan,
    design: Design,
    folder: Path,
    left: list[int],
    workers: int | None,
    cluster: str | None,
) -> Iterator[Batch]:
    """Batches as they are done; the first members, alone, tell how long the others take."""
    member_s = 0.0
    for index in left[:_TRIED] if cluster is None else ():
        begin = time.perf_counter()
        parts.write_part(folder, [record(design, index)])
        yield (index,)
        left, member_s = left[1:], time.perf_counter() - begin
    count = workers or (os.cpu_count() or 1)
    announce(member_s * len(left) / count, f"for {len(left):,} members", "fewer members")
    with _chosen(workers, cluster, member_s * len(left)) as chosen:
        yield from chosen.run(plan, folder, left)


@contextmanager
def _chosen(workers: int | None, cluster: str | None, work_s: float) -> Iterator[Engine]:
    if cluster is not None:
        with engine.joined(cluster) as remote:
            yield remote
        return
    count = workers or (os.cpu_count() or 1)
    worth = workers is not None or (work_s > _WORTH_PROCESSES_S and engine.has_distributed())
    if count == 1 or not worth or not work_s:
        yield engine.InProcess()
        return
    with engine.local(count) as processes:
        yield processes


def _bytes_of(first: Recorded, columns: int) -> int:
    arrays = (first.profile, first.picture, first.irradiance)
    return 8 * (len(first.numbers) + columns) + sum(a.nbytes for a in arrays if a is not None)
