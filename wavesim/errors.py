"""What can go wrong, as one tree; and checks of single values that raise it.

WavesimError
├── InputError            the user's input is wrong: exit status 2
│   ├── SceneError        a key of a scene file
│   ├── TableError        a table or picture that a scene names
│   ├── PlateFileError    a plate file that cannot be read
│   ├── OutputError       a place that cannot be written
│   └── LimitError        beyond the theory, or more memory than there is
└── ComputationError      the computation itself failed: exit status 1
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from pathlib import Path

_LONGEST_PART = 300  # letters of a name, a key, a problem or of what would be right


class WavesimError(Exception):
    """Base of everything this package raises on purpose."""

    exit_status = 1


class InputError(WavesimError):
    """Wrong input; says what was found, where, and what would be right.

    Attributes: `problem` (what is wrong), `file`, `key` (dotted), `value` (as given) and
    `expected` (what would be right); each may be None.
    """

    exit_status = 2

    def __init__(
        self,
        problem: str,
        *,
        file: str | Path | None = None,
        key: str | None = None,
        value: object = None,
        expected: str | None = None,
    ) -> None:
        self.problem = problem
        self.file = None if file is None else str(file)
        self.key = key
        self.value = value
        self.expected = expected
        super().__init__(self._message())

    def _message(self) -> str:
        """One line of bounded length that cannot steer a terminal."""
        location = [one_line(part, _LONGEST_PART) for part in (self.file, self.key) if part]
        problem = one_line(self.problem, _LONGEST_PART)
        found = "" if self.value is None else f" (found {_short(self.value)})"
        hint = ""
        if self.expected:
            expected = one_line(self.expected, _LONGEST_PART)
            hint = f"; {'' if _asks(expected) else 'expected '}{expected}"
        return ": ".join([*location, f"{problem}{found}{hint}"])


class SceneError(InputError):
    """A key of a scene is missing, unknown, of the wrong kind or out of range."""


class TableError(InputError):
    """A table or picture named by a scene is missing or malformed."""


class PlateFileError(InputError):
    """A plate file is missing, truncated, or not one of ours."""


class OutputError(InputError):
    """A result cannot be written where it was asked for."""


class LimitError(InputError):
    """The request leaves the theory's range or needs more memory than the machine has."""


class ComputationError(WavesimError):
    """The computation failed although the input was in order."""


def one_of(key: str, value: object, allowed: Iterable[object], what: str = "choice") -> None:
    """Raise an InputError that names the choices, unless the value is one of them."""
    if value not in (names := tuple(allowed)):
        raise InputError(
            f"unknown {what}", key=key, value=value, expected=" or ".join(map(str, names))
        )


def instance(key: str, value: object, kind: type, expected: str) -> None:
    """Raise an InputError that says what is taken, unless the value is of that kind."""
    if not isinstance(value, kind):
        found = type(value).__name__
        raise InputError(f"is of type {found}", key=key, value=value, expected=expected)


def positive(key: str, value: float) -> float:
    """The value, or an InputError unless it is finite and above zero."""
    if not (math.isfinite(value) and value > 0):
        raise InputError(
            "must be positive", key=key, value=value, expected="a finite number above zero"
        )
    return value


def within(key: str, value: float, low: float, high: float, *, above_low: bool = False) -> float:
    """The value, or an InputError unless low <= value <= high (low < value if `above_low`)."""
    if not (low < value <= high or (value == low and not above_low)):  # NaN compares false
        least = f"above {low:g}" if above_low else f"at least {low:g}"
        raise InputError(
            "out of range", key=key, value=value, expected=f"{least} and at most {high:g}"
        )
    return value


def _asks(expected: str) -> bool:
    """Whether what would be right is a guess, put as a question."""
    return expected.startswith("did you mean")


def one_line(text: str, most: int) -> str:
    """Text without breaks and control characters, its middle left out beyond `most` letters."""
    if len(text) > most:
        end = most // 3
        text = f"{text[: most - end - 3]}...{text[-end:]}"
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def _short(value: object, limit: int = 60) -> str:
    text = one_line(repr(value), 10 * limit)
    return text if len(text) <= limit else text[: limit - 3] + "..."
