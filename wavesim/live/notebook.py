"""The bench in a notebook: the same page as a widget. No physics; `protocol` answers."""

from __future__ import annotations

from importlib import resources
from typing import Any

import anywidget

from wavesim.live.protocol import Desk, Reply
from wavesim.live.session import Session
from wavesim.live.wire import finite
from wavesim.scene import Scene

_DATA = resources.files("wavesim.live").joinpath("data")


class BenchWidget(anywidget.AnyWidget):
    """A scene that is turned by hand; `scene` is how it stands now.

    A busy kernel answers nothing: the bench follows again when the running cell is done.
    """

    _esm = _DATA.joinpath("bench.js").read_text("utf-8")
    _css = _DATA.joinpath("bench.css").read_text("utf-8")

    def __init__(self, scene: Scene) -> None:
        super().__init__()
        self._desk = Desk(Session(scene))
        self.on_msg(self._answer)

    @property
    def scene(self) -> Scene:
        """The scene as it stands on the bench."""
        return self._desk.bench.scene.with_text(self._desk.bench.text)

    def _answer(self, _widget: object, message: dict[str, Any], _buffers: list[bytes]) -> None:
        self._desk.answer(message, self._tell)

    def _tell(self, reply: Reply) -> None:
        self.send(finite(reply.head), list(reply.buffers))
