"""Those who look on: the owner's bench on many screens, computed once."""

from __future__ import annotations

import asyncio
from contextlib import suppress

import anyio
from starlette.websockets import WebSocket, WebSocketDisconnect

from wavesim.live.protocol import Desk, Reply
from wavesim.live.wire import packed

_KINDS = ("state", "frame", "pins")  # what followers see, in the order in which they get it
_PATIENCE_S = 20.0  # for an answer to a frame


class Hall:
    """The latest of what the owner shows, and those who follow it."""

    def __init__(self) -> None:
        self._latest: dict[str, bytes] = {}
        self._version: dict[str, int] = {}
        self._changed = asyncio.Condition()
        self.followers = 0

    def publish(self, desk: Desk, reply: Reply, data: bytes) -> None:
        """Show what the owner was told, unless the plate is covered."""
        kind = reply.head["kind"]
        if desk.covered and kind == "frame":
            return
        if kind == "state":
            data = packed(Reply({**reply.head, "follower": True, "share": None}, reply.buffers))
        if kind in _KINDS:
            self._latest[kind] = data
            self._version[kind] = self._version.get(kind, 0) + 1
            asyncio.get_running_loop().create_task(self._wake())

    async def _wake(self) -> None:
        async with self._changed:
            self._changed.notify_all()

    async def follow(self, socket: WebSocket) -> None:
        """Send each new frame once the last was confirmed; those missed meanwhile are left out."""
        confirmed = asyncio.Semaphore(0)
        self.followers += 1
        try:
            async with anyio.create_task_group() as group:
                group.start_soon(self._confirmations, socket, confirmed, group.cancel_scope)
                with suppress(WebSocketDisconnect, TimeoutError):
                    await self._show(socket, confirmed)
                group.cancel_scope.cancel()
        finally:
            self.followers -= 1

    async def _show(self, socket: WebSocket, confirmed: asyncio.Semaphore) -> None:
        sent: dict[str, int] = {}
        while True:
            kind = next((k for k in _KINDS if self._version.get(k, 0) > sent.get(k, 0)), None)
            if kind is None:
                async with self._changed:
                    await self._changed.wait()
                continue
            sent[kind] = self._version[kind]
            await socket.send_bytes(self._latest[kind])
            await asyncio.wait_for(confirmed.acquire(), _PATIENCE_S)

    async def _confirmations(
        self, socket: WebSocket, confirmed: asyncio.Semaphore, scope: anyio.CancelScope
    ) -> None:
        """Every message of a follower counts as one; what it says is not looked at."""
        with suppress(WebSocketDisconnect):
            while True:
                await socket.receive_text()
                if confirmed.locked():
                    confirmed.release()
        scope.cancel()
