"""The bench as a page: a web server on this machine. No physics; `protocol` answers."""

from __future__ import annotations

import asyncio
import os
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import nullcontext, suppress
from importlib import resources
from typing import Any

import anyio
from starlette.applications import Starlette
from starlette.middleware import Middleware
from starlette.requests import Request
from starlette.responses import Response
from starlette.routing import Route, WebSocketRoute
from starlette.websockets import WebSocket, WebSocketDisconnect

from wavesim.live.guard import FOLLOWER, NOBODY, Access, Guard
from wavesim.live.hall import Hall
from wavesim.live.pins import Pins
from wavesim.live.protocol import Desk, Reply, Tell
from wavesim.live.session import Session
from wavesim.live.wire import Overrun, Waiting, packed, parsed
from wavesim.scene import Scene
from wavesim.threads import one_thread

MOST_CONNECTIONS = 80
MOST_BENCHES = 16
_GUEST_BYTES = 1e8  # of plates kept on a bench of a follower's own
LARGEST_MESSAGE = 1 << 16  # bytes
MOST_MESSAGES_S = 250.0
_HELLO_S = 10.0  # within which a client says who it is
_FILES = {
    "/": ("index.html", "text/html; charset=utf-8"),
    "/bench.js": ("bench.js", "text/javascript; charset=utf-8"),
    "/socket.js": ("socket.js", "text/javascript; charset=utf-8"),
    "/bench.css": ("bench.css", "text/css; charset=utf-8"),
    "/strings.json": ("strings.json", "application/json"),
    "/favicon.ico": ("icon.svg", "image/svg+xml"),
}


class Server:
    """All that is shared between the connections to one bench."""

    def __init__(
        self,
        scene: Scene,
        scenes: Sequence[Scene],
        access: Access,
        share: dict[str, Any] | None = None,
    ) -> None:
        self.access, self.hall = access, Hall()
        self.connections = self.benches = 0
        self.stopping = False
        self._scene, self._scenes, self._share = scene, tuple(scenes), share
        # One computation of each bench at a time, first come first served: benches take turns.
        # The threads of `threads.each` share out one computation while its caller waits, which the
        # loop that serves the sockets must not do.
        self.pool = ThreadPoolExecutor(max(2, os.cpu_count() or 1), "bench")

    def desk(self, *, owner: bool) -> Desk:
        """A bench of one's own, with the scene that the server was started with."""
        share = self._share if owner else None
        pins = Pins() if owner else Pins(_GUEST_BYTES)
        return Desk(Session(self._scene), self._scenes, pins=pins, share=share)

    def answer(self, desk: Desk, message: dict[str, Any], tell: Tell) -> None:
        """Have a message answered; where several benches are at work, each on one core."""
        with one_thread() if self.benches > 1 else nullcontext():
            desk.answer(message, tell)

    def app(self) -> Starlette:
        """The web application."""
        routes = [Route(path, _file(*entry)) for path, entry in _FILES.items()]
        socket = WebSocketRoute("/bench", self._connect)
        guard = Middleware(Guard, access=self.access)
        return Starlette(routes=[*routes, socket], middleware=[guard])

    async def _connect(self, socket: WebSocket) -> None:
        if self.connections >= MOST_CONNECTIONS or self.stopping:
            await socket.close(1013)
            return
        self.connections += 1
        try:
            await socket.accept()
            with suppress(WebSocketDisconnect):
                try:
                    await self._serve(socket)
                except (Overrun, TimeoutError, ValueError, TypeError, KeyError):
                    await socket.close(1008)  # no client of ours sends that
        finally:
            self.connections -= 1

    async def _serve(self, socket: WebSocket) -> None:
        hello = await asyncio.wait_for(_received(socket), _HELLO_S)
        role = self.access.role(hello.get("key"))
        if role == NOBODY:
            await socket.close(4401)
            return
        if role == FOLLOWER and not hello.get("own"):
            await self.hall.follow(socket)
            return
        if self.benches >= MOST_BENCHES:
            await socket.close(4429)
            return
        self.benches += 1
        try:
            owner = role != FOLLOWER
            publish = self.hall.publish if owner and self.access.class_key else None
            await _Connection(socket, self, self.desk(owner=owner), publish).run(hello)
        finally:
            self.benches -= 1


class _Connection:
    """One page at a bench of its own: reads messages, has them answered one at a time."""

    def __init__(
        self, socket: WebSocket, server: Server, desk: Desk,
        publish: Callable[[Desk, Reply, bytes], None] | None,
    ) -> None:  # fmt: skip
        self._socket, self._server, self._desk, self._publish = socket, server, desk, publish
        self._waiting, self._something = Waiting(), asyncio.Event()
        self._out: asyncio.Queue[bytes] = asyncio.Queue()

    async def run(self, hello: dict[str, Any]) -> None:
        """Until the page goes."""
        self._put({**hello, "kind": "hello"})
        fault: Exception | None = None
        async with anyio.create_task_group() as group:
            group.start_soon(self._answer)
            group.start_soon(self._send, group.cancel_scope)
            try:
                await self._read()
            except (WebSocketDisconnect, Overrun, ValueError, TypeError) as error:
                fault = error
            group.cancel_scope.cancel()
        if fault is not None:
            raise fault

    def _put(self, message: dict[str, Any]) -> None:
        self._waiting.put(message)
        self._something.set()

    async def _read(self) -> None:
        begin, count = time.monotonic(), 0
        while True:
            self._put(await _received(self._socket))
            count += 1
            if count > MOST_MESSAGES_S * max(time.monotonic() - begin, 1.0):
                raise Overrun
            if time.monotonic() - begin > 2.0:
                begin, count = time.monotonic(), 0

    async def _answer(self) -> None:
        loop = asyncio.get_running_loop()
        while True:
            await self._something.wait()
            self._something.clear()
            while len(self._waiting):
                message = self._waiting.take()
                await loop.run_in_executor(
                    self._server.pool, self._server.answer, self._desk, message, self._teller(loop)
                )
                await self._out.join()  # a slow line slows the bench, and fills no memory

    def _teller(self, loop: asyncio.AbstractEventLoop) -> Callable[[Reply], None]:
        def tell(reply: Reply) -> None:
            if self._server.stopping:
                raise InterruptedError
            data = packed(reply)
            loop.call_soon_threadsafe(self._hand_over, reply, data)

        return tell

    def _hand_over(self, reply: Reply, data: bytes) -> None:
        self._out.put_nowait(data)
        if self._publish is not None:
            self._publish(self._desk, reply, data)

    async def _send(self, scope: anyio.CancelScope) -> None:
        try:
            while True:
                data = await self._out.get()
                await self._socket.send_bytes(data)
                self._out.task_done()
        except WebSocketDisconnect:
            scope.cancel()


async def _received(socket: WebSocket) -> dict[str, Any]:
    """One message; ValueError if it is not a JSON object."""
    return parsed(await socket.receive_text())


def _file(name: str, kind: str) -> Callable[[Request], Any]:
    content = resources.files("wavesim.live").joinpath("data", name).read_bytes()

    async def answer(_request: Request) -> Response:
        return Response(content, media_type=kind)

    return answer
