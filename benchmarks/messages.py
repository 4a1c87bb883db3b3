"""The page's side of the live bench: its messages read as `socket.js` reads them."""

from __future__ import annotations

import json
import struct

from wavesim.live.protocol import Reply


def unpacked(message: bytes) -> Reply:
    """The answer in one message of a websocket (`wavesim.live.wire.packed`)."""
    (length,) = struct.unpack_from("<I", message)
    head = json.loads(message[4 : 4 + length])
    buffers, offset = [], 4 + length
    for size in head.pop("buffers"):
        buffers.append(message[offset : offset + size])
        offset += size
    return Reply(head, tuple(buffers))
