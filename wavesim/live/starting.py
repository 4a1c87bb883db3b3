"""A bench's address, printed and served until somebody ends it."""

from __future__ import annotations

import importlib.util
import io
import signal
import socket
import sys
import threading
import webbrowser
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from wavesim.errors import InputError, SceneError
from wavesim.live.guard import Access, access
from wavesim.live.server import LARGEST_MESSAGE, Server
from wavesim.scene import Scene, load, parse

PORT = 8642
_ENDING = (signal.SIGINT, signal.SIGTERM)
_MOST_SCENES = 200


@dataclass(frozen=True)
class Opened:
    """A bench whose port is taken but that does not answer yet.

    Attributes
    ----------
    address : for the owner; with the key in it where the bench is shared
    class_address : for those who look on; empty unless shared
    """

    address: str
    class_address: str
    access: Access
    server: Server
    listening: socket.socket

    def record(self) -> dict[str, object]:
        """As JSON has it."""
        return {"address": self.address, "class_address": self.class_address or None}

    def text(self) -> str:
        """What the terminal shows: each address on a line of its own."""
        lines = ["the live bench; press Ctrl-C to end it", self.address]
        if self.class_address:
            lines += [
                "", "Anybody on this network who has this address can watch:",
                self.class_address, "", code(self.class_address),
            ]  # fmt: skip
        return "\n".join(lines)


def start_scene() -> Scene:
    """The scene that a bench begins with where none is named."""
    text = resources.files("wavesim.live").joinpath("data/start.toml").read_text("utf-8")
    return parse(text).beside(Path.cwd())


def scenes_beside(scene_file: str | None) -> list[Scene]:
    """The scenes in the folder of a scene file, by name; those that cannot be read are left out."""
    if scene_file is None:
        return []
    found = []
    for path in sorted(Path(scene_file).absolute().parent.glob("*.toml"))[:_MOST_SCENES]:
        try:
            found.append(load(path))
        except SceneError:
            continue
    return found


def open_bench(
    scene: Scene, scene_file: str | None = None, *, port: int | None = None, share: bool = False
) -> Opened:
    """Take a port for a bench: on this machine alone, or with `share` on its network.

    Raises
    ------
    InputError
        The port is taken.
    """
    listening = _listen("0.0.0.0" if share else "127.0.0.1", port)
    number = listening.getsockname()[1]
    outside = _own_address() if share else "127.0.0.1"
    rights = access([outside, socket.gethostname()] if share else [], number, shared=share)
    owner = f"#key={rights.owner_key}" if share else ""
    class_address = f"http://{outside}:{number}/#key={rights.class_key}" if share else ""
    shown = {"address": class_address, **code_path(class_address)} if share else None
    server = Server(scene, scenes_beside(scene_file), rights, shown)
    return Opened(
        address=f"http://127.0.0.1:{number}/{owner}",
        class_address=class_address,
        access=rights,
        server=server,
        listening=listening,
    )


def served(bench: Opened, *, browser: bool) -> None:
    """Answer until Ctrl-C or termination, which end it as asked."""
    import uvicorn

    config = uvicorn.Config(
        bench.server.app(), log_level="error", ws="websockets-sansio",
        ws_max_size=LARGEST_MESSAGE, ws_per_message_deflate=False, ws_max_queue=4,
        timeout_graceful_shutdown=2, server_header=False, lifespan="off", limit_concurrency=400,
    )  # fmt: skip
    server = uvicorn.Server(config)
    sys.stdout.flush()
    if browser:
        threading.Timer(0.7, webbrowser.open, (bench.address,)).start()
    # the server hears the signals itself, ends, and raises them again for those who heard before
    handlers = {which: signal.signal(which, lambda *_: None) for which in _ENDING}
    try:
        server.run(sockets=[bench.listening])
    finally:
        bench.server.stopping = True
        bench.server.pool.shutdown(wait=False, cancel_futures=True)
        for which, handler in handlers.items():
            signal.signal(which, handler)


def code(address: str) -> str:
    """A QR code of an address, in characters; empty where segno is not installed."""
    if importlib.util.find_spec("segno") is None:
        return ""
    import segno

    stream = io.StringIO()
    segno.make(address, error="m").terminal(stream, compact=True)
    return stream.getvalue()


def code_path(address: str) -> dict[str, object]:
    """A QR code of an address as the path of a drawing, and its side in modules."""
    if importlib.util.find_spec("segno") is None:
        return {"code": "", "size": 1}
    import segno

    rows = list(segno.make(address, error="m").matrix)
    dark = [(x, y) for y, row in enumerate(rows) for x, module in enumerate(row) if module]
    return {"code": "".join(f"M{x} {y}h1v1h-1z" for x, y in dark), "size": len(rows)}


def _listen(host: str, port: int | None) -> socket.socket:
    for wanted in (PORT, 0) if port is None else (port,):
        taken = socket.socket()
        taken.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            taken.bind((host, wanted))
            taken.listen(128)  # who comes before the server is ready waits
        except OSError:
            taken.close()
            continue
        return taken
    raise InputError("is taken", key="--port", value=port, expected="another port, or no --port")


def _own_address() -> str:
    """This machine's address on its network; no packet is sent to find it."""
    probe = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    try:
        probe.connect(("192.0.2.1", 9))  # TEST-NET-1 (RFC 5737): a route is looked up, no more
        return str(probe.getsockname()[0])
    except OSError:
        return "127.0.0.1"
    finally:
        probe.close()
