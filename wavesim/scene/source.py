"""Sources, source slits and filters."""

# ruff: noqa: N815  (names end in their unit as it is written: _K, _Pa, _W)

import math
from typing import Annotated, Literal, Self

from pydantic import Field, GetCoreSchemaHandler, GetJsonSchemaHandler, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from wavesim.constants import VISIBLE_HI_M, VISIBLE_LO_M
from wavesim.scene.base import PRINTABLE, Model
from wavesim.scene.quantities import (
    Illuminance,
    Length,
    LengthOrZero,
    Luminance,
    Plain,
    Power,
    Pressure,
    Quantity,
    Temperature,
    Transmittance,
    VisibleWavelength,
    Wavelength,
    show,
    validation_error,
)
from wavesim.scene.rules import exactly_one, not_both


class _Polarisation(Quantity):
    """An angle from the direction of the grooves, or a word for it; None is unpolarised."""

    def read(self, value: object, info: core_schema.ValidationInfo) -> float:
        """along: 0; across: 90 deg; else an angle."""
        if isinstance(value, str) and value in POLARISATIONS:
            return POLARISATIONS[value]
        return super().read(value, info)

    def __get_pydantic_core_schema__(
        self, _source: object, _handler: GetCoreSchemaHandler
    ) -> CoreSchema:
        return core_schema.with_info_before_validator_function(
            lambda value, info: None if value in (None, "none") else self.read(value, info),
            core_schema.nullable_schema(core_schema.float_schema()),
        )

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        choices = {"enum": ["none", *POLARISATIONS]}
        return {"anyOf": [choices, super().__get_pydantic_json_schema__(schema, handler)]}


POLARISATIONS = {"along": 0.0, "across": math.pi / 2}
Polarisation = Annotated[float | None, _Polarisation("angle", "45 deg", -math.pi, math.pi)]

FileName = Annotated[
    str, Field(min_length=1, max_length=1024, pattern=PRINTABLE, examples=["measured.csv"])
]


class SourceSlit(Model):
    """The slit in the focus of the collimator."""

    width_m: Length = Field(description="width of the source slit", examples=["20 um"])
    height_m: Length = Field(description="height of the source slit", examples=["4 mm"])
    turn_rad: Annotated[float, Quantity("angle", "1 deg", -math.pi / 4, math.pi / 4)] = Field(
        0.0,
        description="angle between slit and rulings; positive: the upper ends of the lines are "
        "at larger x",
        examples=["1 deg"],
    )
    jaws_rad: Annotated[float, Quantity("angle", "0.2 deg", -math.pi / 4, math.pi / 4)] = Field(
        0.0,
        description="angle between the jaws, width being their mean distance; positive: the "
        "lines are wider at their upper ends",
        examples=["0.2 deg"],
    )

    @property
    def ends_m(self) -> tuple[float, float]:
        """Width [m] where the lines' lower ends come from, and where their upper ends do."""
        change = self.height_m * math.tan(self.jaws_rad / 2)
        return self.width_m - change, self.width_m + change

    @model_validator(mode="after")
    def _open(self) -> Self:
        if min(self.ends_m) <= 0:
            most = 2 * math.atan(self.width_m / self.height_m)
            raise validation_error(
                f"closes the slit of {show(self.width_m, 'length')} over its height of"
                f" {show(self.height_m, 'length')}",
                key="jaws",
                value=show(self.jaws_rad, "angle"),
                expected=f"less than {show(most, 'angle')}, a wider slit or a lower one",
            )
        return self


class BandpassFilter(Model):
    """Passes a band: a three-cavity interference filter of the given full width at half maximum."""

    kind: Literal["bandpass"] = "bandpass"
    centre_m: Wavelength = Field(description="centre of the band", examples=["650 nm"])
    width_m: Length = Field(description="full width at half maximum", examples=["10 nm"])
    transmittance: Transmittance = Field(1.0, description="transmittance at the peak")


class EdgeFilter(Model):
    """What filters that pass all wavelengths on one side of an edge share."""

    edge_m: Wavelength = Field(description="wavelength of half transmittance", examples=["550 nm"])
    width_m: LengthOrZero = Field(
        0.0, description="width of the edge between 10 % and 90 %", examples=["5 nm"]
    )
    transmittance: Transmittance = Field(1.0, description="transmittance far from the edge")


class LongpassFilter(EdgeFilter):
    """Passes wavelengths above an edge."""

    kind: Literal["longpass"] = "longpass"


class ShortpassFilter(EdgeFilter):
    """Passes wavelengths below an edge."""

    kind: Literal["shortpass"] = "shortpass"


class NeutralFilter(Model):
    """Passes the same fraction of every wavelength, given as density or transmittance."""

    kind: Literal["neutral"] = "neutral"
    density: Annotated[float, Plain(0.0, 20.0)] | None = Field(
        None, description="optical density, -log10 of the transmittance", examples=[0.6]
    )
    transmittance: Transmittance | None = Field(
        None, description="transmittance", examples=["25 %"]
    )

    @model_validator(mode="after")
    def _one_measure(self) -> Self:
        choices = {"density": self.density, "transmittance": self.transmittance}
        exactly_one(choices, "density = 0.6")
        return self


class PolariserFilter(Model):
    """An ideal polariser: passes half of unpolarised light, else cos^2 of the angle (Malus)."""

    kind: Literal["polariser"] = "polariser"
    axis_rad: Polarisation = Field(
        description="direction of the transmitted electric field relative to the grooves: along, "
        "across, or an angle",
        examples=["across"],
    )

    @model_validator(mode="after")
    def _has_an_axis(self) -> Self:
        if self.axis_rad is None:
            raise validation_error(
                "has no direction", key="axis", expected="along, across or an angle"
            )
        return self


class TableFilter(Model):
    """A measured filter; the header of the file names wavelength and transmittance or density."""

    kind: Literal["table"] = "table"
    file: FileName = Field(description="CSV file of the filter, relative to the scene file")


Filter = Annotated[
    BandpassFilter
    | LongpassFilter
    | ShortpassFilter
    | NeutralFilter
    | PolariserFilter
    | TableFilter,
    Field(discriminator="kind"),
]


class SourceBase(Model):
    """Keys common to all sources: the slit or disc they fill, filters and level."""

    slit: SourceSlit | None = Field(
        None,
        description="source slit; without slit or disc the source is a point",
        examples=[{"width": "20 um", "height": "4 mm"}],
    )
    disc_rad: Annotated[float, Quantity("angle", "32 arcmin", 0.0, 0.5, above_low=True)] | None = (
        Field(
            None,
            description="angular diameter of a round source, as seen from the aperture",
            examples=["32 arcmin"],
        )
    )
    polarisation_rad: Polarisation = Field(
        None,
        description="direction of the electric field relative to the grooves: none "
        "(unpolarised), along, across, or an angle; matters in rigorous theory only",
        examples=["across"],
    )
    filters: tuple[Filter, ...] = Field((), description="filters in the beam", max_length=100)
    luminance_cd_m2: Luminance | None = Field(
        None,
        description="luminance of slit or disc, before the filters; sets the absolute level",
        examples=["5000 cd/m^2"],
    )
    illuminance_lx: Illuminance | None = Field(
        None,
        description="illuminance of a point source's beam at the aperture, before the filters",
        examples=["100 klx"],
    )

    @property
    def field_along(self) -> float:
        """Part of the light behind the filters whose electric field lies along the grooves."""
        angle = self.polarisation_rad
        for item in self.filters:
            angle = item.axis_rad if isinstance(item, PolariserFilter) else angle
        return 0.5 if angle is None else math.cos(angle) ** 2

    @property
    def is_point(self) -> bool:
        """Whether the source has no extent: neither slit nor disc."""
        return self.slit is None and self.disc_rad is None

    @model_validator(mode="after")
    def _extent(self) -> Self:
        not_both({"slit": self.slit, "disc": self.disc_rad})
        if self.is_point and self.luminance_cd_m2 is not None:
            raise validation_error(
                "needs a slit or a disc to have a luminance",
                key="luminance",
                expected="illuminance for a point source, or a slit",
            )
        if not self.is_point and self.illuminance_lx is not None:
            raise validation_error(
                "is for a point source, but this source has a slit or disc",
                key="illuminance",
                expected="luminance instead",
            )
        return self


class Sun(SourceBase):
    """The Sun, with absolute radiance."""

    kind: Literal["sun"] = "sun"
    air: Literal["above", "ground"] | None = Field(
        None,
        description="above the atmosphere (the default: extraterrestrial, air mass 0), or from "
        "the ground: through air mass 1.5, as in ASTM G173, unless height or air_mass is given",
    )
    height_rad: Annotated[float, Quantity("angle", "30 deg", 0.0, math.pi / 2, True)] | None = (
        Field(
            None,
            description="height above the horizon, seen from the ground; gives the air mass",
            examples=["30 deg"],
        )
    )
    air_mass: Annotated[float, Plain(1.0, 40.0)] | None = Field(
        None, description="air mass, seen from the ground, instead of height", examples=[2.0]
    )
    lines: bool = Field(
        True, strict=True, description="whether to include the dark absorption lines"
    )
    telluric: bool = Field(
        True,
        strict=True,
        description="whether to include the absorption bands of the Earth's "
        "atmosphere (ground only)",
    )

    @model_validator(mode="after")
    def _through_the_air(self) -> Self:
        given = {"height": self.height_rad, "air_mass": self.air_mass}
        not_both(given)
        for key, value in given.items():
            if value is not None and self.air == "above":
                raise validation_error(
                    'cannot be combined with air = "above"',
                    key=key,
                    expected=f'air = "ground", or no {key}',
                )
        return self


class BlackBody(SourceBase):
    """A black body, with absolute radiance."""

    kind: Literal["blackbody"] = "blackbody"
    temperature_K: Temperature = Field(description="temperature", examples=["2856 K"])


class Illuminant(SourceBase):
    """A standard illuminant of the CIE; its level is arbitrary unless given."""

    kind: Literal["illuminant"] = "illuminant"
    name: Literal[
        "A", "D50", "D55", "D65", "D75", "E",
        "FL1", "FL2", "FL3", "FL4", "FL5", "FL6", "FL7", "FL8", "FL9", "FL10", "FL11", "FL12",
    ] = Field(description="name of the illuminant", examples=["D65"])  # fmt: skip


class Lamp(SourceBase):
    """A lamp that emits the lines of one element."""

    kind: Literal["lamp"] = "lamp"
    element: Literal["H", "He", "Na", "Hg", "Cd", "Ne"] = Field(
        description="element whose lines it emits", examples=["Na"]
    )
    temperature_K: Temperature | None = Field(
        None,
        description="gas temperature for Doppler widths; default a typical one for the element",
    )
    pressure_Pa: Pressure | None = Field(
        None, description="gas pressure for collision widths", examples=["1 kPa"]
    )
    reversal: Annotated[float, Plain(0.0, 1000.0)] = Field(
        0.0, description="optical depth of the cool vapour in front, at the centre of a line"
    )


class Laser(SourceBase):
    """A laser; its power fills the bench's beam, or else just the aperture (at least 1 mm)."""

    kind: Literal["laser"] = "laser"
    wavelength_m: VisibleWavelength = Field(
        description="wavelength in air, within 360 to 830 nm", examples=["632.8 nm"]
    )
    linewidth_m: Length = Field(
        1e-13, description="full width at half maximum of the line", examples=["0.1 pm"]
    )
    power_W: Power = Field(1e-3, description="power of the beam", examples=["1 mW"])

    @model_validator(mode="after")
    def _level(self) -> Self:
        for key, given in (
            ("luminance", self.luminance_cd_m2),
            ("illuminance", self.illuminance_lx),
        ):
            if given is not None:
                raise validation_error(
                    "cannot be combined with a laser", key=key, expected='power = "1 mW"'
                )
        return self


class Led(SourceBase):
    """A light-emitting diode: one Gaussian band; its level is arbitrary unless given."""

    kind: Literal["led"] = "led"
    wavelength_m: VisibleWavelength = Field(
        description="peak wavelength in air, within 360 to 830 nm", examples=["525 nm"]
    )
    width_m: Length = Field(description="full width at half maximum", examples=["30 nm"])


class Band(SourceBase):
    """A band of constant spectral power, and none outside."""

    kind: Literal["band"] = "band"
    centre_m: Wavelength = Field(description="centre of the band", examples=["550 nm"])
    width_m: Length = Field(description="full width of the band", examples=["100 nm"])

    @model_validator(mode="after")
    def _visible(self) -> Self:
        low, high = self.centre_m - self.width_m / 2, self.centre_m + self.width_m / 2
        if low <= 0:
            raise validation_error(
                "reaches below zero wavelength", key="width", expected="less width"
            )
        if high <= VISIBLE_LO_M or low >= VISIBLE_HI_M:
            raise validation_error(
                "leaves no visible light",
                key="centre",
                expected="a band that overlaps 360 to 830 nm",
            )
        return self


class TableSource(SourceBase):
    """A measured spectrum; the header of the file gives the units."""

    kind: Literal["table"] = "table"
    file: FileName = Field(
        description="CSV file of wavelength and value, relative to the scene file"
    )


Source = Annotated[
    Sun | BlackBody | Illuminant | Lamp | Laser | Led | Band | TableSource,
    Field(discriminator="kind"),
]
