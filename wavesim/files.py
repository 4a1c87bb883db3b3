"""Writing a file so that an interrupted run leaves the old file or none."""

from __future__ import annotations

import os
import re
import tempfile
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from wavesim.errors import OutputError

try:
    import fcntl
except ImportError:  # not a Unix: nobody locks, and nobody clears away
    fcntl = None  # type: ignore[assignment]

_ENDING = ".wavesim-part"


@contextmanager
def replacing(path: str | Path) -> Iterator[Path]:
    """Give a temporary name beside `path`; rename it to `path` when the block succeeds.

    The rename is atomic on one file system, so a reader sees the old file or the new one.
    The data are flushed to disk first. On any exception the temporary file is removed; what a
    killed process left behind is removed when the same name is written next.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full, or `path` is no ordinary file.
    """
    target = Path(path)
    refuse_no_file(target)
    try:
        _clear_away(target)
        handle, temporary = _locked_beside(target)
    except OSError as error:
        raise _unwritable(target, error) from error
    try:
        yield temporary
        _settle(temporary, target)
    except OSError as error:
        raise _unwritable(target, error) from error
    finally:
        temporary.unlink(missing_ok=True)
        os.close(handle)


def check_ending(path: str | Path, endings: Sequence[str]) -> str:
    """The ending of the name, in small letters, if it is one of those written.

    Raises
    ------
    OutputError
        It is another, or there is none.
    """
    ending = Path(path).suffix.lower()
    if ending not in endings:
        problem = "has the wrong ending" if ending else "has no ending"
        right = f"a name that ends in {' or '.join(endings)}"
        raise OutputError(problem, file=path, value=Path(path).suffix or None, expected=right)
    return ending


def refuse_no_file(target: Path) -> None:
    """Refuse a folder, device or pipe: what stands there must be a file, or nothing.

    Raises
    ------
    OutputError
        It is something else.
    """
    right = "the name of a file to write"
    if target.is_dir():
        raise OutputError("is a folder", file=target, expected=right)
    if target.exists() and not target.is_file():
        raise OutputError("is no ordinary file", file=target, expected=right)


def _locked_beside(target: Path) -> tuple[int, Path]:
    """A new empty file beside the target, under a lock that ends with this process.

    The lock is shared, so that the file, once renamed, may be read at once by those who lock.
    """
    while True:
        handle, name = tempfile.mkstemp(_ENDING, f".{target.name}.", target.parent)
        with suppress(OSError):  # a file system without locks: nobody clears away there either
            if fcntl is not None:
                fcntl.flock(handle, fcntl.LOCK_SH)
        if os.fstat(handle).st_nlink:
            return handle, Path(name)
        os.close(handle)  # cleared away by another writer before the lock


def _clear_away(target: Path) -> None:
    """Remove the temporary files of this target whose writer is gone: nobody locks them."""
    if fcntl is None:
        return
    ours = re.compile(re.escape(f".{target.name}.") + r"\w{8}" + re.escape(_ENDING))
    with suppress(OSError), os.scandir(target.parent) as entries:
        for entry in entries:
            if ours.fullmatch(entry.name) and entry.is_file(follow_symlinks=False):
                _remove_unlocked(Path(entry.path))


def _remove_unlocked(path: Path) -> None:
    with suppress(OSError), path.open("rb") as stream:
        fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        path.unlink()


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
