"""Writing a file so that an interrupted run leaves the old file or none."""

from __future__ import annotations

import errno
import hashlib
import os
import re
import secrets
import stat
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from wavesim.errors import OutputError

try:
    import fcntl
except ImportError:  # not a Unix: nobody locks, and nobody clears away
    fcntl = None  # type: ignore[assignment]

_ENDING = ".wavesim-part"
_LONGEST_STEM = 200  # bytes of a target's name within that of its temporary file
_FULL = (errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC))
_CUT_SHORT = re.compile(r"\d+ requested and \d+ written")  # numpy's, without the system's reason
_reported: set[tuple[str, str]] = set()  # what has been said to be lost, and in which folder


@contextmanager
def replacing(path: str | Path) -> Iterator[Path]:
    """Give a temporary name beside `path`; rename it to `path` when the block succeeds.

    The rename is atomic on one file system, so a reader sees the old file or the new one.
    The data are flushed to disk first. On any exception the temporary file is removed; what a
    killed process left behind is removed when the same name is written next. A file that is
    replaced hands its permissions on; a new one gets those that the process's umask leaves.

    Raises
    ------
    OutputError
        The folder is missing, read-only or full, or `path` is not an ordinary file.
    """
    target = Path(path)
    refuse_no_file(target)
    try:
        _clear_away(target)
        handle, temporary = _locked_beside(target)
    except OSError as error:
        raise _unwritable(target, error) from error
    try:
        mode = _final_mode(handle, target)
        yield temporary
        _settle(handle, temporary, target, mode)
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
        problem = "has an unsupported file type" if ending else "has no file type"
        expected = f"a name that ends in {' or '.join(endings)}"
        raise OutputError(problem, file=path, value=Path(path).suffix or None, expected=expected)
    return ending


def refuse_no_file(target: Path) -> None:
    """Refuse a folder, device or pipe: what stands there must be a file, or nothing.

    Raises
    ------
    OutputError
        It is something else.
    """
    expected = "the name of a file to write"
    try:
        mode = target.stat().st_mode
    except FileNotFoundError:
        return
    except (OSError, ValueError) as error:  # a name too long, or with a NUL in it
        reason = getattr(error, "strerror", None) or "it holds a NUL character"
        raise OutputError(f"cannot be written: {reason}", file=target, expected=expected) from None
    if stat.S_ISDIR(mode):
        raise OutputError("is a folder", file=target, expected=expected)
    if not stat.S_ISREG(mode):
        raise OutputError("is not an ordinary file", file=target, expected=expected)


def make_folder(folder: Path) -> None:
    """Make a folder, in one that is there; one that is there already serves.

    Raises
    ------
    OutputError
        It cannot be made, or something else has its name.
    """
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise OutputError(
            f"cannot be made: {error.strerror}",
            file=folder,
            expected="a folder with room that you may write to",
        ) from error


def report_full_disk(what: str, folder: Path, error: BaseException) -> None:
    """Say once, through the log, that a full disk keeps `what` from being stored in `folder`.

    Says nothing of other errors: a folder that cannot be written costs time alone.
    """
    number = getattr(error, "errno", None) or getattr(error.__cause__, "errno", None)
    if number not in _FULL or (what, str(folder)) in _reported:
        return
    import logging

    _reported.add((what, str(folder)))
    text = "wavesim: the disk that holds %s is full: %s will be computed again each time"
    logging.getLogger("wavesim").warning(text, folder, what)


def _locked_beside(target: Path) -> tuple[int, Path]:
    """A new empty file beside the target, under a lock that ends with this process.

    The lock is shared, so that the file, once renamed, may be read at once by those who lock.
    """
    flags = os.O_RDWR | os.O_CREAT | os.O_EXCL | getattr(os, "O_CLOEXEC", 0)
    while True:
        path = target.parent / f".{short_name(target)}.{secrets.token_hex(4)}{_ENDING}"
        try:
            handle = os.open(path, flags, 0o666)
        except FileExistsError:
            continue
        with suppress(OSError):  # a file system without locks: nobody clears away there either
            if fcntl is not None:
                fcntl.flock(handle, fcntl.LOCK_SH)
        if os.fstat(handle).st_nlink:
            return handle, path
        os.close(handle)  # cleared away by another writer before the lock


def short_name(target: Path) -> str:
    """The target's name, shortened where one made of it would be longer than systems allow."""
    name = os.fsencode(target.name)
    if len(name) <= _LONGEST_STEM:
        return target.name
    return f"{target.name[:20]}.{hashlib.sha256(name).hexdigest()[:24]}"


def _final_mode(handle: int, target: Path) -> int:
    """Permissions for the finished file; until then it is its owner's alone.

    Those of the file that is replaced, or those that the umask has just left. The umask itself
    cannot be asked without being changed for the whole process.
    """
    mode = stat.S_IMODE(os.fstat(handle).st_mode)
    with suppress(OSError):
        mode = stat.S_IMODE(target.stat().st_mode) & 0o777
    with suppress(OSError):  # a file system without permissions
        os.fchmod(handle, 0o600)
    return mode


def _clear_away(target: Path) -> None:
    """Remove the temporary files of this target whose writer is gone: nobody locks them."""
    if fcntl is None:
        return
    ours = re.compile(re.escape(f".{short_name(target)}.") + r"\w{8}" + re.escape(_ENDING))
    with suppress(OSError), os.scandir(target.parent) as entries:
        for entry in entries:
            if ours.fullmatch(entry.name) and entry.is_file(follow_symlinks=False):
                _remove_unlocked(Path(entry.path))


def _remove_unlocked(path: Path) -> None:
    with suppress(OSError), path.open("rb") as stream:
        fcntl.flock(stream, fcntl.LOCK_EX | fcntl.LOCK_NB)
        path.unlink()


def _settle(handle: int, temporary: Path, target: Path, mode: int) -> None:
    with suppress(OSError):
        os.fchmod(handle, mode)
    os.fsync(handle)
    temporary.replace(target)


def _disk_of(target: Path) -> Path:
    """Where the file system that holds the target is mounted."""
    folder = target.absolute().parent
    while not folder.is_mount() and folder != folder.parent:
        folder = folder.parent
    return folder


def _unwritable(target: Path, error: OSError) -> OutputError:
    reason = error.strerror or str(error)
    if _CUT_SHORT.search(reason):
        reason = "there is no room for all of it"
    if error.errno in _FULL:
        reason += f" (on the disk at {_disk_of(target)})"
    return OutputError(
        f"cannot be written: {reason}",
        file=target,
        expected="a folder with room that you may write to",
    )
