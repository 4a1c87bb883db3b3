"""Opening files that somebody else made: ordinary ones only, and no more of them than was meant.

A named pipe, a device or a socket would keep the program waiting or never end; a file may grow
while it is read. Whatever is read from outside comes through here.
"""

from __future__ import annotations

import os
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from wavesim.errors import InputError

MOST_PACKED = 1100  # deflate cannot shrink more than 1032 times (RFC 1951); the rest is room


def open_regular(path: Path, refusal: type[InputError], expected: str) -> BinaryIO:
    """The file, open for reading.

    Raises
    ------
    InputError
        Of the kind `refusal`: it is missing, cannot be read, or is not an ordinary file.
    """
    try:
        stream = open(path, "rb", opener=_without_waiting)  # noqa: SIM115
    except FileNotFoundError:
        raise refusal("there is no such file", file=path, expected=expected) from None
    except (OSError, ValueError) as error:  # ValueError: a NUL in the name
        reason = getattr(error, "strerror", None) or str(error)
        raise refusal(f"cannot be read: {reason}", file=path, expected=expected) from error
    if not stat.S_ISREG(os.fstat(stream.fileno()).st_mode):
        stream.close()
        raise refusal("is not an ordinary file", file=path, expected=expected)
    return stream


def check_regular(path: Path, refusal: type[InputError], expected: str) -> None:
    """Raise as `open_regular`, for a file that a library opens by its name."""
    open_regular(path, refusal, expected).close()


def read_most(
    stream: BinaryIO, most_bytes: int, path: Path, refusal: type[InputError], expected: str
) -> bytes:
    """The first bytes of an open file; raises `refusal` where they cannot be read."""
    try:
        return stream.read(most_bytes)
    except OSError as error:
        reason = error.strerror or str(error)
        raise refusal(f"cannot be read: {reason}", file=path, expected=expected) from error


def read_bounded(path: Path, most_bytes: int, refusal: type[InputError], expected: str) -> bytes:
    """All that the file holds.

    Raises
    ------
    InputError
        As `open_regular`; also if it holds more than `most_bytes`.
    """
    with open_regular(path, refusal, expected) as stream:
        content = read_most(stream, most_bytes + 1, path, refusal, expected)
    if len(content) > most_bytes:
        raise refusal(f"is larger than {bytes_text(most_bytes)}", file=path, expected=expected)
    return content


def blocks_of(
    path: Path, most_bytes: int, refusal: type[InputError], expected: str
) -> Iterator[bytes]:
    """The same, a mebibyte at a time."""
    left = most_bytes + 1
    with open_regular(path, refusal, expected) as stream:
        while block := read_most(stream, min(left, 2**20), path, refusal, expected):
            left -= len(block)
            if left <= 0:
                raise refusal(f"is larger than {bytes_text(most_bytes)}", file=path,
                              expected=expected)  # fmt: skip
            yield block


def bytes_text(count: int) -> str:
    """A number of bytes in words: 1 MiB, 200 MB."""
    for unit, factor in (("MiB", 2**20), ("MB", 10**6), ("kB", 1000)):
        if count >= factor and count % factor == 0:
            return f"{count // factor} {unit}"
    return f"{count:,} bytes"


def _without_waiting(path: str, flags: int) -> int:
    """Open even a pipe at once, so that it can be refused."""
    return os.open(path, flags | getattr(os, "O_NONBLOCK", 0))
