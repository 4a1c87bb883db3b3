"""pydantic's findings -> one `SceneError` in plain words: what, where, found, expected."""

from __future__ import annotations

import difflib
import re
import types
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Annotated, Literal, Union, get_args, get_origin

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo
from pydantic_core import ErrorDetails

from wavesim.errors import SceneError

_TAGS = ("kind", "profile")  # keys that choose between the forms of a table
_MOST_LISTED = 3
_MOST_WEIGHED = 200  # findings; a file of nonsense holds 100,000, at 0.1 ms each
_QUANTITY_EXAMPLE = re.compile(r'"[-0-9]')


@dataclass(frozen=True)
class _Location:
    """A position in the scene: its keys, the table that holds it, its declaration."""

    keys: tuple[str, ...]
    owner: type[BaseModel] | None
    field: FieldInfo | None
    siblings: tuple[type[BaseModel], ...]  # other forms of the owner

    @property
    def dotted(self) -> str:
        return ".".join(self.keys).replace(".[", "[")

    @property
    def last(self) -> str:
        return self.keys[-1] if self.keys else ""


@dataclass(frozen=True)
class _Finding:
    rank: int
    key: str
    problem: str
    value: object = None
    expected: str | None = None
    excuses: str | None = None  # key whose absence this finding explains


def translated(
    error: ValidationError,
    model: type[BaseModel],
    data: object,
    *,
    file: str | None = None,
    python: bool = False,
) -> SceneError:
    """The finding that helps most, as a SceneError; it names the keys of the others.

    `python` says that names of fields were given rather than keys of a file.
    """
    details = error.errors(include_url=False)
    findings = [_finding(detail, model, data, python) for detail in details[:_MOST_WEIGHED]]
    first = min(findings, key=lambda finding: finding.rank)
    others = [f.key for f in findings if f is not first and f.key not in (first.key, first.excuses)]
    return SceneError(
        first.problem,
        file=file,
        key=first.key or None,
        value=_presentable(first.value),
        expected=_with_others(first.expected, others, len(details) - len(findings)),
    )


def _with_others(expected: str | None, others: Iterable[str], unweighed: int) -> str | None:
    names = list(dict.fromkeys(others))
    if not names:
        return expected
    listed = ", ".join(names[:_MOST_LISTED])
    rest = len(names) - _MOST_LISTED + unweighed
    more = f" and {rest:,} more" if rest > 0 else ""
    return f"{expected or 'something else'} (also wrong: {listed}{more})"


def _finding(detail: ErrorDetails, model: type[BaseModel], data: object, python: bool) -> _Finding:
    location = _walk(model, detail["loc"])
    kind, context = detail["type"], detail.get("ctx", {})
    if kind == "wavesim":
        return _own(location, context, detail["input"], data)
    if kind == "extra_forbidden":
        return _unknown(location, python)
    if kind == "missing":
        return _missing(location)
    if kind.startswith("union_tag"):
        return _form(location, kind, context)
    if kind == "literal_error" and location.field is not None:
        choices = list(_literals(location.field.annotation))
        return _choice(location.dotted, "is not among the choices", detail["input"], choices)
    if kind == "tuple_type" and location.field is not None and _forms(location.field.annotation):
        expected = f"[[{location.dotted}]], in double brackets, for each item"
        return _Finding(1, location.dotted, "is not a list", detail["input"], expected)
    problem, right = _plain_words(kind, context, detail["msg"])
    return _Finding(1, location.dotted, problem, detail["input"], right or _example(location))


def _literals(annotation: object) -> Iterator[str]:
    """The choices of a Literal, also of one that may be left out."""
    if get_origin(annotation) is Literal:
        yield from map(str, get_args(annotation))
    else:
        for inner in get_args(annotation):
            yield from _literals(inner)


def _own(
    location: _Location, context: Mapping[str, object], given: object, data: object
) -> _Finding:
    """A finding of one of our own validators."""
    key, expected = context.get("key"), context.get("expected")
    own = (
        location.keys if key is None else (*location.keys, *str(key).replace("[", ".[").split("."))
    )
    value = context.get("value", _at(data, own) if key is not None else given)
    belongs = key is not None or location.field is None or _forms(location.field.annotation)
    if isinstance(value, Mapping) and belongs:
        value = None  # a table where a table belongs; its key says enough
    example = _example(location) or ""
    general = context.get("example")
    if location.field is not None and "auto" in (location.field.examples or ()):
        example += ' or "auto"'
    if isinstance(expected, str) and _QUANTITY_EXAMPLE.match(example):
        expected = expected.replace(f'"{general}"', example)
    missing = str(context["problem"]).startswith("is missing")
    return _Finding(
        2 if missing else 1,
        ".".join(own).replace(".[", "["),
        str(context["problem"]),
        None if missing else value,
        None if expected is None else str(expected),
    )


def _unknown(location: _Location, python: bool) -> _Finding:
    if location.owner is None:
        return _Finding(0, location.dotted, "is an unknown key")
    names = _names(location.owner, python)
    homes = [_tag(form) for form in location.siblings if location.last in _names(form, python)]
    if homes:
        problem = f"cannot be combined with {_tag_text(location.owner)}, only with {_listed(homes)}"
        return _Finding(0, location.dotted, problem, None, f"one of {', '.join(names)}")
    near = difflib.get_close_matches(location.last, names, n=1, cutoff=0.6)
    if near:
        excused = ".".join((*location.keys[:-1], near[0])).replace(".[", "[")
        return _Finding(
            0, location.dotted, "is an unknown key", None, f'did you mean "{near[0]}"?', excused
        )
    home = _home(location)
    if home:
        return _Finding(0, location.dotted, "does not belong here", None, home)
    return _Finding(0, location.dotted, "is an unknown key", None, f"one of {', '.join(names)}")


def _home(location: _Location) -> str | None:
    """The table of a scene that has such a key, for one that stands at the top of the file."""
    if len(location.keys) > 1 or location.owner is None:
        return None
    for name, field in location.owner.model_fields.items():
        table = field.alias or name
        for form in _forms(field.annotation):
            own = _field(form, location.last)
            if own is not None:
                lists = get_origin(own.annotation) is tuple and _forms(own.annotation)
                return f"[[{table}.{location.last}]]" if lists else f"{location.last} in [{table}]"
    return None


def _names(model: type[BaseModel], python: bool) -> list[str]:
    fields = model.model_fields.items()
    return [name if python else field.alias or name for name, field in fields]


def _missing(location: _Location) -> _Finding:
    meaning = location.field.description if location.field is not None else None
    problem = f"is missing: {meaning}" if meaning else "is missing"
    example = _example(location)
    if example is not None and location.field is not None and location.field.examples:
        example = f"{location.last} = {example}"
    return _Finding(2, location.dotted, problem, None, example)


def _example(location: _Location) -> str | None:
    """What to write for a key, as TOML."""
    if location.field is None:
        return None
    if location.field.examples:
        return toml_text(location.field.examples[0])
    forms = _forms(location.field.annotation)
    if not forms:
        return None
    table = f"a table [{location.dotted}]"
    return table if len(forms) == 1 else f"{table} with {_tag_text(forms[0])} or another kind"


def _form(location: _Location, kind: str, context: Mapping[str, object]) -> _Finding:
    """The tag that chooses a table's form is missing or unknown."""
    tag = str(context["discriminator"]).strip("'")
    key = f"{location.dotted}.{tag}"
    forms = _forms(location.field.annotation) if location.field is not None else ()
    choices = [_tag(form) for form in forms]
    if kind == "union_tag_not_found":
        return _Finding(0, key, "is missing", None, _listed(choices))
    return _choice(key, f"is an unknown {tag}", context.get("tag"), choices)


def _choice(key: str, problem: str, value: object, choices: list[str]) -> _Finding:
    given = str(value)[:100]
    near = [choice for choice in choices if choice.casefold() == given.casefold()]
    near = near or difflib.get_close_matches(given, choices, n=1, cutoff=0.5)
    hint = f'did you mean "{near[0]}"? Choices: ' if near and len(choices) > 2 else ""
    return _Finding(0, key, problem, value, hint + _listed(choices))


def _listed(choices: list[str]) -> str:
    quoted = [choice if choice.isdigit() else f'"{choice}"' for choice in choices]
    return " or ".join(filter(None, (", ".join(quoted[:-1]), quoted[-1])))


def _plain_words(kind: str, context: Mapping[str, object], message: str) -> tuple[str, str | None]:
    texts: dict[str, tuple[str, str | None]] = {
        "model_type": ("is not a table", None),
        "model_attributes_type": ("is not a table", None),
        "tuple_type": ("is not a list", "a list in square brackets"),
        "string_type": ("is not a text", "a text in quotes"),
        "bool_type": ("is neither true nor false", "true or false"),
        "string_too_short": ("is empty", None),
        "string_too_long": ("is too long", f"at most {context.get('max_length')} characters"),
        "string_pattern_mismatch": ("holds a control character", "a text that can be printed"),
        "too_short": ("has too few entries", f"at least {context.get('min_length')}"),
        "too_long": ("has too many entries", f"at most {context.get('max_length')}"),
    }
    return texts.get(kind, (message[:1].lower() + message[1:], None))


# ---- walking from a finding's location to its declaration


def _walk(model: type[BaseModel], location: Iterable[int | str]) -> _Location:
    """Follow pydantic's location, leaving out the tags that it inserts."""
    keys: list[str] = []
    owner: type[BaseModel] | None = None
    field: FieldInfo | None = None
    forms: tuple[type[BaseModel], ...] = (model,)
    siblings: tuple[type[BaseModel], ...] = ()
    chosen: type[BaseModel] | None = model
    for part in location:
        if isinstance(part, int):
            keys.append(f"[{part}]")
        elif chosen is None and forms:
            chosen = next((form for form in forms if _tag(form) == part), None)
        elif chosen is not None:
            keys.append(part)
            owner, siblings = chosen, tuple(form for form in forms if form is not chosen)
            field = _field(chosen, part)
            forms = () if field is None else _forms(field.annotation)
            chosen = forms[0] if len(forms) == 1 else None
    return _Location(tuple(keys), owner, field, siblings)


def _field(model: type[BaseModel], key: str) -> FieldInfo | None:
    fields = model.model_fields.items()
    return next((field for name, field in fields if key in (name, field.alias)), None)


def _forms(annotation: object) -> tuple[type[BaseModel], ...]:
    """The tables that a value of that type may be."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return (annotation,)
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin is Annotated:
        return _forms(inner[0])
    if origin in (Union, types.UnionType, tuple):
        return tuple(form for part in inner for form in _forms(part))
    return ()


def tables_of(model: type[BaseModel]) -> set[type[BaseModel]]:
    """The model and every table that it may hold, at any depth."""
    found: set[type[BaseModel]] = set()
    waiting = [model]
    while waiting:
        table = waiting.pop()
        if table not in found:
            found.add(table)
            for field in table.model_fields.values():
                waiting.extend(_forms(field.annotation))
    return found


def _tag(form: type[BaseModel]) -> str:
    for name in _TAGS:
        field = form.model_fields.get(name)
        if field is not None and get_origin(field.annotation) is Literal:
            return str(get_args(field.annotation)[0])
    return ""


def _tag_text(form: type[BaseModel]) -> str:
    name = next((name for name in _TAGS if name in form.model_fields), "kind")
    return f'{name} = "{_tag(form)}"'


def _at(data: object, keys: Iterable[str]) -> object:
    """The value given at those keys, or None."""
    for key in keys:
        if key.startswith("[") and isinstance(data, (list, tuple)):
            data = data[int(key[1:-1])]
        elif isinstance(data, Mapping):
            data = data.get(key)
        else:
            return None
    return data


# ---- showing values


class _Words(str):
    """Words that stand for a value; shown without quotes."""

    __slots__ = ()

    def __repr__(self) -> str:
        return str(self)


def _presentable(value: object) -> object:
    """The value, or words for one that would be long, or dangerous, to print."""
    if isinstance(value, Mapping):
        return _Words("a table")
    if isinstance(value, (list, tuple)):
        return _Words("a list")
    if isinstance(value, int) and value.bit_length() > 64:
        return _Words(f"a number of about {value.bit_length() * 3 // 10:,} digits")
    if isinstance(value, str) and not isinstance(value, _Words):
        return _Words(toml_text(_cut(value)))
    if value is None or isinstance(value, (bool, int, float)):
        return _Words(str(value).lower()) if isinstance(value, bool) else value
    return _Words(str(value)[:60])


def shown_text(text: str) -> object:
    """A line of a file for a message, without quotes."""
    return _Words(_printable(_cut(text)))


def _cut(text: str) -> str:
    return text[:60] + ("..." if len(text) > 60 else "")


def _printable(text: str) -> str:
    return "".join(c if c.isprintable() else f"\\U{ord(c):08x}" for c in text)


def toml_text(value: object) -> str:
    """A value as TOML writes it, in one line."""
    if isinstance(value, str):
        escaped = value.replace("\\", "\\\\").replace('"', '\\"')
        return f'"{_printable(escaped)}"'
    if isinstance(value, bool):
        return str(value).lower()
    if isinstance(value, Mapping):
        return "{ " + ", ".join(f"{k} = {toml_text(v)}" for k, v in value.items()) + " }"
    if isinstance(value, (list, tuple)):
        return "[" + ", ".join(toml_text(item) for item in value) + "]"
    return str(value)
