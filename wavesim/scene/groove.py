"""Profiles of a grating's grooves."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from wavesim.scene.base import Model
from wavesim.scene.quantities import (
    Index,
    Length,
    LengthOrZero,
    Plain,
    Quantity,
    Wavelength,
    validation_error,
)
from wavesim.scene.source import FileName

_INDEX = "refractive index of the material (transmission only)"
DEFAULT_INDEX = 1.5
_MOST_FLAT = 0.98  # of the pitch: walls of less than a hundredth are vertical ones


Theory = Annotated[
    Literal["scalar", "rigorous"],
    Field(
        description="theory of the efficiencies: scalar (thin relief) or rigorous (Maxwell's "
        "equations)"
    ),
]
MaterialName = Literal[
    "aluminium", "aluminium-fresh", "silver", "silver-fresh", "gold", "gold-fresh", "chromium",
    "nickel", "magnesium fluoride", "fused silica", "crown glass", "acrylic", "resin",
]  # fmt: skip


class Coating(Model):
    """A layer on the grooves; both of its surfaces follow their profile."""

    material: MaterialName = Field(
        description="material of the coating", examples=["magnesium fluoride"]
    )
    thickness_m: Annotated[float, Quantity("length", "25 nm", 1e-12, 20e-6)] = Field(
        description="thickness, normal to the grating's plane", examples=["25 nm"]
    )


class SlitGroove(Model):
    """Clear and opaque: each ruling is a slit."""

    profile: Literal["slit"] = "slit"
    width_m: Length | None = Field(
        None, description="clear width; default half the pitch", examples=["0.8 um"]
    )


class BlazedGroove(Model):
    """One flat facet over the whole pitch."""

    profile: Literal["blazed"] = "blazed"
    facet_angle_rad: Annotated[float, Quantity("angle", "8.6 deg", -1.5, 1.5)] = Field(
        0.0,
        description="angle between the facet and the grating's plane; its sign selects the side "
        "of the blaze",
        examples=["8.6 deg"],
    )
    back_angle_rad: (
        Annotated[float, Quantity("angle", "72 deg", 0.05, 1.5707963267948968)] | None
    ) = Field(
        None,
        description="angle between the back facet and the grating's plane, for rigorous theory "
        "only; default 90 deg minus the facet angle",
        examples=["72 deg"],
    )
    blaze_m: Wavelength | None = Field(
        None,
        description="wavelength of the blaze in this mounting, instead of facet_angle",
        examples=["500 nm"],
    )
    blaze_order: Annotated[int, Plain(-100, 100, whole=True)] = Field(
        1, description="order to which blaze refers", examples=[1]
    )
    index: Index = Field(DEFAULT_INDEX, description=_INDEX)
    theory: Theory = "scalar"

    @model_validator(mode="after")
    def _one_slope(self) -> Self:
        if self.blaze_m is None and "facet_angle_rad" not in self.model_fields_set:
            raise validation_error(
                "is missing, and so is blaze", key="facet_angle", expected='"8.6 deg", or blaze'
            )
        if self.blaze_order == 0:
            raise validation_error(
                "is not an order that can be blazed", key="blaze_order", expected="1"
            )
        return self


class SinusoidalGroove(Model):
    """A sine profile."""

    profile: Literal["sinusoidal"] = "sinusoidal"
    depth_m: LengthOrZero = Field(description="depth from crest to trough", examples=["200 nm"])
    index: Index = Field(DEFAULT_INDEX, description=_INDEX)
    theory: Theory = "scalar"


class BinaryGroove(Model):
    """Two levels."""

    profile: Literal["binary"] = "binary"
    depth_m: LengthOrZero = Field(description="height of the step", examples=["200 nm"])
    duty: Annotated[float, Plain(0.0, 1.0)] = Field(
        0.5, description="fraction of the pitch at the upper level", examples=[0.5]
    )
    index: Index = Field(DEFAULT_INDEX, description=_INDEX)
    theory: Theory = "scalar"


class TrapezoidalGroove(Model):
    """A ridge with a flat top and inclined walls, and a flat bottom between ridges."""

    profile: Literal["trapezoidal"] = "trapezoidal"
    depth_m: LengthOrZero = Field(description="height of the ridge", examples=["200 nm"])
    top: Annotated[float, Plain(0.0, 0.98)] = Field(
        description="fraction of the pitch that is flat on top", examples=[0.4]
    )
    bottom: Annotated[float, Plain(0.0, 0.98)] = Field(
        description="fraction of the pitch that is flat between ridges; each wall takes half of "
        "the rest",
        examples=[0.3],
    )
    index: Index = Field(DEFAULT_INDEX, description=_INDEX)
    theory: Theory = "scalar"

    @model_validator(mode="after")
    def _walls(self) -> Self:
        if self.top + self.bottom > _MOST_FLAT:
            raise validation_error(
                "leaves no width for inclined walls",
                key="bottom",
                value=f"{self.bottom:.6g}",
                expected=f'at most {max(_MOST_FLAT - self.top, 0):.6g}, or profile = "binary"',
            )
        return self


class MultilevelGroove(Model):
    """Flat levels of equal width and equal steps, a staircase blazed for positive orders."""

    profile: Literal["multilevel"] = "multilevel"
    depth_m: LengthOrZero = Field(
        description="height of the last level above the first", examples=["750 nm"]
    )
    levels: Annotated[int, Plain(2, 64, whole=True)] = Field(
        description="number of levels", examples=[4]
    )
    index: Index = Field(DEFAULT_INDEX, description=_INDEX)
    theory: Theory = "scalar"


class TableGroove(Model):
    """A measured profile: height over one pitch."""

    profile: Literal["table"] = "table"
    file: FileName = Field(
        description="CSV file of position and height, relative to the scene file"
    )
    index: Index = Field(DEFAULT_INDEX, description=_INDEX)
    theory: Theory = "scalar"


Groove = Annotated[
    SlitGroove
    | BlazedGroove
    | SinusoidalGroove
    | BinaryGroove
    | TrapezoidalGroove
    | MultilevelGroove
    | TableGroove,
    Field(discriminator="profile"),
]
