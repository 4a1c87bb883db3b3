"""The bench between source and plate: lenses or distances, angles, beam, air, aberrations."""

# ruff: noqa: N815  (names end in their unit as it is written: _K, _Pa, _W)

import math
from dataclasses import dataclass
from typing import Annotated, Literal, Self

from pydantic import (
    BeforeValidator,
    Field,
    GetJsonSchemaHandler,
    ValidationInfo,
    model_validator,
)
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from wavesim.scene.base import Model
from wavesim.scene.lenses import CameraLens, CollimatorLens, Lens
from wavesim.scene.quantities import (
    GRAZING_RAD,
    AirTemperature,
    Angle,
    Fraction,
    Length,
    Offset,
    Plain,
    Pressure,
    Quantity,
    Tilt,
    VisibleWavelength,
    Wavelength,
    validation_error,
)
from wavesim.scene.rules import both_or_none, not_both


class Beam(Model):
    """The parallel beam in front of the aperture, if it is limited."""

    diameter_m: Length = Field(
        description="clear diameter; for a Gaussian beam, the diameter at 1/e^2 of its peak "
        "irradiance",
        examples=["40 mm"],
    )
    profile: Literal["uniform", "gaussian"] = Field(
        "uniform", description="irradiance across the beam"
    )
    offset_m: Offset = Field(
        0.0,
        description="distance of the beam's axis from the aperture's centre, across the rulings",
        examples=["5 mm"],
    )


class _BeamText:
    """Lets `beam = "40 mm"` stand for a uniform beam of that diameter."""

    @staticmethod
    def read(value: object) -> object:
        return {"diameter": value} if isinstance(value, (str, int, float)) else value

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        text = {"type": "string", "description": "clear diameter", "examples": ["40 mm"]}
        return {"anyOf": [text, handler(schema)]}


class Air(Model):
    """The air of the bench (default: standard dry air)."""

    temperature_K: AirTemperature = Field(
        288.15, description="air temperature", examples=["20 degC"]
    )
    pressure_Pa: Pressure = Field(101_325.0, description="air pressure", examples=["101.325 kPa"])
    humidity: Fraction = Field(0.0, description="relative humidity", examples=["50 %"])
    co2: Annotated[float, Quantity("fraction", "450 ppm", 0.0, 0.1)] = Field(
        450e-6, description="mole fraction of carbon dioxide", examples=["450 ppm"]
    )


_WAVES_OF_M = 550e-9  # in which waves are counted unless the table says otherwise


@dataclass(frozen=True)
class _PathError(Quantity):
    """A length, or a number of waves of the table's own `wavelength`."""

    def read(self, value: object, info: ValidationInfo) -> float:
        if not isinstance(value, str) or not value.rstrip().endswith(("wave", "waves")):
            return super().read(value, info)
        try:
            path_waves = float(value.split()[0])
        except ValueError:
            raise self.refuse("does not begin with a number") from None
        return self.within(path_waves * float(info.data.get("wavelength_m", _WAVES_OF_M)))


PathError = Annotated[float, _PathError("length", "0.25 waves", -0.1, 0.1)]


class Aberrations(Model):
    """Seidel aberrations of the camera lens, as optical path differences at the edge of the pupil.

    With r the radius over `radius_m` and t the polar angle in the pupil:
    path = spherical r^4 + coma r^3 cos(t - coma_angle) + astigmatism r^2 cos^2(t - its angle).
    Each may be written in waves ("0.25 waves") of `wavelength`.
    """

    wavelength_m: VisibleWavelength = Field(
        _WAVES_OF_M, description="wavelength to which waves refer", examples=["550 nm"]
    )
    radius_m: Length | None = Field(
        None,
        description="pupil radius to which the path errors refer; default that of the beam or "
        "aperture",
        examples=["20 mm"],
    )
    spherical_m: PathError = Field(
        0.0, description="spherical aberration at the pupil's edge", examples=["0.25 waves"]
    )
    coma_m: PathError = Field(0.0, description="coma at the pupil's edge", examples=["0.25 waves"])
    coma_angle_rad: Angle = Field(
        0.0, description="direction of the coma, from the x axis", examples=["90 deg"]
    )
    astigmatism_m: PathError = Field(
        0.0, description="astigmatism at the pupil's edge", examples=["0.25 waves"]
    )
    astigmatism_angle_rad: Angle = Field(
        0.0, description="direction of the astigmatism, from the x axis", examples=["90 deg"]
    )


PlateAngle = Annotated[float, Quantity("angle", "3 deg", -math.pi / 3, math.pi / 3)]


class Centre(Model):
    """The line on the camera's axis, to which the grating or the camera is turned."""

    wavelength_m: Wavelength = Field(
        description="wavelength in the air of the bench", examples=["589.3 nm"]
    )
    order: Annotated[int, Plain(-1000, 1000, whole=True)] = Field(
        1, description="diffraction order m"
    )


class Bench(Model):
    """Collimator, camera and the angles between them.

    Signs as in d (sin alpha + sin beta) = m lambda: the zero order lies at beta = -alpha.
    """

    collimator_m: Length | None = Field(
        None, description="focal length of the collimator", examples=["600 mm"]
    )
    source_distance_m: Length | None = Field(
        None,
        description="distance of the source slit from the aperture, without a collimator",
        examples=["2 m"],
    )
    camera_m: Length | None = Field(
        None, description="focal length of the camera lens", examples=["1 m"]
    )
    plate_distance_m: Length | None = Field(
        None,
        description="distance of the plate from the aperture, without a camera lens",
        examples=["3 m"],
    )
    defocus_m: Offset = Field(
        0.0, description="distance of the plate behind the focus", examples=["3 mm"]
    )
    beam: Annotated[Beam, BeforeValidator(_BeamText.read), _BeamText()] | None = Field(
        None,
        description="clear diameter of the beam, if it is limited; or a table with diameter and "
        "profile",
        examples=["40 mm"],
    )
    incidence_rad: Tilt = Field(0.0, description="angle of incidence, alpha", examples=["15 deg"])
    viewing_rad: Tilt | None = Field(
        None,
        description="diffraction angle of the camera's axis; default the zero order, -incidence",
        examples=["20 deg"],
    )
    included_angle_rad: Angle | None = Field(
        None,
        description="angle 2 K between collimator and camera, used with turn",
        examples=["30 deg"],
    )
    turn_rad: Angle | None = Field(
        None,
        description="rotation of the grating from the zero order, used with included_angle",
        examples=["12 deg"],
    )
    centre: Centre | None = Field(
        None,
        description="line on the camera's axis: determines viewing, or turn if included_angle is "
        "given",
        examples=[{"wavelength": "589.3 nm", "order": 2}],
    )
    air: Air = Field(default_factory=Air, description="air of the bench")
    collimator_lens: CollimatorLens | None = Field(
        None,
        description="chromatic aberration of the collimator; default none",
        examples=[{"glass": "crown glass"}],
    )
    camera_lens: CameraLens | None = Field(
        None,
        description="chromatic aberration, diameter and distance of the camera lens; default an "
        "ideal lens",
        examples=[{"glass": "crown glass"}],
    )
    plate_tilt_rad: PlateAngle = Field(
        0.0,
        description="rotation of the plate about its vertical centre line; positive: the end at "
        "larger x is farther from the lens",
        examples=["3 deg"],
    )
    plate_tip_rad: PlateAngle = Field(
        0.0,
        description="rotation of the plate about its horizontal centre line; positive: the upper "
        "edge is farther from the lens",
        examples=["3 deg"],
    )
    aberrations: Aberrations | None = Field(None, description="aberrations of the camera lens")

    @property
    def alpha_rad(self) -> float:
        """Angle of incidence [rad]: given, or turn + K (half the included angle)."""
        if self.turn_rad is None or self.included_angle_rad is None:
            return self.incidence_rad
        return self.turn_rad + self.included_angle_rad / 2

    @property
    def camera_axis_rad(self) -> float:
        """Diffraction angle of the camera's axis [rad]: given, turn - K, or -alpha."""
        if self.turn_rad is not None and self.included_angle_rad is not None:
            return self.turn_rad - self.included_angle_rad / 2
        return 0.0 - self.incidence_rad if self.viewing_rad is None else self.viewing_rad

    @property
    def camera_focal_m(self) -> float:
        """The length that turns tan(beta - camera axis) into x on the plate [m].

        The camera's focal length, or the plate's distance where there is no lens.
        """
        length = self.plate_distance_m if self.camera_m is None else self.camera_m
        if length is None:  # refused on reading
            raise ValueError("a bench has a camera or a plate distance")
        return length

    @property
    def image_distance_m(self) -> float:
        """Distance of the plate behind the camera lens, defocus included, or the aperture [m]."""
        return self.camera_focal_m + self.defocus_m

    @property
    def source_focal_m(self) -> float | None:
        """The length that turns source size into angle [m]; None where there is neither."""
        return self.source_distance_m if self.collimator_m is None else self.collimator_m

    @property
    def lens_errors(self) -> Aberrations | None:
        """Aberrations of the camera lens; None where all of them are zero."""
        errors = self.aberrations
        if errors is None or not (errors.spherical_m or errors.coma_m or errors.astigmatism_m):
            return None
        return errors

    @property
    def far_field(self) -> bool:
        """Whether lenses bring source and plate to infinity and nothing adds a phase."""
        return (
            self.source_distance_m is None
            and self.plate_distance_m is None
            and self.defocus_m == 0
            and self.lens_errors is None
            and not self.plate_turned
            and not any(lens.coloured for lens in self._lenses)
        )

    @property
    def plate_turned(self) -> bool:
        """Whether the plate does not stand at right angles to the camera's axis."""
        return self.plate_tilt_rad != 0 or self.plate_tip_rad != 0

    @property
    def _lenses(self) -> list[Lens]:
        return [lens for lens in (self.collimator_lens, self.camera_lens) if lens is not None]

    @model_validator(mode="after")
    def _lengths(self) -> Self:
        if self.camera_m is None and self.plate_distance_m is None:
            raise validation_error(
                "is missing: the focal length of the camera lens, or the plate's distance",
                key="camera",
                expected='camera = "1 m" or plate_distance = "3 m"',
            )
        if self.camera_m is not None and self.plate_distance_m is not None:
            raise validation_error(
                "cannot be combined with a camera lens",
                key="plate_distance",
                expected="camera or plate_distance; a plate out of focus is given by defocus",
            )
        not_both({"collimator": self.collimator_m, "source_distance": self.source_distance_m})
        return self._check_camera()

    def _check_camera(self) -> Self:
        lens_only = {
            "defocus": self.defocus_m != 0,
            "aberrations": self.aberrations is not None,
            "camera_lens": self.camera_lens is not None,
            "plate_tilt": self.plate_tilt_rad != 0,
            "plate_tip": self.plate_tip_rad != 0,
        }
        for key, given in lens_only.items():
            if given and self.camera_m is None:
                raise validation_error("needs a camera lens", key=key, expected='camera = "1 m"')
        if self.collimator_lens is not None and self.collimator_m is None:
            raise validation_error(
                "needs a collimator", key="collimator_lens", expected='collimator = "600 mm"'
            )
        if self.camera_m is not None and abs(self.defocus_m) >= self.camera_m:
            raise validation_error(
                "reaches the camera lens", key="defocus", expected="less than the focal length"
            )
        return self

    @model_validator(mode="after")
    def _angles(self) -> Self:
        pair = {"included_angle": self.included_angle_rad, "turn": self.turn_rad}
        if self.centre is not None and self.turn_rad is None:
            return self  # the turn follows, once the rulings are known
        if both_or_none(pair, 'included_angle = "30 deg" together with turn = "12 deg"'):
            self._check_pair()
        return self

    def _check_pair(self) -> None:
        for field, value in (("incidence", self.incidence_rad), ("viewing", self.viewing_rad)):
            if value:
                raise validation_error(
                    "cannot be combined with included_angle and turn",
                    key=field,
                    expected="incidence and viewing, or included_angle and turn",
                )
        for name, angle in (("incidence", self.alpha_rad), ("viewing", self.camera_axis_rad)):
            if abs(angle) >= GRAZING_RAD:
                raise validation_error(
                    f"puts the angle of {name} at 90 degrees or beyond",
                    key="turn",
                    expected="a smaller turn or included_angle",
                )
