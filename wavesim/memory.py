"""How much memory is free, asked before any is taken."""

from __future__ import annotations

import os

from wavesim.errors import LimitError

_SHARE = 0.8  # of the memory that is free


def require_memory(
    need: float,
    *,
    expected: str,
    fraction: float = _SHARE,
    what: str = "",
    parts: str = "",
    key: str | None = "plate",
    file: object = None,
) -> None:
    """Refuse work that needs more bytes than that fraction of the memory that is free.

    Parameters
    ----------
    what, parts : words after "memory" and after "free" in the message
    key, expected, file : of the error

    Raises
    ------
    LimitError
        It does.
    """
    free = available_bytes()
    if free is not None and need > fraction * free:
        raise LimitError(
            f"would need about {need / 1e9:.3g} GB of memory{what} and {free / 1e9:.3g} GB are "
            f"free{parts}",
            key=key,
            file=None if file is None else str(file),
            expected=expected,
        )


def available_bytes() -> int | None:
    """Free memory [bytes], or None where the system does not tell."""
    try:
        with open("/proc/meminfo", encoding="ascii") as lines:  # noqa: PTH123
            for line in lines:
                if line.startswith("MemAvailable:"):
                    return int(line.split()[1]) * 1024
    except OSError:
        pass
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_AVPHYS_PAGES")
    except (AttributeError, ValueError, OSError):
        return None
