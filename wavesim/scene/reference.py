"""Every key of a scene or study file, for people: meaning, values allowed, default, example.

    for table in reference():
        print(table.name, table.condition, [key.name for key in table.keys])

Made from the same models that read the files, so that it cannot fall behind them.
"""

from __future__ import annotations

import types
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any, Literal, Union, get_args, get_origin

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from wavesim.scene.base import Model
from wavesim.scene.messages import toml_text
from wavesim.scene.model import Scene
from wavesim.scene.quantities import Plain, Quantity, a, show

_TAGS = ("kind", "profile")
_SHORTEST_M, _LONGEST_M = 1e-20, 1e12  # beyond: limits that keep numbers from overflowing
_SPECIAL = {"Span": "a number of rulings, or a length"}


@dataclass(frozen=True)
class Key:
    """One key of a table.

    Attributes
    ----------
    name : as it is written, "pitch"
    meaning : what it says
    values : what is allowed, with limits and unit
    default : what holds where it is left out; "required" where it must be given
    example : as TOML
    """

    name: str
    meaning: str
    values: str
    default: str
    example: str


@dataclass(frozen=True)
class KeyTable:
    """One table of a file.

    Attributes
    ----------
    name : dotted, "source.slit"; empty for the top of the file
    condition : the forms of the table that have these keys, 'kind = "slits"'; empty for all
    repeated : whether it is written [[name]], once for each item
    meaning : what the table describes
    keys : in the order of the schema
    """

    name: str
    condition: str
    repeated: bool
    meaning: str
    keys: tuple[Key, ...]

    @property
    def heading(self) -> str:
        """As it stands in the file: [[aperture.defects]]."""
        if not self.name:
            return "top of the file"
        return f"[[{self.name}]]" if self.repeated else f"[{self.name}]"


def reference(model: type[BaseModel] = Scene) -> tuple[KeyTable, ...]:
    """All tables of the files that `model` reads, each with its keys, in the order of the file."""
    return tuple(_tables("", (model,), repeated=False))


def _tables(name: str, forms: tuple[type[BaseModel], ...], *, repeated: bool) -> Iterator[KeyTable]:
    """The table of that name in all its forms, then the tables that it holds."""
    every = [_keys(form) for form in forms]
    common = [key for key in every[0] if all(key in keys for keys in every[1:])]
    if len(forms) > 1:
        yield KeyTable(name, "", repeated, _summary(forms[0].__mro__[1]), (_tag(forms), *common))
    for form, keys in zip(forms, every, strict=True):
        own = tuple(key for key in keys if len(forms) == 1 or key not in common)
        if own:
            condition = _condition(form) if len(forms) > 1 else ""
            yield KeyTable(name, condition, repeated, _summary(form), own)
    inner: dict[tuple[str, bool], list[type[BaseModel]]] = {}
    for form in forms:
        for field_name, field in form.model_fields.items():
            held = _models(field.annotation)
            key = (_dotted(name, field.alias or field_name), _is_list(field.annotation))
            inner.setdefault(key, []).extend(m for m in held if m not in inner.get(key, []))
    for (inner_name, in_list), held in inner.items():
        if held and inner_name.split(".")[-1] not in inner_name.split(".")[:-1]:
            yield from _tables(inner_name, tuple(held), repeated=in_list)


def _dotted(name: str, key: str) -> str:
    return f"{name}.{key}" if name else key


def _keys(form: type[BaseModel]) -> list[Key]:
    return [
        _key(name, field)
        for name, field in form.model_fields.items()
        if not (name in _TAGS and get_origin(field.annotation) is Literal)
    ]


def _key(name: str, field: FieldInfo) -> Key:
    parts = list(_parts(field.annotation, field.metadata))
    return Key(
        name=field.alias or name,
        meaning=field.description or "",
        values="; or ".join(dict.fromkeys(part for part in map(_values, parts) if part)),
        default=_default(field, parts),
        example=toml_text(field.examples[0]) if field.examples else "",
    )


def _tag(forms: tuple[type[BaseModel], ...]) -> Key:
    """The key that chooses the form."""
    tags = [_condition(form).split(" = ") for form in forms]
    return Key(
        tags[0][0], "selects the form of the table", ", ".join(tag[1] for tag in tags), "required",
        tags[0][1],
    )  # fmt: skip


def _condition(form: type[BaseModel]) -> str:
    for name in _TAGS:
        field = form.model_fields.get(name)
        if field is not None and get_origin(field.annotation) is Literal:
            return f"{name} = {toml_text(get_args(field.annotation)[0])}"
    return ""


def _summary(model: type) -> str:
    """The first line of its docstring."""
    lines = (model.__doc__ or "").strip().split("\n")
    return "" if model in (BaseModel, Model) else lines[0]


def _parts(annotation: Any, metadata: Iterable[object] = ()) -> Iterator[object]:
    """The readers, choices, types and tables that a value may have."""
    readers = [item for item in metadata if isinstance(item, Quantity | Plain)]
    if readers:
        yield from readers
        return
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        yield from _parts(inner[0], inner[1:])
    elif origin in (Union, types.UnionType):
        for part in inner:
            yield from _parts(part)
    elif origin is tuple:
        yield [*_parts(inner[0])]
    elif annotation is not type(None):
        yield annotation


def _values(part: object) -> str:
    """What a part allows, in words."""
    match part:
        case Quantity():
            return _range(part)
        case Plain():
            return part.expected
        case [*items]:
            return "list of: " + " or ".join(dict.fromkeys(map(_values, items)))
        case type() if issubclass(part, BaseModel):
            return "table"
        case type():
            names = {bool: "true or false", str: "text", int: "whole number", float: "number"}
            return names.get(part) or _SPECIAL.get(part.__name__, part.__name__)
        case _ if get_origin(part) is Literal:
            return ", ".join(toml_text(choice) for choice in get_args(part))
    return ""


def _range(part: Quantity) -> str:
    """The limits, where they are narrower than what a float holds well."""
    if not part.needs_unit:
        return part.range
    if part.dimension == "length" and part.high >= _LONGEST_M:
        return (
            "a length above zero"
            if 0 < part.low <= _SHORTEST_M
            else (
                "a length, not negative"
                if part.low == 0
                else f"a length from {show(part.low, part.dimension)}"
                if part.low > 0
                else "a length"
            )
        )
    return f"{a(part.dimension)} {part.range}"


def _default(field: FieldInfo, parts: list[object]) -> str:
    if field.is_required():
        return "required"
    value = field.default
    if value is None or field.default_factory is not None or value == ():
        return ""
    quantity = next((part for part in parts if isinstance(part, Quantity)), None)
    if quantity is not None and isinstance(value, float):
        return show(value, quantity.dimension)
    return "" if isinstance(value, BaseModel) else toml_text(value)


def _models(annotation: Any) -> list[type[BaseModel]]:
    """The tables that a value may be, inside lists too."""
    found = []
    for part in _parts(annotation):
        for item in part if isinstance(part, list) else [part]:
            if isinstance(item, type) and issubclass(item, BaseModel):
                found.append(item)
    return found


def _is_list(annotation: Any) -> bool:
    return any(isinstance(part, list) for part in _parts(annotation))


def matching(word: str, model: type[BaseModel] = Scene) -> tuple[KeyTable, ...]:
    """The tables with the keys that a word names: "pitch", "aperture.pitch" or "source.slit"."""
    word = word.strip("[] ")
    table_name, _, last = word.rpartition(".")
    found = []
    for table in reference(model):
        if table.name == word:
            found.append(table)
            continue
        if table_name and table.name != table_name:
            continue
        keys = tuple(key for key in table.keys if key.name == (last or word))
        if keys:
            found.append(replace(table, keys=keys))
    return tuple(found)


def markdown(
    model: type[BaseModel] = Scene,
    what: str = "scene",
    command: str = "wavesim keys",
    page: str = "scenes/KEYS.md",
) -> str:
    """The whole reference as a page of Markdown; `command` makes the `page` and shows its parts."""
    lines = [
        f"# Keys of a {what} file", "",
        f"Generated by `{command} --markdown -o {page}`; a test keeps it up to date.",
        f"Every quantity is a text with its unit. `{command} KEY` shows part of this page.",
    ]  # fmt: skip
    for table in reference(model):
        form = f", {table.condition}" if table.condition else ""
        lines += ["", f"## `{table.heading}`{form}", ""]
        lines += [table.meaning, ""] if table.meaning else []
        lines += [
            "| key | meaning | values | default | example |",
            "| --- | --- | --- | --- | --- |",
        ]
        lines += [
            f"| `{key.name}` | {_cell(key.meaning)} | {_cell(key.values)} | {_code(key.default)} |"
            f" {_code(key.example)} |"
            for key in table.keys
        ]
    return "\n".join(lines) + "\n"


def _cell(text: str) -> str:
    return text.replace("|", "\\|")


def _code(text: str) -> str:
    return text if text in ("", "required") else f"`{_cell(text)}`"
