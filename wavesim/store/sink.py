"""A file for HDF5 to write to that keeps the first failure instead of passing it on.

The HDF5 library (2.0.0, through h5py 3.16) ends the whole process with a segmentation fault when
a write fails for want of room and the file is then closed. Here the failed write is noted, later
ones are dropped, HDF5 closes in peace, and the caller raises `failure` afterwards.
"""

from __future__ import annotations

from io import FileIO


class Sink:
    """File-like object over a raw file opened for writing and reading."""

    def __init__(self, stream: FileIO) -> None:
        self._stream = stream
        self.failure: BaseException | None = None

    def write(self, data: memoryview) -> int:
        if self.failure is None:
            try:
                self._write_all(memoryview(data).cast("B"))
            except BaseException as failure:  # an interrupt too must wait until HDF5 has closed
                self.failure = failure
        return len(data)

    def _write_all(self, rest: memoryview) -> None:
        while rest:
            rest = rest[self._stream.write(rest) :]

    def truncate(self, size: int) -> int:
        if self.failure is None:
            try:
                self._stream.truncate(size)
            except BaseException as failure:
                self.failure = failure
        return size

    def read(self, size: int = -1) -> bytes:
        return self._stream.read(size)

    def readinto(self, buffer: bytearray) -> int:
        return self._stream.readinto(buffer)

    def seek(self, offset: int, whence: int = 0) -> int:
        return self._stream.seek(offset, whence)

    def tell(self) -> int:
        return self._stream.tell()

    def flush(self) -> None:
        """Nothing is buffered here."""
