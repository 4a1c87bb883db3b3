"""The lenses of a bench, as far as they are not perfect: colours, clear diameter."""

from typing import Annotated, Any, Literal, Self

from pydantic import Field, model_validator

from wavesim import glass
from wavesim.scene.base import Model
from wavesim.scene.quantities import (
    Length,
    LengthOrZero,
    Quantity,
    VisibleWavelength,
    validation_error,
)
from wavesim.scene.rules import exactly_one, not_both

_GREEN_M = 546.0740e-9  # e, the mercury line for which lenses are designed
_JOINED_UM = 0.4799914, 0.6438469  # F' and C' of cadmium, brought to one focus
_POWER = -1.5  # of the wavelength in which the focal length is a parabola

Number = Any  # a float or an array of them


class Lens(Model):
    """A lens whose focal length changes with the wavelength.

    A thin single lens has f ~ 1 / (n - 1). An achromat brings F' (480 nm) and C' (644 nm) to one
    focus and all between nearer to the lens: f = f_min (1 + residual g^2), with g from -1 at C' to
    1 at F', even in wavelength^-1.5. Of a doublet of borosilicate crown and flint that is right to
    9 % of the residual's effect from 400 to 750 nm (tests/test_lens_colours.py).
    """

    glass: Literal["crown glass", "fused silica", "acrylic"] | None = Field(
        None,
        description="glass of a simple lens, whose focal length depends on the wavelength",
        examples=["crown glass"],
    )
    residual: Annotated[float, Quantity("fraction", "0.05 %", 0.0, 0.05)] | None = Field(
        None,
        description="secondary spectrum of an achromat: focal length at F' and C' (480 and 644 "
        "nm) minus its minimum, relative to the focal length",
        examples=["0.05 %"],
    )
    sharp_m: VisibleWavelength = Field(
        _GREEN_M,
        description="wavelength to which the stated focal length applies; default the green "
        "mercury line",
        examples=["546.1 nm"],
    )

    @property
    def coloured(self) -> bool:
        """Whether the focal length changes with the wavelength at all."""
        return self.glass is not None or bool(self.residual)

    def focal_ratio(self, wavelength_m: Number) -> Number:
        """Focal length over that at `sharp`, at wavelengths in standard air [m], any shape."""
        if self.glass is not None:
            index = glass.index(self.glass, self.sharp_m)
            return (index - 1) / (glass.index(self.glass, wavelength_m) - 1)
        return self._excess(wavelength_m) / self._excess(self.sharp_m)

    def _excess(self, wavelength_m: Number) -> Number:
        blue, red = (um**_POWER for um in _JOINED_UM)
        g = (2 * (wavelength_m * 1e6) ** _POWER - blue - red) / (blue - red)
        return 1 + (self.residual or 0.0) * g * g

    @model_validator(mode="after")
    def _one_kind(self) -> Self:
        not_both({"glass": self.glass, "residual": self.residual})
        return self


class CollimatorLens(Lens):
    """A collimator whose focal length depends on the wavelength."""

    @model_validator(mode="after")
    def _has_colours(self) -> Self:
        exactly_one({"glass": self.glass, "residual": self.residual}, 'glass = "crown glass"')
        return self


class CameraLens(Lens):
    """A camera lens whose focal length depends on the wavelength, or whose rim cuts off light."""

    diameter_m: Length | None = Field(
        None,
        description="clear diameter; default large enough to pass all the light",
        examples=["30 mm"],
    )
    distance_m: LengthOrZero = Field(
        0.0,
        description="distance of the lens from the aperture, over which the orders separate",
        examples=["200 mm"],
    )

    @model_validator(mode="after")
    def _far_from_what(self) -> Self:
        if self.distance_m and self.diameter_m is None:
            raise validation_error(
                "has no effect without the lens's clear diameter",
                key="distance",
                expected='diameter = "30 mm" beside it',
            )
        return self
