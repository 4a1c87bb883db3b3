"""Ruling defects: displacements, weights and profile changes of the rulings.

Rulings are numbered from 1 at the most negative x.
"""

import math
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import (
    Field,
    PlainSerializer,
    PlainValidator,
    ValidationInfo,
    WithJsonSchema,
    model_validator,
)

from wavesim.scene.base import Model
from wavesim.scene.quantities import (
    Count,
    LengthOrZero,
    Offset,
    Phase,
    Plain,
    Quantity,
    Seed,
    in_file,
    validation_error,
)
from wavesim.scene.rules import exactly_one, not_both
from wavesim.scene.source import FileName

if TYPE_CHECKING:
    import numpy as np
    import numpy.typing as npt

    Floats = npt.NDArray[np.float64]

_SPAN_LENGTH = Quantity("length", "3 mm", 1e-12, 1e13)
_SPAN_RULINGS = Plain(1e-3, 1e12)


@dataclass(frozen=True)
class Span:
    """A stretch along the ruling: counted in rulings, or a length; one of the two is None."""

    rulings: float | None = None
    length_m: float | None = None

    def in_rulings(self, pitch_m: float) -> float:
        """The stretch in rulings of that pitch."""
        return self.in_metres(pitch_m) / pitch_m if self.rulings is None else self.rulings

    def in_metres(self, pitch_m: float) -> float:
        """The stretch [m] at that pitch."""
        return (self.rulings or 0.0) * pitch_m if self.length_m is None else self.length_m


def _read_span(value: object, info: ValidationInfo) -> Span:
    if isinstance(value, dict) and not in_file(info):
        value = Span(**value)
    if isinstance(value, Span):
        if (value.rulings is None) == (value.length_m is None):
            raise validation_error("needs one of rulings and length_m", expected="Span(rulings=96)")
        return value
    if isinstance(value, str):
        return Span(length_m=_SPAN_LENGTH.read(value, info))
    if isinstance(value, bool) or not hasattr(value, "__float__"):
        raise validation_error(
            "is neither a number of rulings nor a length", expected='96 rulings as 96, or "3 mm"'
        )
    return Span(rulings=_SPAN_RULINGS.read(value))


def _read_correlation(value: object, info: ValidationInfo) -> str | Span:
    if isinstance(value, str) and value.strip().isalpha():
        if value in ("independent", "accumulated"):
            return value
        raise validation_error(
            "is not a kind of correlation",
            expected='"independent", "accumulated", or a length such as "2 mm"',
        )
    return _read_span(value, info)


def _plain_span(value: str | Span) -> str | dict[str, float | None]:
    return value if isinstance(value, str) else asdict(value)


_SPAN_SCHEMA = {
    "anyOf": [
        {"type": "number", "exclusiveMinimum": 0},
        {"type": "string", "pattern": r"^\s*[0-9.]", "examples": ["3 mm"]},
    ]
}
SpanValue = Annotated[
    Span,
    PlainValidator(_read_span),
    PlainSerializer(_plain_span),
    WithJsonSchema(_SPAN_SCHEMA),
]
Correlation = Annotated[
    Literal["independent", "accumulated"] | Span,
    PlainValidator(_read_correlation),
    PlainSerializer(_plain_span),
    WithJsonSchema({"anyOf": [{"enum": ["independent", "accumulated"]}, *_SPAN_SCHEMA["anyOf"]]}),
]
_CORRELATION = '"independent" from ruling to ruling, "accumulated", or a length (or rulings)'


class PeriodicDefect(Model):
    """Displacement amplitude * sin(2 pi x / period + phase), as caused by a lead screw.

    x is the ideal position of the ruling from the middle of the ruled width.
    """

    kind: Literal["periodic"] = "periodic"
    amplitude_m: LengthOrZero = Field(description="peak displacement", examples=["4 nm"])
    period: SpanValue = Field(
        description="period of the error, in rulings or as a length", examples=[96, "3 mm"]
    )
    phase_rad: Phase = Field(
        0.0, description="phase at the middle of the ruled width", examples=["90 deg"]
    )


class RandomDefect(Model):
    """Random displacements, Gaussian.

    Independent, or correlated with exp(-(distance / length)^2), or accumulated: then `rms` is
    that of every pitch and the displacement is their running sum.
    """

    kind: Literal["random"] = "random"
    rms_m: LengthOrZero = Field(
        description="rms displacement (if accumulated: rms error of each spacing)",
        examples=["3 nm"],
    )
    correlation: Correlation = Field(
        "independent", description=_CORRELATION, examples=["independent", "accumulated", "2 mm"]
    )
    seed: Seed = 0

    @property
    def correlation_span(self) -> Span | None:
        """The correlation length where one was given."""
        return self.correlation if isinstance(self.correlation, Span) else None


_Change = Annotated[float, Plain(-0.5, 0.5)]


class DriftDefect(Model):
    """A pitch that drifts: pitch (1 + linear s + quadratic s^2 + cubic s^3).

    s runs from -1/2 to +1/2 over the ruled width, so `linear` is the relative change of pitch
    from one end to the other.
    """

    kind: Literal["drift"] = "drift"
    linear: _Change = Field(
        0.0, description="relative change of pitch over the ruled width", examples=[1e-5]
    )
    quadratic: _Change = Field(
        0.0,
        description="coefficient of s^2, s from -1/2 to 1/2 over the ruled width",
        examples=[1e-5],
    )
    cubic: _Change = Field(0.0, description="coefficient of s^3, likewise", examples=[1e-5])

    def displacement(self, s: "Floats") -> "Floats":
        """Displacement at s over the ruled width: the integral of the relative change of pitch."""
        return self.linear * s**2 / 2 + self.quadratic * s**3 / 3 + self.cubic * s**4 / 4

    def change(self, s: "Floats") -> "Floats":
        """Relative change of pitch at s."""
        return self.linear * s + self.quadratic * s**2 + self.cubic * s**3


class StepDefect(Model):
    """All rulings beyond one position are displaced, as when ruling is interrupted and resumed."""

    kind: Literal["step"] = "step"
    size_m: Offset = Field(description="displacement of the rulings after it", examples=["150 nm"])
    ruling: Count | None = Field(
        None,
        description="number of the last ruling before the step, counted from 1",
        examples=[500],
    )
    fraction: Annotated[float, Plain(0.0, 1.0)] | None = Field(
        None, description="position of the step as a fraction of the rulings; default 0.5"
    )

    def rulings_before(self, rulings: int) -> int:
        """How many of `rulings` rulings lie before the step."""
        if self.ruling is not None:
            return min(self.ruling, rulings)
        return math.floor((0.5 if self.fraction is None else self.fraction) * rulings + 0.5)

    @model_validator(mode="after")
    def _one_place(self) -> Self:
        not_both({"ruling": self.ruling, "fraction": self.fraction})
        return self


class MissingDefect(Model):
    """Missing rulings: listed by number, or a random fraction of all."""

    kind: Literal["missing"] = "missing"
    rulings: tuple[Count, ...] | None = Field(
        None, description="numbers of the missing rulings, counted from 1", examples=[[17, 18, 402]]
    )
    fraction: Annotated[float, Plain(0.0, 1.0)] | None = Field(
        None, description="fraction of the rulings that is missing, at random", examples=[0.01]
    )
    seed: Seed = 0

    @property
    def indices(self) -> tuple[int, ...]:
        """The listed rulings, counted from 0, in order, each once."""
        return tuple(sorted({number - 1 for number in self.rulings or ()}))

    @model_validator(mode="after")
    def _one_measure(self) -> Self:
        choices = {"rulings": self.rulings, "fraction": self.fraction}
        exactly_one(choices, "rulings = [17, 18] or fraction = 0.01")
        return self


class DepthDefect(Model):
    """Grooves shallower or deeper than nominal: depth (1 - wear t + rms r), t from 0 to 1.

    Of a blazed groove the facet's slope changes with its depth. r is Gaussian of unit variance.
    """

    kind: Literal["depth"] = "depth"
    wear: Annotated[float, Plain(-1.0, 1.0)] = Field(
        0.0, description="fraction of the depth lost at the last ruling", examples=[0.2]
    )
    rms: Annotated[float, Plain(0.0, 1.0)] = Field(
        0.0, description="rms relative error of the depth", examples=[0.03]
    )
    correlation: Correlation = Field(
        "independent", description=_CORRELATION, examples=["independent", "2 mm"]
    )
    seed: Seed = 0


class WidthDefect(Model):
    """Slits or wires wider or narrower than nominal: width + growth (t - 1/2) + rms r.

    t runs from 0 at the first to 1 at the last; r is Gaussian of unit variance.
    """

    kind: Literal["width"] = "width"
    rms_m: LengthOrZero = Field(0.0, description="rms error of the width", examples=["0.5 um"])
    growth_m: Offset = Field(
        0.0, description="change of the width from the first ruling to the last", examples=["1 um"]
    )
    correlation: Correlation = Field(
        "independent", description=_CORRELATION, examples=["independent", "2 mm"]
    )
    seed: Seed = 0


class FanDefect(Model):
    """Rulings that are not parallel: their directions fan out evenly from the first to the last."""

    kind: Literal["fan"] = "fan"
    angle_rad: Annotated[float, Quantity("angle", "2 arcsec", -0.5, 0.5)] = Field(
        description="angle between the first and the last ruling", examples=["2 arcsec"]
    )


class BowDefect(Model):
    """Rulings bent into equal arcs."""

    kind: Literal["bow"] = "bow"
    sag_m: Offset = Field(
        description="displacement of the ends of a ruling relative to its middle",
        examples=["50 nm"],
    )


class TableDefect(Model):
    """Measured displacements, or the measured wavefront of a diffracted beam (2 pi m e / d)."""

    kind: Literal["table"] = "table"
    file: FileName = Field(
        description="CSV or HDF5 file of the measurement, relative to the scene file"
    )
    dataset: FileName | None = Field(None, description="dataset within an HDF5 file")
    quantity: Literal["displacement", "wavefront"] = Field(
        "displacement", description="what was measured"
    )
    order: Annotated[int, Plain(-1000, 1000, whole=True)] = Field(
        1, description="order in which the wavefront was measured", examples=[1]
    )

    @model_validator(mode="after")
    def _real_order(self) -> Self:
        if self.order == 0:
            raise validation_error(
                "does not show displacements",
                key="order",
                value=0,
                expected="an order other than 0",
            )
        return self


Defect = Annotated[
    PeriodicDefect
    | RandomDefect
    | DriftDefect
    | StepDefect
    | MissingDefect
    | DepthDefect
    | WidthDefect
    | FanDefect
    | BowDefect
    | TableDefect,
    Field(discriminator="kind"),
]
