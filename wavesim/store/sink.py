"""A file for HDF5 to write to that keeps the first failure instead of passing it on.

The HDF5 library (2.0.0, through h5py 3.16) ends the whole process with a segmentation fault when
a write fails for want of room and the file is then closed. Here the failed write is noted, later
ones are dropped, HDF5 closes in peace, and the caller raises `failure` afterwards. An interrupt
that strikes while the library is at work does the same harm, and waits until the file is closed.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from io import FileIO
from pathlib import Path
from types import FrameType

import h5py

from wavesim.files import replacing

# HDF5 1.10 and later: from there on the library guards its own structures with checksums.
_FORMAT = ("v110", "v110")


@contextmanager
def hdf5_replacing(path: str | Path) -> Iterator[h5py.File]:
    """An HDF5 file to fill; it takes the place of `path` when the block succeeds.

    Ctrl-C and a termination wait until the file is closed, and then leave the old one there.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full.
    """
    with replacing(path) as temporary, temporary.open("wb+", buffering=0) as stream:
        sink = Sink(stream)
        try:
            with _uninterrupted(), h5py.File(sink, "w", libver=_FORMAT) as file:
                yield file
        finally:
            if sink.failure is not None:
                raise sink.failure


@contextmanager
def _uninterrupted() -> Iterator[None]:
    """Hold signals back that Python would handle in this thread, until the block has ended."""
    held: list[tuple[int, FrameType | None]] = []
    usual = {}
    if threading.current_thread() is threading.main_thread():
        both = {number: signal.getsignal(number) for number in (signal.SIGINT, signal.SIGTERM)}
        usual = {number: handler for number, handler in both.items() if callable(handler)}
    for number in usual:
        signal.signal(number, lambda *struck: held.append(struck))
    try:
        yield
    finally:
        for number, handler in usual.items():
            signal.signal(number, handler)
        if held:
            usual[signal.Signals(held[0][0])](*held[0])


class Sink:
    """File-like object over a raw file opened for writing and reading."""

    def __init__(self, stream: FileIO) -> None:
        self._stream = stream
        self.failure: BaseException | None = None

    def write(self, data: memoryview) -> int:
        self._attempt(lambda: self._write_all(memoryview(data).cast("B")))
        return len(data)

    def _write_all(self, rest: memoryview) -> None:
        while rest:
            rest = rest[self._stream.write(rest) :]

    def truncate(self, size: int) -> int:
        self._attempt(lambda: self._stream.truncate(size))
        return size

    def read(self, size: int = -1) -> bytes:
        return b"" if self._stream.closed else self._stream.read(size)

    def readinto(self, buffer: bytearray) -> int:
        return 0 if self._stream.closed else self._stream.readinto(buffer)

    def seek(self, offset: int, whence: int = 0) -> int:
        found = self._attempt(lambda: self._stream.seek(offset, whence))
        return offset if found is None else found

    def tell(self) -> int:
        return self._attempt(self._stream.tell) or 0

    def flush(self) -> None:
        """Nothing is buffered here."""

    def _attempt(self, work: Callable[[], int | None]) -> int | None:
        """Do it unless something failed before; keep what fails, an interrupt too.

        An interrupt may also leave HDF5 open behind a file that is closed already: what HDF5
        still wants to write then, while its objects are cleared away, goes nowhere.
        """
        if self.failure is not None or self._stream.closed:
            return None
        try:
            return work()
        except BaseException as failure:  # must wait until HDF5 has closed
            self.failure = failure
            return None
