"""Members shared among workers: in this process, in processes of this machine, or on a cluster.

The same futures run on processes started here and on a scheduler that already runs
(dask.distributed). A worker writes its members as a part of its own and returns only the number of
them, so nothing large travels and whatever was finished stays finished. On a cluster all workers
must see the study's folder under the same name.
"""

from __future__ import annotations

import asyncio
import importlib.util
import os
import signal
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager, suppress
from functools import partial
from pathlib import Path
from typing import Any, Protocol

from wavesim.ensemble.exposing import Recorded, record
from wavesim.ensemble.members import Design
from wavesim.ensemble.parts import write_part
from wavesim.ensemble.plan import StudyPlan
from wavesim.errors import ComputationError, InputError, WavesimError
from wavesim.study.mapping import Found, Given, Mapping, in_turn
from wavesim.threads import one_thread

Batch = tuple[int, ...]
_TASK_S = 0.7  # length of a batch: the engine's 5 ms a task are then under 1 %
_LEAST_S = 0.1  # of the last batches, which shrink so that all workers end together
_MOST_IN_BATCH = 500
_BATCH_BYTES = 1 << 26
_RETRIES = 2
_AHEAD = 3  # batches handed out for each worker
_PATIENCE_S = 1.0  # between looks at whether the scheduler is still there

LEAN = {  # without its profiler, monitors and trimming of memory, which cost members a tenth
    "distributed.worker.profile.enabled": False,
    "distributed.admin.tick.interval": "1 s",
    "distributed.admin.system-monitor.interval": "5 s",
    "distributed.admin.system-monitor.gil.enabled": False,
    "distributed.nanny.pre-spawn-environ.MALLOC_TRIM_THRESHOLD_": None,
}

_designs: dict[str, Design] = {}


class Engine(Protocol):
    """Runs members and tells of each batch as it is done."""

    @property
    def workers(self) -> int:
        """How many batches run at a time."""

    @property
    def map(self) -> Mapping:
        """As the builtin, for other work than a study's."""

    def run(self, plan: StudyPlan, folder: Path, left: Sequence[int]) -> Iterator[Batch]:
        """Yield each batch of the members `left` once its part is written."""


class Deal:
    """Members dealt in batches of about 0.7 s, as long as the latest batch makes them.

    Parameters
    ----------
    left : the members
    workers : that share them
    most : members of a batch

    The first batches hold one member each, since nobody knows yet how long they take.
    """

    def __init__(self, left: Sequence[int], workers: int, most: int = _MOST_IN_BATCH) -> None:
        self._left, self._workers, self._most = list(reversed(left)), workers, most
        self._member_s = 0.0
        self._single: list[int] = []

    def __bool__(self) -> bool:
        return bool(self._left or self._single)

    def batch(self) -> Batch:
        """The next members; the last batches are shorter."""
        if self._single:
            return (self._single.pop(),)
        size = 1
        if self._member_s > 0:
            shared = max(len(self._left) / (2 * self._workers), _LEAST_S / self._member_s)
            size = int(max(1, min(_TASK_S / self._member_s, shared, self._most)))
        return tuple(self._left.pop() for _ in range(min(size, len(self._left))))

    def took(self, batch: Batch, seconds: float) -> None:
        """Learn how long a batch took."""
        self._member_s = max(seconds, 1e-6) / len(batch)

    def apart(self, batch: Batch) -> None:
        """Take a batch back, to be dealt member by member."""
        self._single.extend(reversed(batch))


def most_in_batch(plan: StudyPlan) -> int:
    """Members whose arrays, as recorded, stay below 64 MB."""
    wanted, plate = plan.table.record, plan.scene.plate
    size = 8 * wanted.profile.points if wanted.profile else 0
    size += 3 * wanted.picture.columns * wanted.picture.rows if wanted.picture else 0
    size += 4 * plate.pixels_x * plate.pixels_y if wanted.plate else 0
    return max(1, min(_MOST_IN_BATCH, _BATCH_BYTES // max(size, 1)))


def work(plan: StudyPlan, identity: str, folder: str, batch: Batch) -> float:
    """Expose and record the members of a batch and write them as one part; the time [s]."""
    begin = time.perf_counter()
    if identity not in _designs:
        _designs.clear()
        _designs[identity] = Design(plan)
    design = _designs[identity]
    write_part(Path(folder), [record(design, index) for index in batch])
    return time.perf_counter() - begin


def _alone(function: Callable[..., Found], *arguments: object) -> Found:
    """Work in a process that has a processor to itself, and no more."""
    with one_thread():
        return function(*arguments)


class InProcess:
    """One batch after the other, here."""

    workers, map = 1, staticmethod(in_turn)

    def run(self, plan: StudyPlan, folder: Path, left: Sequence[int]) -> Iterator[Batch]:
        """Yield each batch of the members `left` once its part is written."""
        identity, deal = plan.identity, Deal(left, 1, most_in_batch(plan))
        while deal:
            batch = deal.batch()
            deal.took(batch, work(plan, identity, str(folder), batch))
            yield batch


class Distributed:
    """Batches as futures of a dask client."""

    def __init__(self, client: Any, workers: int, *, function: Callable[..., float] = work) -> None:
        self._client, self.workers, self._function = client, workers, function

    def run(self, plan: StudyPlan, folder: Path, left: Sequence[int]) -> Iterator[Batch]:
        """Yield each batch once its part is written, in the order in which they end.

        A batch whose worker dies again and again is tried member by member; a member that still
        ends its worker becomes a row with a message.
        """
        identity = plan.identity
        shared = self._client.scatter(plan, broadcast=True, hash=False)
        deal = Deal(left, self.workers, most_in_batch(plan))
        batch_of: dict[Any, Batch] = {}
        while deal or batch_of:
            while deal and len(batch_of) < _AHEAD * self.workers:
                batch = deal.batch()
                future = self._client.submit(
                    _alone,
                    self._function,
                    shared,
                    identity,
                    str(folder),
                    batch,
                    pure=False,
                    retries=_RETRIES,
                )
                batch_of[future] = batch
            future = self._first_done(list(batch_of))
            batch = batch_of.pop(future)
            error = future.exception()
            if error is None:
                deal.took(batch, future.result())
                yield batch
            elif isinstance(error, WavesimError):
                raise error
            elif len(batch) > 1:
                deal.apart(batch)
            else:
                yield _failed(plan, folder, batch)

    def map(self, function: Callable[[Given], Found], items: Iterable[Given], /) -> Iterator[Found]:
        """As the builtin: the results in the order of the items, which all run at once."""
        futures = self._client.map(
            partial(_alone, function), list(items), pure=False, retries=_RETRIES
        )
        for future in futures:
            while self._first_done([future]) is not future:
                pass
            yield future.result()

    def _first_done(self, futures: list[Any]) -> Any:
        """One that has ended, well or not.

        Raises
        ------
        ComputationError
            The scheduler is gone.
        """
        from distributed import wait

        while self._client.status in ("running", "connecting"):
            with (
                self._client.as_current(),
                suppress(TimeoutError, asyncio.CancelledError, CancelledError),
            ):
                done, _ = wait(futures, timeout=_PATIENCE_S, return_when="FIRST_COMPLETED")
                for future in done:
                    if future.status in ("finished", "error"):
                        return future
        raise ComputationError(
            "the connection to the scheduler is lost; finished members are kept, and the same "
            "command continues from there"
        )


def _failed(plan: StudyPlan, folder: Path, batch: Batch) -> Batch:
    """A row that says why a member could not be computed; the same words wherever it ran."""
    message = "ended its process each time it was computed, perhaps for lack of memory"
    numbers = dict.fromkeys(plan.table.record.numbers, float("nan"))
    write_part(folder, [Recorded(index, numbers, failure=message) for index in batch])
    return batch


def has_distributed() -> bool:
    """Whether dask.distributed is installed."""
    return importlib.util.find_spec("distributed") is not None


@contextmanager
def local(workers: int) -> Iterator[Engine]:
    """Processes of this machine.

    Raises
    ------
    InputError
        dask.distributed is not installed.
    """
    _require("--workers", "several processes", or_else="--workers 1")
    import dask
    from distributed import Client, LocalCluster

    with (
        _quiet(),
        dask.config.set(LEAN),
        _started(
            LocalCluster,
            n_workers=workers,
            threads_per_worker=1,
            processes=True,
            dashboard_address="127.0.0.1:0",
            memory_limit=0,
            silence_logs=50,
            host="127.0.0.1",
        ) as cluster,
        Client(cluster, set_as_default=False) as client,
    ):
        yield Distributed(client, workers)


@contextmanager
def mapped(workers: int) -> Iterator[Mapping]:
    """What carries out equal pieces of work: this process, or as many as are given.

    Raises
    ------
    InputError
        More than one worker, and dask.distributed is not installed.
    """
    if workers == 1:
        yield in_turn
        return
    with local(workers) as engine:
        yield engine.map


@contextmanager
def joined(address: str) -> Iterator[Engine]:
    """The workers of a scheduler that runs at `address` already.

    Raises
    ------
    InputError
        dask.distributed is not installed, or nothing answers there.
    ComputationError
        The scheduler has no workers.
    """
    _require("--cluster", "a cluster", or_else="no --cluster")
    from distributed import Client

    with _quiet():
        try:
            client = Client(address, set_as_default=False, timeout=10)
        except (OSError, ValueError, TimeoutError) as error:
            raise InputError(
                f"does not answer: {type(error).__name__}",
                key="--cluster",
                value=address,
                expected='such as "tcp://127.0.0.1:8786"',
            ) from None
        with client:
            workers = len(client.scheduler_info(n_workers=-1)["workers"])
            if not workers:
                raise ComputationError(f"the scheduler at {address} has no workers")
            yield Distributed(client, workers)


@contextmanager
def _started(cluster: Callable[..., Any], **settings: Any) -> Iterator[Any]:
    """A cluster whose workers take no notice of Ctrl-C: it is for the process that started them.

    They inherit that the signal is ignored; so is one that strikes in this half of a second.

    Raises
    ------
    ComputationError
        The processes do not start.
    """
    in_main_thread = threading.current_thread() is threading.main_thread()
    usual = signal.getsignal(signal.SIGINT)
    if in_main_thread and callable(usual):
        signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        started = cluster(**settings)
    except RuntimeError as error:
        raise ComputationError(
            "the worker processes did not start; a script that asks for several puts its calls "
            "under 'if __name__ == \"__main__\":' (each process reads the script again)"
        ) from error
    finally:
        if in_main_thread and callable(usual):
            signal.signal(signal.SIGINT, usual)
    with started:
        yield started


@contextmanager
def _quiet() -> Iterator[None]:
    """One thread for matrix products in each worker, and no log of dask's on the terminal."""
    import logging

    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    loggers = [logging.getLogger(name) for name in ("distributed", "distributed.client")]
    levels = [logger.level for logger in loggers]
    for logger in loggers:
        logger.setLevel(logging.CRITICAL)
    try:
        yield
    finally:
        for logger, level in zip(loggers, levels, strict=True):
            logger.setLevel(level)


def _require(option: str, what: str, *, or_else: str) -> None:
    if not has_distributed():
        raise InputError(
            f"{what} needs dask.distributed, which is not installed",
            key=option,
            expected=f'pip install "wavesim[studies]", or {or_else}',
        )
