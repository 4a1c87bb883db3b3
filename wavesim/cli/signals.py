"""Ctrl-C and termination: noted when they strike, raised where an exception is heard.

An exception that is raised while a compiler calls back into Python, or while an object is cleared
away, is dropped, and the run would go on as if nothing had been. There the signal waits.
"""

from __future__ import annotations

import signal
from types import FrameType

INTERRUPTED, TERMINATED = 130, 128 + signal.SIGTERM
_RETRY_S = 0.02
# functions that C code calls and whose exceptions it drops
_DEAF_FUNCTIONS = {"__del__", "_object_compiled_hook", "_object_getbuffer_hook", "_remove", "cb"}
_DEAF_MODULES = ("llvmlite.binding.", "weakref", "_weakrefset")
# a lock that is just being taken or given back would stay taken, and a thread or process that is
# just being started would never be told to end: others would wait for it for ever
_DEAF_STEPS = {
    ("numba.core.compiler_lock", "__enter__"),
    ("numba.core.compiler_lock", "__exit__"),
    ("concurrent.futures.thread", "submit"),
    ("concurrent.futures.process", "submit"),
}

_struck: list[int] = []
_resting = False


def listen() -> None:
    """Handle both signals from now on; one that was being ignored stays ignored."""
    global _resting
    _resting = False
    _struck.clear()
    signal.signal(signal.SIGTERM, _strike)
    if signal.getsignal(signal.SIGINT) is not signal.SIG_IGN:
        signal.signal(signal.SIGINT, _strike)
    if hasattr(signal, "setitimer"):
        signal.signal(signal.SIGALRM, _retry)


def rest() -> None:
    """Only note signals from now on: what is left is to say how it ended, and to end.

    An alarm that is still set would else strike while Python takes down its handlers, and kill.
    """
    global _resting
    _resting = True
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_REAL, 0)


def status() -> int | None:
    """Exit status that the first signal asks for, or None: none has struck."""
    if not _struck:
        return None
    return INTERRUPTED if _struck[0] == signal.SIGINT else TERMINATED


def _strike(signum: int, frame: FrameType | None) -> None:
    _struck.append(signum)
    if _resting:
        return
    if hasattr(signal, "setitimer") and not _heard(frame):
        signal.setitimer(signal.ITIMER_REAL, _RETRY_S)
        return
    _leave(_struck[0])


def _retry(_signum: int, frame: FrameType | None) -> None:
    if not _struck or _resting:
        return
    if _heard(frame):
        _leave(_struck[0])
    signal.setitimer(signal.ITIMER_REAL, _RETRY_S)


def _leave(signum: int) -> None:
    """Go the usual way out, so that temporary files are removed."""
    if signum == signal.SIGINT:
        raise KeyboardInterrupt
    raise SystemExit(TERMINATED)


def _heard(frame: FrameType | None) -> bool:
    """Whether an exception raised in this frame reaches the command."""
    while frame is not None:
        module = str(frame.f_globals.get("__name__", ""))
        if frame.f_code.co_name in _DEAF_FUNCTIONS or module.startswith(_DEAF_MODULES):
            return False
        if (module, frame.f_code.co_name) in _DEAF_STEPS:
            return False
        frame = frame.f_back
    return True
