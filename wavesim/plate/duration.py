"""How long a plate would take, asked before it is begun."""

from __future__ import annotations

from wavesim.errors import LimitError

LONGEST_S = 1800.0  # half an hour of one core


def require_time(seconds: float, *, what: str, expected: str, key: str = "plate") -> None:
    """Refuse work that one core would be at for more than half an hour.

    Raises
    ------
    LimitError
        With the estimate in its message.
    """
    if seconds > LONGEST_S:
        raise LimitError(f"would take about {_text(seconds)} {what}", key=key, expected=expected)


def _text(seconds: float) -> str:
    if seconds < 7200:
        return f"{seconds / 60:.0f} minutes"
    if seconds < 200_000:
        return f"{seconds / 3600:.0f} hours"
    return f"{seconds / 86400:.3g} days"
