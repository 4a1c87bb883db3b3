"""Messages on a websocket: how they are packed, and how those that wait give way to newer ones.

Down: four bytes with the length of a JSON head (little-endian), the head, then the buffers whose
lengths the head names. Up: JSON texts.
"""

from __future__ import annotations

import json
import math
import struct
from collections import deque
from typing import Any

from wavesim.live.protocol import Reply

_LATEST_WINS = ("turn", "cursor", "rest")  # of these only the newest is worth an answer
MOST_WAITING = 16


class Overrun(Exception):  # noqa: N818  (an event, not a fault of ours)
    """A client sends more than it lets be answered."""


def packed(reply: Reply) -> bytes:
    """One answer as the bytes of one message."""
    head = {**reply.head, "buffers": [len(buffer) for buffer in reply.buffers]}
    text = json.dumps(finite(head), ensure_ascii=False, separators=(",", ":")).encode()
    return b"".join([struct.pack("<I", len(text)), text, *reply.buffers])


def parsed(text: str) -> dict[str, Any]:
    """The message that a page sends.

    Raises
    ------
    ValueError
        No JSON object, one nested too deeply to be read, or text that UTF-8 cannot hold.
    """
    try:
        message = json.loads(text)
        json.dumps(message, ensure_ascii=False).encode()  # half of a surrogate pair is no text
    except RecursionError:
        raise ValueError("is nested too deeply") from None
    if not isinstance(message, dict):
        raise ValueError("is not a JSON object")
    return message


def finite(value: Any) -> Any:
    """JSON has no infinities: they become null."""
    match value:
        case float():
            return value if math.isfinite(value) else None
        case dict():
            return {key: finite(item) for key, item in value.items()}
        case list() | tuple():
            return [finite(item) for item in value]
        case _:
            return value


class Waiting:
    """Messages of one client that are not answered yet, in order; the latest value wins."""

    def __init__(self) -> None:
        self._messages: deque[dict[str, Any]] = deque()

    def __len__(self) -> int:
        return len(self._messages)

    def put(self, message: dict[str, Any]) -> None:
        """Add a message; one of the same kind before it that is overtaken goes.

        Raises
        ------
        Overrun
            Too many wait.
        """
        last = self._messages[-1] if self._messages else None
        kind = message.get("kind")
        if last is not None and kind in _LATEST_WINS and last.get("kind") == kind:
            self._messages.pop()
            if kind == "turn" and isinstance(last.get("changes"), dict):
                changes = message.get("changes")
                newer = changes if isinstance(changes, dict) else {}
                message = {**message, "changes": {**last["changes"], **newer}}
        if len(self._messages) >= MOST_WAITING:
            raise Overrun
        self._messages.append(message)

    def take(self) -> dict[str, Any]:
        """The oldest message."""
        return self._messages.popleft()
