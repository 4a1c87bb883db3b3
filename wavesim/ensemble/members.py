"""The members of a study: which values each has, from the plan and the member's number alone.

Member i of a random design is drawn with PCG64 seeded by SeedSequence(seed, spawn_key=(i,)), one
64-bit word for each drawn key in the plan's order, so that it is the same member for any number of
workers, any order and any restart. Words become numbers in [0, 1) as (word >> 11) 2^-53 and
quantities by the inverse of the distribution function; neither changes with numpy's version.

A Sobol design (Saltelli 2010, Comput. Phys. Commun. 181, 259) has n (k + 2) members for k drawn
keys: matrices A and B from Sobol's sequence in 2k dimensions, moved by one random shift modulo 1
(Cranley & Patterson 1976), and A with one column of B for each key.
"""

from __future__ import annotations

import math
import tomllib
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np

from wavesim.arrays import Floats
from wavesim.ensemble.plan import MOST_MEMBERS, Draw, StudyPlan, Value, Vary
from wavesim.errors import InputError, LimitError
from wavesim.random_streams import as_level, words
from wavesim.scene import Scene
from wavesim.scene.units import SI_UNITS, UnitError, measure

if TYPE_CHECKING:
    from wavesim.lightpath import LightPath


_STEP = 2.0**-53


@dataclass(frozen=True)
class VariedKey:
    """A varied key: its dotted name and the SI unit of its values ("" for plain numbers), or None
    where they are texts such as the name of a lamp."""

    key: str
    unit: str | None


@dataclass(frozen=True, eq=False)
class _Axis:
    """Keys that step together, each with its values as in the file."""

    keys: tuple[str, ...]
    values: tuple[tuple[Value, ...], ...]  # one tuple a key, equally long

    @property
    def size(self) -> int:
        return len(self.values[0])


class Design:
    """All members of a plan.

    Parameters
    ----------
    plan : the checked study

    Raises
    ------
    InputError
        A value without its unit, ends of a range of two kinds, lists of unequal lengths.
    LimitError
        More members than can be numbered.
    """

    def __init__(self, plan: StudyPlan) -> None:
        self.plan = plan
        self._axes = _axes(plan)
        self._draws = tuple(_Drawn(plan, draw) for draw in plan.table.draw)
        points = math.prod(axis.size for axis in self._axes)
        if plan.table.design == "sobol":
            self._varying = [n for n, draw in enumerate(plan.table.draw) if draw.law != "seed"]
            self.count = plan.table.draws * (len(self._varying) + 2)
        else:
            self._varying = []
            self.count = points * plan.table.draws
        if self.count > MOST_MEMBERS:
            raise LimitError(
                f"asks for {self.count:,} members",
                file=plan.name,
                key="vary",
                expected=f"at most {MOST_MEMBERS:,}",
            )

    @cached_property
    def path(self) -> LightPath:
        """What exposes the members one after the other; stages that they share are done once."""
        from wavesim.lightpath import LightPath

        return LightPath()

    @cached_property
    def columns(self) -> tuple[VariedKey, ...]:
        """The varied keys, in the plan's order."""
        varied = [
            VariedKey(key, _unit_of(values[0]))
            for axis in self._axes
            for key, values in zip(axis.keys, axis.values, strict=True)
        ]
        return (*varied, *(VariedKey(d.draw.key, d.unit) for d in self._draws))

    @property
    def shape(self) -> tuple[tuple[tuple[str, ...], int], ...]:
        """Keys and size of each axis of the grid."""
        return tuple((axis.keys, axis.size) for axis in self._axes)

    def values(self, index: int) -> dict[str, Value]:
        """Key -> value of one member, as in a scene file."""
        found: dict[str, Value] = {}
        point = index // self.plan.table.draws if self.plan.table.design == "random" else 0
        for axis in reversed(self._axes):
            point, step = divmod(point, axis.size)
            found.update(zip(axis.keys, (values[step] for values in axis.values), strict=True))
        for drawn, word, level in zip(
            self._draws, self._words(index), self._levels(index), strict=True
        ):
            found[drawn.draw.key] = drawn.value(word, level)
        return {column.key: found[column.key] for column in self.columns}

    def numbers(self, index: int) -> dict[str, float | str]:
        """Key -> SI number (or text) of one member."""
        return {key: si(value) for key, value in self.values(index).items()}

    def scene(self, index: int) -> Scene:
        """The member's scene.

        Raises
        ------
        SceneError
            The scene does not take the values.
        """
        return self.plan.scene.but(self.values(index))

    def member(self, index: int) -> Scene:
        """As `scene`, of a number that somebody gave.

        Raises
        ------
        InputError
            There is no such member.
        SceneError
            The scene does not take the values.
        """
        if not 0 <= index < self.count:
            raise InputError(
                "is not a member of this study",
                file=self.plan.name,
                key="member",
                value=index,
                expected=f"0 to {self.count - 1:,}",
            )
        return self.scene(index)

    def _words(self, index: int) -> list[int]:
        return [int(w) for w in words(self.plan.table.seed, len(self._draws), member=index)]

    def _levels(self, index: int) -> list[float]:
        """In [0, 1) for each draw: uniform, from the member's own stream or Sobol's sequence."""
        own = [(word >> 11) * _STEP for word in self._words(index)]
        if not self._varying:
            return own
        block, row = divmod(index, self.plan.table.draws)
        dimensions = len(self._varying)
        for column, draw in enumerate(self._varying):
            from_b = block == 1 or block == column + 2
            own[draw] = float(self._sobol[row, column + dimensions * from_b])
        return own

    @cached_property
    def _sobol(self) -> Floats:
        from scipy.stats.qmc import Sobol

        dimensions = 2 * len(self._varying)
        plain = Sobol(dimensions, scramble=False).random(self.plan.table.draws)
        shift = as_level(words(self.plan.table.seed, dimensions))
        return np.asarray((plain + shift) % 1.0)


def si(value: Value) -> float | str:
    """A value as in the file as an SI number; a text that is no quantity stays one."""
    if isinstance(value, str):
        try:
            return measure(value).value
        except UnitError:
            return value
    try:
        return float(value)
    except OverflowError:
        shown = f"{str(value)[:20]}..."
        raise InputError(
            "is too large a number", value=shown, expected="a number below 1e308"
        ) from None


def _axes(plan: StudyPlan) -> tuple[_Axis, ...]:
    groups: list[list[Vary]] = []
    for entry in plan.table.vary:
        for group in groups:
            if entry.along in [member.key for member in group]:
                group.append(entry)
                break
        else:
            groups.append([entry])
    axes = []
    for group in groups:
        values = tuple(_values(entry, plan) for entry in group)
        if len({len(column) for column in values}) > 1:
            sizes = ", ".join(f"{e.key}: {len(v)}" for e, v in zip(group, values, strict=True))
            raise InputError(
                "are taken in pairs, but have lists of unequal length",
                file=plan.name,
                key="vary",
                value=sizes,
                expected="as many values of each",
            )
        axes.append(_Axis(tuple(entry.key for entry in group), values))
    return tuple(axes)


def _values(entry: Vary, plan: StudyPlan) -> tuple[Value, ...]:
    if entry.values is not None:
        return entry.values
    assert entry.from_ is not None  # the model saw to it
    assert entry.to is not None
    assert entry.steps is not None
    first, last, unit = _ends(entry.from_, entry.to, plan, entry.key)
    if entry.spacing == "logarithmic":
        if not first * last > 0:
            raise InputError(
                "crosses zero, which a logarithmic range cannot",
                file=plan.name,
                key=entry.key,
                expected="two ends of the same sign",
            )
        steps = np.geomspace(first, last, entry.steps)
    else:
        steps = np.linspace(first, last, entry.steps)
    whole = all(isinstance(end, int) for end in (entry.from_, entry.to))
    if whole:
        return tuple(dict.fromkeys(round(float(step)) for step in steps))
    return tuple(quantity(float(step), unit) for step in steps)


def quantity(value: float, unit: str | None) -> Value:
    """An SI number as a scene file has it."""
    return f"{value!r} {unit}" if unit else value


def _ends(first: Value, last: Value, plan: StudyPlan, key: str) -> tuple[float, float, str]:
    units, numbers = {_unit_of(first), _unit_of(last)}, (si(first), si(last))
    if len(units) > 1 or isinstance(numbers[0], str) or isinstance(numbers[1], str):
        raise InputError(
            "has ends that are not two quantities of one kind",
            file=plan.name,
            key=key,
            value=f"{first}, {last}",
            expected='such as "80 um", "90 um"',
        )
    return numbers[0], numbers[1], units.pop() or ""


def _unit_of(value: Value) -> str | None:
    """SI unit of a value as in the file, "" of a plain number, None of a text."""
    if not isinstance(value, str):
        return ""
    try:
        return SI_UNITS.get(measure(value).dimension, "")
    except UnitError:
        return None


def _unit_written(text: str, key: str) -> str:
    """SI unit of the value that a scene's text has at a dotted key; "" of a number or none."""
    found: Any = tomllib.loads(text)
    for part in key.split("."):
        try:
            found = found[int(part) if isinstance(found, list) else part]
        except (KeyError, IndexError, TypeError, ValueError):
            return ""
    return _unit_of(found) or ""


class _Drawn:
    """A drawn key: from a level in [0, 1) to a value of the scene."""

    def __init__(self, plan: StudyPlan, draw: Draw) -> None:
        self.draw, self._plan = draw, plan
        self.unit: str = ""
        match draw.law:
            case "uniform":
                assert draw.from_ is not None  # the model saw to it
                assert draw.to is not None
                self._low, self._high, self.unit = _ends(draw.from_, draw.to, plan, draw.key)
            case "normal":
                assert draw.mean is not None
                assert draw.deviation is not None
                self._low, self._high, self.unit = _ends(draw.mean, draw.deviation, plan, draw.key)
            case "table":
                self._values, self._cumulative = self._table()
                self.unit = _unit_written(plan.scene.text, draw.key)

    def value(self, word: int, level: float) -> Value:
        """The value for a member's random word and level."""
        match self.draw.law:
            case "seed":
                return word >> 32
            case "uniform":
                return quantity(self._low + (self._high - self._low) * level, self.unit)
            case "normal":
                from scipy.special import ndtri

                deviate = float(ndtri(max(level, _STEP / 2)))
                return quantity(self._low + self._high * deviate, self.unit)
            case "table":
                chosen = int(np.searchsorted(self._cumulative, level, side="right"))
                return quantity(float(self._values[min(chosen, self._values.size - 1)]), self.unit)

    def _table(self) -> tuple[Floats, Floats]:
        from wavesim import tables

        assert self.draw.file is not None  # the model saw to it
        path, expected = (
            self._plan.folder / self.draw.file,
            "a header, then value, weight in each line",
        )
        table = tables.read(path, empty="is empty", expected=expected)
        rows = table.pairs("is not a value and its weight")
        table.check_finite(rows)
        values, weights = rows[:, 0], rows[:, 1]
        if not (weights >= 0).all() or not weights.sum() > 0:
            raise InputError(
                "holds weights that are negative or all zero", file=path, expected=expected
            )
        return values, np.cumsum(weights) / weights.sum()
