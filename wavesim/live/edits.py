"""A scene file's text with values changed by their keys; it keeps its comments."""

from __future__ import annotations

from collections.abc import Iterable

from wavesim.scene.changes import put

Given = str | int | float | bool


def rewritten(text: str, edits: Iterable[tuple[str, Given | None]]) -> str:
    """The scene's text with values changed; comments, order and spacing stay as they are."""
    import tomlkit

    document = tomlkit.parse(text)
    for path, value in edits:
        put(document, path, value)
    return tomlkit.dumps(document)
