"""The live bench: a scene that is turned by hand, in a browser or a notebook.

    handles      what of a scene can be turned, made from its schema
    session      a bench: its scene, what was turned, what it shows
    views        rows of the plate while a hand turns
    marks        orders, minima and angles beside it
    protocol     what a page asks and is answered; no sockets
    server       door one: a web page (starlette, uvicorn)
    notebook     door two: a widget (anywidget)

The page itself is `data/bench.js`, one module for both doors. In a notebook, `wavesim.live(scene)`
shows the bench: this package can be called.
"""

from __future__ import annotations

import sys
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from wavesim.live.notebook import BenchWidget
    from wavesim.scene import Scene


class _Room(ModuleType):
    """A package that can be called, so that `wavesim.live` is both the door and the room."""

    def __call__(self, scene: Scene) -> BenchWidget:
        """Show a scene on a live bench in a notebook.

        Raises
        ------
        InputError
            The extra "notebook" is not installed.
        """
        from wavesim.extras import require

        require("the live bench in a notebook", "anywidget", "tomlkit", extra="notebook")
        from wavesim.live.notebook import BenchWidget

        return BenchWidget(scene)


sys.modules[__name__].__class__ = _Room
