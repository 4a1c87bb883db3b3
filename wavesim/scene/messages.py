"""pydantic's findings -> one `SceneError` in plain words."""

from __future__ import annotations

from pydantic import BaseModel, ValidationError

from wavesim.errors import SceneError


def translated(
    error: ValidationError, model: type[BaseModel], data: object, *, file: str | None = None
) -> SceneError:
    """The first finding as a SceneError."""
    first = error.errors(include_url=False)[0]
    return SceneError(first["msg"], file=file, key=".".join(map(str, first["loc"])))
