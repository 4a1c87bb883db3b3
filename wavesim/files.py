"""Writing a file so that an interrupted run leaves the old file or none."""

from __future__ import annotations

import os
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from wavesim.errors import OutputError


@contextmanager
def replacing(path: str | Path) -> Iterator[Path]:
    """Give a temporary name beside `path`; rename it to `path` when the block succeeds.

    The rename is atomic on one file system, so a reader sees the old file or the new one.
    The data are flushed to disk first. On any exception the temporary file is removed.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full, or `path` is a folder.
    """
    target = Path(path)
    if target.is_dir():
        raise OutputError("is a folder, not a file to write", file=target)
    try:
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", dir=target.parent)
    except OSError as error:
        raise _unwritable(target, error) from error
    os.close(handle)
    temporary = Path(name)
    try:
        yield temporary
        _settle(temporary, target)
    except OSError as error:
        raise _unwritable(target, error) from error
    finally:
        temporary.unlink(missing_ok=True)


def _settle(temporary: Path, target: Path) -> None:
    mask = os.umask(0)
    os.umask(mask)
    temporary.chmod(0o666 & ~mask)
    with temporary.open("rb+") as stream:
        os.fsync(stream.fileno())
    temporary.replace(target)


def _unwritable(target: Path, error: OSError) -> OutputError:
    reason = error.strerror or str(error)
    return OutputError(
        f"cannot be written: {reason}",
        file=target,
        expected="a folder with room that you may write to",
    )
