"""Apertures of straight rulings: slits, wires, gratings."""

import math
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from wavesim.scene.base import Model
from wavesim.scene.defect import Defect
from wavesim.scene.groove import (
    DEFAULT_INDEX,
    BinaryGroove,
    Coating,
    Groove,
    MaterialName,
    MultilevelGroove,
    SlitGroove,
)
from wavesim.scene.planar import (
    Annulus,
    Disc,
    Dots,
    Ellipse,
    Mesh,
    Picture,
    Polygon,
    Rectangle,
)
from wavesim.scene.quantities import (
    MOST_RULINGS,
    Count,
    Density,
    Fraction,
    Length,
    Offset,
    Plain,
    show,
    validation_error,
)
from wavesim.scene.rules import SLACK, exactly_one, fitting, not_both, size_error
from wavesim.scene.source import FileName


class Ruled(Model):
    """Keys common to slits, wires and gratings. Rulings run along y and repeat along x."""

    height_m: Length = Field(0.01, description="length of the rulings, along y", examples=["10 mm"])
    outline: Literal["rectangle", "ellipse"] = Field(
        "rectangle", description="outline of the ruled area, of the ruled width and height"
    )
    defects: tuple[Defect, ...] = Field((), description="errors of the rulings", max_length=1000)

    @property
    def rulings(self) -> int:
        """Number of rulings: slits, gaps between wires, or grooves."""
        raise NotImplementedError

    @property
    def mean_pitch_m(self) -> float | None:
        """Distance of the rulings [m], of listed slits the mean one; None for a single slit."""
        raise NotImplementedError


class ListedSlit(Model):
    """One slit by its position and width."""

    centre_m: Offset = Field(description="x of the slit's centre", examples=["-90 um"])
    width_m: Length = Field(description="clear width of the slit", examples=["40 um"])


class Slits(Ruled):
    """Clear slits in an opaque screen: equal ones by their number, or any by a list."""

    kind: Literal["slits"] = "slits"
    count: Count | None = Field(None, description="number of slits", examples=[6])
    width_m: Length | None = Field(None, description="clear width of a slit", examples=["40 um"])
    pitch_m: Length | None = Field(
        None, description="centre-to-centre distance; needed for two or more slits",
        examples=["90 um"],
    )  # fmt: skip
    slits: tuple[ListedSlit, ...] | None = Field(
        None,
        description="slits listed one by one, instead of count, width and pitch",
        examples=[[{"centre": "-90 um", "width": "40 um"}]],
        min_length=1,
        max_length=100_000,
    )

    @property
    def rulings(self) -> int:
        """Number of slits."""
        return len(self.slits) if self.slits is not None else self.count or 0

    @property
    def mean_pitch_m(self) -> float | None:
        """Distance of the slits [m], of listed ones the mean; None for a single slit."""
        if self.rulings < 2 or self.slits is None:
            return self.pitch_m if self.rulings > 1 else None
        centres = [slit.centre_m for slit in self.slits]
        return (max(centres) - min(centres)) / (len(centres) - 1)

    @model_validator(mode="after")
    def _counted_or_listed(self) -> Self:
        given = [key for key in ("count", "width_m", "pitch_m") if getattr(self, key) is not None]
        if self.slits is not None:
            if given:
                raise validation_error(
                    "cannot be combined with a list of slits",
                    key=given[0].removesuffix("_m"),
                    expected="count, width and pitch, or slits",
                )
            _refuse_overlap(self.slits)
        else:
            _check_counted(self.count, self.width_m, self.pitch_m)
        return self


def _refuse_overlap(slits: tuple[ListedSlit, ...]) -> None:
    order = sorted(range(len(slits)), key=lambda j: slits[j].centre_m)
    for left, right in pairwise(order):
        a, b = slits[left], slits[right]
        if b.centre_m - a.centre_m < (a.width_m + b.width_m) / 2 * (1 - SLACK):
            raise validation_error(
                f"overlaps slits[{left}]",
                key=f"slits[{right}]",
                value=f"{show(b.width_m, 'length')} wide at {show(b.centre_m, 'length')}",
                expected="slits apart from each other",
            )


def _check_counted(count: int | None, width: float | None, pitch: float | None) -> None:
    needed = {
        "count": (count, "the number of slits, or a list of slits", "count = 6"),
        "width": (width, "the clear width of a slit", 'width = "40 um"'),
    }
    if count != 1:
        needed["pitch"] = (pitch, "the centre-to-centre distance", 'pitch = "90 um"')
    for key, (value, meaning, example) in needed.items():
        if value is None:
            raise validation_error(f"is missing: {meaning}", key=key, expected=example)
    if width is not None and pitch is not None:
        _within_pitch("width", width, pitch)


def _within_pitch(key: str, width: float, pitch: float) -> None:
    if width > pitch * (1 + SLACK):
        raise size_error(key, width, "is more than the pitch of", pitch, "at most the pitch")


class Wires(Ruled):
    """Opaque wires; light passes through the gaps between them, but not outside the outer ones."""

    kind: Literal["wires"] = "wires"
    count: Annotated[int, Plain(2, MOST_RULINGS, whole=True)] = Field(
        description="number of wires, at least 2", examples=[50]
    )
    width_m: Length = Field(description="thickness of a wire", examples=["30 um"])
    pitch_m: Length = Field(description="centre-to-centre distance", examples=["90 um"])

    @property
    def rulings(self) -> int:
        """Number of openings, one less than the wires."""
        return self.count - 1

    @property
    def mean_pitch_m(self) -> float:
        """Distance of the gaps [m]."""
        return self.pitch_m

    @property
    def gap_m(self) -> float:
        """Clear width between two wires [m]."""
        return self.pitch_m - self.width_m

    @model_validator(mode="after")
    def _gap(self) -> Self:
        if self.width_m >= self.pitch_m * (1 - SLACK):
            problem, expected = "leaves no gap at a pitch of", "less than the pitch"
            raise size_error("width", self.width_m, problem, self.pitch_m, expected)
        return self


class Grating(Ruled):
    """Equal grooves at a constant pitch, before any defects."""

    kind: Literal["grating"] = "grating"
    count: Count | None = Field(None, description="number of rulings", examples=[15_000])
    ruled_width_m: Length | None = Field(
        None, description="width of the ruled area, instead of count", examples=["25 mm"]
    )
    density_per_m: Density | None = Field(None, description="groove density", examples=["600 / mm"])
    pitch_m: Length | None = Field(
        None, description="spacing of the grooves, instead of density", examples=["1.667 um"]
    )
    mounting: Literal["transmission", "reflection"] = Field(
        "transmission", description="used in transmission or in reflection"
    )
    groove: Groove = Field(
        default_factory=SlitGroove,
        description="profile of the grooves; default slits of half the pitch",
        examples=[{"profile": "blazed", "facet_angle": "8.6 deg"}],
    )
    reflectance: Fraction = Field(1.0, description="reflectance of the surface", examples=[0.9])
    reflectance_file: FileName | None = Field(
        None, description="CSV file of wavelength and reflectance, relative to the scene file"
    )

    material: MaterialName | None = Field(
        None,
        description="material of the grooves, for rigorous theory and, if it is crown glass, fused "
        "silica or acrylic, for the dispersion of a transmission grating; default a perfect "
        "conductor in reflection, the groove's index in transmission",
        examples=["aluminium"],
    )
    material_file: FileName | None = Field(
        None, description="CSV file of wavelength in vacuum, n and k, instead of a material"
    )
    coating: Coating | None = Field(
        None,
        description="layer on the grooves of a reflection grating, for rigorous theory",
        examples=[{"material": "magnesium fluoride", "thickness": "25 nm"}],
    )

    @property
    def rigorous(self) -> bool:
        """Whether the efficiency of its orders is that of rigorous theory."""
        return getattr(self.groove, "theory", "scalar") == "rigorous"

    @property
    def mean_pitch_m(self) -> float:
        """Pitch before any defect [m], given or from the density."""
        if self.pitch_m is not None:
            return self.pitch_m
        return 1 / self.density_per_m if self.density_per_m else math.nan

    @property
    def rulings(self) -> int:
        """Number of rulings, given or as many as fit into the ruled width (at least one)."""
        if self.count is not None:
            return self.count
        return max(1, fitting(self.ruled_width_m or 0.0, self.mean_pitch_m))

    @property
    def slit_width_m(self) -> float | None:
        """Clear width of a slit groove [m]; None for other profiles."""
        if not isinstance(self.groove, SlitGroove):
            return None
        return self.mean_pitch_m / 2 if self.groove.width_m is None else self.groove.width_m

    @model_validator(mode="after")
    def _size(self) -> Self:
        exactly_one({"density": self.density_per_m, "pitch": self.pitch_m}, 'density = "600 / mm"')
        exactly_one({"count": self.count, "ruled_width": self.ruled_width_m}, "count = 15000")
        width, pitch = self.ruled_width_m, self.mean_pitch_m
        if width is not None and width < pitch * (1 - SLACK):
            problem, expected = "is less than one pitch of", "at least one ruling"
            raise size_error("ruled_width", width, problem, pitch, expected)
        if self.rulings > MOST_RULINGS:
            raise validation_error(
                f"holds {self.rulings:.6g} rulings",
                key="ruled_width",
                expected=f"at most {MOST_RULINGS:,} rulings",
            )
        return self

    @model_validator(mode="after")
    def _groove(self) -> Self:
        if self.slit_width_m is not None:
            _within_pitch("groove.width", self.slit_width_m, self.mean_pitch_m)
        reflecting = self.mounting == "reflection"
        index = getattr(self.groove, "index", DEFAULT_INDEX)
        if reflecting and index != DEFAULT_INDEX:
            raise validation_error(
                "belongs to a transmission grating",
                key="groove.index",
                expected='no index, or mounting = "transmission"',
            )
        return self._check_reflectance(reflecting)

    def _check_reflectance(self, reflecting: bool) -> Self:
        choices = {
            "reflectance": None if self.reflectance == 1 else self.reflectance,
            "reflectance_file": self.reflectance_file,
        }
        for key in (key for key, value in choices.items() if value is not None and not reflecting):
            raise validation_error(
                "belongs to a reflection grating", key=key, expected='mounting = "reflection"'
            )
        not_both(choices)
        not_both({"material": self.material, "material_file": self.material_file})
        if self.rigorous:
            for key in (key for key, value in choices.items() if value is not None):
                expected = 'material = "aluminium", or theory = "scalar"'
                raise validation_error(
                    "cannot be combined with rigorous theory", key=key, expected=expected
                )
        return self._check_coating()

    def _check_coating(self) -> Self:
        if self.coating is None:
            return self
        if self.mounting == "transmission" or isinstance(
            self.groove, BinaryGroove | MultilevelGroove
        ):
            raise validation_error(
                "needs a reflection grating whose facets are inclined",
                key="coating",
                expected='mounting = "reflection", profile not "slit", "binary" or "multilevel"',
            )
        return self


RuledAperture = Slits | Wires | Grating
PlaneAperture = Disc | Annulus | Ellipse | Rectangle | Polygon | Mesh | Dots | Picture
Aperture = Annotated[RuledAperture | PlaneAperture, Field(discriminator="kind")]
