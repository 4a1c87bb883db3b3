"""A study file (TOML, schema = 1) -> a checked plan: base scene, what varies, what is recorded."""

import hashlib
import json
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Literal, Self

import numpy as np
from numpy.typing import NDArray
from pydantic import Field, ValidationError, model_validator

from wavesim.arrays import Floats
from wavesim.ensemble.numbers import NUMBERS, OF_THE_LINE
from wavesim.errors import InputError, SceneError, TableError
from wavesim.inputs import blocks_of, read_bounded
from wavesim.scene import Scene, load, named_files
from wavesim.scene.base import Model
from wavesim.scene.messages import translated
from wavesim.scene.quantities import (
    FROM_FILE,
    Length,
    Plain,
    VisibleWavelength,
    validation_error,
)
from wavesim.scene.syntax import refusal

MOST_MEMBERS = 10_000_000
_MOST_BYTES = 2**20  # of a study file, as of a scene
_MOST_TABLE = 2**30  # of a table or picture that it names

Value = str | int | float | bool
Members = Annotated[int, Plain(1, MOST_MEMBERS, whole=True)]
_KEY = Field(description="dotted key of the scene", examples=["aperture.pitch"])


class Vary(Model):
    """One key of the scene over a list or an even range of values."""

    key: str = _KEY
    values: tuple[Value, ...] | None = Field(
        None, description="as in the scene file", examples=[["80 um", "90 um"]]
    )
    from_: Value | None = Field(
        None, alias="from", description="first value of a range", examples=["2 nm"]
    )
    to: Value | None = Field(None, description="last value of a range", examples=["18 nm"])
    steps: Annotated[int, Plain(2, 1_000_000, whole=True)] | None = Field(
        None, description="number of values of a range", examples=[9]
    )
    spacing: Literal["linear", "logarithmic"] = Field(
        "linear", description="spacing of the values of a range"
    )
    along: str | None = Field(
        None, description="key of an earlier entry: the values of both are taken in pairs"
    )

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        ranged = [self.from_ is not None, self.to is not None, self.steps is not None]
        if self.values is None and not all(ranged):
            raise validation_error(
                "has neither a list of values nor a whole range",
                key="values",
                expected='values = ["80 um", "90 um"], or from, to and steps',
            )
        if self.values is not None and any(ranged):
            raise validation_error(
                "cannot be combined with a range",
                key="values",
                expected="values, or from, to and steps",
            )
        if self.values is not None and not self.values:
            raise validation_error("is empty", key="values", expected="at least one value")
        return self


class Draw(Model):
    """One key of the scene drawn from a distribution, anew for every member."""

    key: str = _KEY
    law: Literal["normal", "uniform", "table", "seed"] = Field(
        description="distribution: normal (mean, deviation), uniform (from, to), table (file: "
        "value, weight), or seed: a whole number that fixes a random draw of the scene"
    )
    mean: Value | None = Field(None, description="mean of a normal distribution")
    deviation: Value | None = Field(None, description="standard deviation of a normal distribution")
    from_: Value | None = Field(
        None, alias="from", description="lower end of a uniform distribution"
    )
    to: Value | None = Field(None, description="upper end of a uniform distribution")
    file: str | None = Field(None, description="CSV file of value [SI] and weight")

    @model_validator(mode="after")
    def _complete(self) -> Self:
        needed = {
            "normal": ("mean", "deviation"),
            "uniform": ("from", "to"),
            "table": ("file",),
            "seed": (),
        }[self.law]
        given = {
            "mean": self.mean,
            "deviation": self.deviation,
            "from": self.from_,
            "to": self.to,
            "file": self.file,
        }
        for name, value in given.items():
            if name in needed and value is None:
                raise validation_error(
                    f"is missing: the {self.law} distribution needs it",
                    key=name,
                    expected=f"{' and '.join(needed)}",
                )
            if name not in needed and value is not None:
                raise validation_error(
                    f"does not belong to the {self.law} distribution",
                    key=name,
                    expected=" and ".join(needed) or "the key alone",
                )
        return self


class LineRecord(Model):
    """The line whose profile is measured."""

    wavelength_m: VisibleWavelength = Field(description="wavelength in air", examples=["546.1 nm"])
    order: Annotated[int, Plain(-1000, 1000, whole=True)] = Field(
        1, description="diffraction order m"
    )
    pair_m: Length | None = Field(
        None, description="separation of two lines to resolve", examples=["0.6 nm"]
    )


class ProfileRecord(Model):
    """The line's profile over the order, on the same axis for all members."""

    half_width: Annotated[float, Plain(1e-9, 0.5)] = Field(
        description="range on each side of the order [orders]"
    )
    points: Annotated[int, Plain(3, 100_001, whole=True)] = Field(
        201, description="number of points"
    )


class PictureRecord(Model):
    """A small picture of each member's plate, all with one exposure time or each with its own."""

    columns: Annotated[int, Plain(1, 4096, whole=True)] = Field(300, description="width in pixels")
    rows: Annotated[int, Plain(1, 1024, whole=True)] = Field(24, description="height in pixels")


class RecordTable(Model):
    """What is recorded of each member."""

    numbers: tuple[str, ...] = Field(
        (),
        description='names of the numbers to record; "wavesim keys --study --markdown" lists them',
        examples=[["line_width", "strehl"]],
    )
    line: LineRecord | None = Field(None, description="line whose profile is measured")
    profile: ProfileRecord | None = Field(
        None, description="record the profile of the line, for the band of profiles"
    )
    picture: PictureRecord | None = Field(
        None, description="record small pictures, for a contact sheet"
    )
    plate: bool = Field(False, description="whether whole plates (irradiance) are recorded")

    @model_validator(mode="after")
    def _line_named(self) -> Self:
        for name in self.numbers:
            if name not in NUMBERS:
                raise validation_error(
                    "is not a number that can be recorded",
                    key="numbers",
                    value=name,
                    expected=f"one of {', '.join(NUMBERS)}",
                )
        needs = [name for name in self.numbers if NUMBERS[name].source in OF_THE_LINE]
        if (needs or self.profile) and self.line is None:
            raise validation_error(
                f"is missing: {needs[0] if needs else 'profile'} needs a line",
                key="line",
                expected='line = { wavelength = "546.1 nm", order = 1 }',
            )
        if "resolved" in self.numbers and self.line and self.line.pair_m is None:
            raise validation_error(
                "is missing: resolved needs a pair of lines",
                key="line",
                expected='line = { ..., pair = "0.6 nm" }',
            )
        if not (self.numbers or self.profile or self.picture or self.plate):
            raise validation_error(
                "records nothing",
                key="numbers",
                expected='numbers = ["line_width"], profile, picture or plate',
            )
        return self


class Limit(Model):
    """A limit that a number must meet; the yield is the fraction of members that meet it."""

    number: str = Field(description="name of a recorded number", examples=["strongest_ghost"])
    at_most: Annotated[float, Plain()] | None = Field(
        None, description="largest value that passes, in SI", examples=[1e-3]
    )
    at_least: Annotated[float, Plain()] | None = Field(
        None, description="smallest value that passes, in SI"
    )

    def holds(self, values: Floats) -> NDArray[np.bool_]:
        """(n,) which values [SI] keep the limit; that of a member that failed, nan, does not."""
        within = np.isfinite(values)
        with np.errstate(invalid="ignore"):
            if self.at_least is not None:
                within &= values >= self.at_least
            if self.at_most is not None:
                within &= values <= self.at_most
        return within

    @model_validator(mode="after")
    def _some(self) -> Self:
        if self.at_most is None and self.at_least is None:
            raise validation_error(
                "is missing, and so is at_least", key="at_most", expected="a limit"
            )
        return self


class ReportTable(Model):
    """What is reported about all members."""

    quantiles: tuple[Annotated[float, Plain(0.0, 1.0)], ...] = Field(
        (0.05, 0.5, 0.95), description="quantiles of each number to report"
    )
    worst: Annotated[int, Plain(0, 1000, whole=True)] = Field(
        5, description="how many of the worst members to list"
    )
    limits: tuple[Limit, ...] = Field(
        (), description="limits that numbers must meet; each gives a yield"
    )


class StudyTable(Model):
    """A study file."""

    schema_: Literal[1] = Field(1, alias="schema", description="version of the file format")
    title: str = Field("", max_length=1000, description="title of the study and its figures")
    scene: str = Field(
        description="scene file, relative to the study file", examples=["slits_005.toml"]
    )
    seed: Annotated[int, Plain(0, 2**63 - 1, whole=True)] = Field(
        0, description="seed of all draws of the study"
    )
    draws: Members = Field(1, description="members drawn at each point of the grid")
    design: Literal["random", "sobol"] = Field(
        "random", description="independent draws, or Saltelli's scheme, for fractions of variance"
    )
    vary: tuple[Vary, ...] = Field(
        (), description="keys varied on a grid: every combination of their values"
    )
    draw: tuple[Draw, ...] = Field((), description="keys drawn at random")
    record: RecordTable = Field(description="what is recorded of each member")
    report: ReportTable = Field(
        default_factory=ReportTable, description="what is reported about all members"
    )

    @model_validator(mode="after")
    def _consistent(self) -> Self:
        keys = [*(entry.key for entry in self.vary), *(entry.key for entry in self.draw)]
        for number, key in enumerate(keys):
            if key in keys[:number]:
                raise validation_error(
                    "is varied twice", key="vary", value=key, expected="each key once"
                )
        for number, entry in enumerate(self.vary):
            if entry.along is not None and entry.along not in keys[:number]:
                raise validation_error(
                    "refers to a key that is not varied in an earlier entry",
                    key="vary",
                    value=entry.along,
                    expected="a key of an earlier entry",
                )
        recorded = set(self.record.numbers)
        for limit in self.report.limits:
            if limit.number not in recorded:
                raise validation_error(
                    "limits a number that is not recorded",
                    key="report.limits",
                    value=limit.number,
                    expected="a name in record.numbers",
                )
        self._check_design()
        return self

    def _check_design(self) -> None:
        drawn = [entry for entry in self.draw if entry.law != "seed"]
        if self.draws > 1 and not self.draw:
            raise validation_error(
                "draws members that are all the same",
                key="draws",
                value=self.draws,
                expected="draws = 1, or at least one [[draw]] entry",
            )
        if self.design == "sobol":
            if self.vary or not drawn:
                raise validation_error(
                    "needs drawn keys alone",
                    key="design",
                    value="sobol",
                    expected="[[draw]] entries and no [[vary]]",
                )
            if self.draws & (self.draws - 1):
                raise validation_error(
                    "is not a power of two, which Sobol's sequence needs",
                    key="draws",
                    value=self.draws,
                    expected="64, 128, 256 ...",
                )


@dataclass(frozen=True, eq=False)
class StudyPlan:
    """A study ready to run.

    Attributes
    ----------
    table : the checked study file
    scene : its base scene
    text : the study file as it was read
    name : of the study file, for messages
    folder : that names in it are relative to
    """

    table: StudyTable
    scene: Scene
    text: str
    name: str
    folder: Path

    def __post_init__(self) -> None:
        for number, draw in enumerate(self.table.draw):
            if draw.file and not (self.folder / draw.file).is_file():
                raise SceneError(
                    "names a file that does not exist",
                    file=self.name,
                    key=f"draw[{number}].file",
                    value=draw.file,
                    expected=f"the name of a file in {self.folder}",
                )

    @property
    def identity(self) -> str:
        """Hash of all that the members depend on: plan, scene, named files and the version.

        What is only said of all members (the report, the title) does not count.
        """
        from wavesim.version import __version__

        whole = self.table.model_dump(mode="json", exclude={"report", "title", "scene"})
        digest = hashlib.sha256(json.dumps(whole, sort_keys=True).encode())
        digest.update(f"\0{__version__}\0{self.scene.text}".encode())
        for path in self._named():
            for block in blocks_of(path, _MOST_TABLE, TableError, "a table or a picture"):
                digest.update(block)
        return digest.hexdigest()[:24]

    def _named(self) -> list[Path]:
        named = [self.scene.folder / name for _, name in named_files(self.scene)]
        return named + [self.folder / draw.file for draw in self.table.draw if draw.file]


def load_plan(path: str | Path) -> StudyPlan:
    """Read a study file and its base scene.

    Raises
    ------
    SceneError
        The file is missing, no TOML or not a study, or its scene is wrong; the message says where.
    """
    name = str(path)
    text = _text(name)
    table = table_of(text, name)
    folder = Path(name).absolute().parent
    return StudyPlan(table, load(folder / table.scene), text, name, folder)


def table_of(text: str, name: str) -> StudyTable:
    """The checked study of a TOML text; `name` is for messages.

    Raises
    ------
    SceneError
        No TOML, or not a study.
    """
    try:
        data: dict[str, Any] = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise refusal(error, text, name) from None
    except (RecursionError, ValueError):
        raise SceneError(
            "is not TOML that can be read", file=name, expected="TOML, as in the shipped studies"
        ) from None
    try:
        return StudyTable.model_validate(data, by_alias=True, by_name=False, context=FROM_FILE)
    except ValidationError as error:
        raise translated(error, StudyTable, data, file=name) from None


def _text(name: str) -> str:
    content = read_bounded(Path(name), _MOST_BYTES, SceneError, "a study file (.toml)")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        raise InputError("is not UTF-8 text", file=name, expected="a study file (.toml)") from None
