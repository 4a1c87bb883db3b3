"""What every table of a scene has in common."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence

from pydantic import BaseModel, ConfigDict, ValidationError

Value = str | int | float | bool | Sequence[object] | Mapping[str, object]  # as in a file
PRINTABLE = r"^[^\x00-\x1f\x7f-\x9f]*$"  # a name without control characters
WITHOUT_NUL = r"^[^\x00]*$"  # a text that files can hold; what steers a terminal is not shown
_UNIT_SUFFIX = re.compile(r"_(?:m|rad|K|s|W|Pa|lx|cd_m2|per_m)$")


def toml_key(field: str) -> str:
    """A field's key in the file: its name without the unit ("pitch_m" -> "pitch")."""
    return _UNIT_SUFFIX.sub("", field)


class Model(BaseModel):
    """A frozen table of a scene; unknown keys are refused.

    Python code builds it by field name, from SI numbers or from texts with a unit.

    Raises
    ------
    SceneError
        A field is missing, unknown, of the wrong kind or out of range.
    """

    model_config = ConfigDict(
        frozen=True,
        extra="forbid",
        alias_generator=toml_key,
        validate_by_name=True,
        validate_by_alias=True,
        allow_inf_nan=False,
        defer_build=True,
    )

    def __init__(self, /, **data: object) -> None:
        from wavesim.scene.messages import translated

        try:
            super().__init__(**data)
        except ValidationError as error:
            raise translated(error, type(self), data, python=True) from None

    # tells pydantic that nested tables need not be built through this __init__
    __init__.__pydantic_base_init__ = True  # type: ignore[attr-defined]
