"""The plate and its exposure."""

from typing import TYPE_CHECKING, Annotated, Literal, Self

from pydantic import BeforeValidator, Field, GetJsonSchemaHandler, model_validator
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from wavesim.errors import InputError
from wavesim.scene.base import Model
from wavesim.scene.quantities import Length, Offset, Plain, Time, show, validation_error
from wavesim.scene.recording import FilmSensitivity, SensorCurves
from wavesim.scene.rules import SLACK, fitting, size_error

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

MOST_PIXELS_X = 1_000_000
MOST_PIXELS = 2**31


class PlateFormat(Model):
    """A rectangle of square pixels in the focal plane of the camera."""

    width_m: Length = Field(description="width, across the slits", examples=["60 mm"])
    height_m: Length = Field(description="height, along the slits", examples=["8 mm"])
    pixel_m: Length = Field(description="side of a pixel", examples=["10 um"])
    centre_m: Offset = Field(
        0.0, description="x of the plate's centre, from the camera's axis", examples=["5 mm"]
    )

    @property
    def pixels_x(self) -> int:
        """Whole pixels that fit across the width."""
        return fitting(self.width_m, self.pixel_m)

    @property
    def pixels_y(self) -> int:
        """Whole pixels that fit into the height."""
        return fitting(self.height_m, self.pixel_m)

    @property
    def pixel_height_m(self) -> float:
        """Height of a pixel [m]: its side."""
        return self.pixel_m

    @property
    def pixel_area_m2(self) -> float:
        """Area of a pixel [m2]."""
        return self.pixel_m * self.pixel_height_m

    @property
    def x_range_m(self) -> tuple[float, float]:
        """x of the outer pixels' outer edges [m] from the camera's axis."""
        half = self.pixels_x * self.pixel_m / 2
        return self.centre_m - half, self.centre_m + half

    def x_edges_m(self) -> "NDArray[np.float64]":
        """Pixel edges (pixels_x + 1,) [m] from the camera's axis, rising."""
        return _edges(self.pixels_x, self.pixel_m) + self.centre_m

    def y_edges_m(self) -> "NDArray[np.float64]":
        """Pixel edges (pixels_y + 1,) [m] from the plate's middle, rising."""
        return _edges(self.pixels_y, self.pixel_height_m)

    def x_m(self) -> "NDArray[np.float64]":
        """Pixel middles (pixels_x,) [m] from the camera's axis, rising."""
        return _middles(self.pixels_x, self.pixel_m) + self.centre_m

    def y_m(self) -> "NDArray[np.float64]":
        """Pixel middles (pixels_y,) [m] from the plate's middle, rising."""
        return _middles(self.pixels_y, self.pixel_height_m)

    def coarser(self, columns: int, rows: int) -> "PlateFormat":
        """The same area in at most `columns` x `rows` pixels, not square in general.

        Raises
        ------
        InputError
            Fewer than one column or row.
        """
        for name, count in (("columns", columns), ("rows", rows)):
            if count < 1:
                raise InputError(
                    "is not a number of pixels", key=name, value=count, expected="1 or more"
                )
        nx, ny = min(columns, self.pixels_x), min(rows, self.pixels_y)
        if (nx, ny) == (self.pixels_x, self.pixels_y):
            return self
        return CoarsePlate(
            width_m=self.pixels_x * self.pixel_m,
            height_m=self.pixels_y * self.pixel_height_m,
            pixel_m=self.pixels_x * self.pixel_m / nx,
            centre_m=self.centre_m,
            columns=nx,
            rows=ny,
        )

    def middle_row(self) -> "PlateFormat":
        """A plate of one row, as high as a pixel, along the middle of this one."""
        return self.model_copy(update={"height_m": self.pixel_height_m})

    @model_validator(mode="after")
    def _size(self) -> Self:
        for key, side in (("width", self.width_m), ("height", self.height_m)):
            if side < self.pixel_m * (1 - SLACK):
                problem, expected = "is less than one pixel of", "at least one pixel"
                raise size_error(key, side, problem, self.pixel_m, expected)
        self._check_count()
        return self

    def _check_count(self) -> None:
        for key, count in (("width", self.pixels_x), ("height", self.pixels_y)):
            if count > MOST_PIXELS_X:
                raise validation_error(
                    f"holds {count:,} pixels of {show(self.pixel_m, 'length')}",
                    key=key,
                    expected=f"at most {MOST_PIXELS_X:,}: a larger pixel or a smaller plate",
                )
        total = self.pixels_x * self.pixels_y
        if total > MOST_PIXELS:
            raise validation_error(
                f"makes {self.pixels_x:,} x {self.pixels_y:,} = {total:,} pixels",
                key="pixel",
                expected=f"at most {MOST_PIXELS:,}: a larger pixel or a smaller plate",
            )


class CoarsePlate(PlateFormat):
    """A plate in pixels that are not square: what a preview shows. No key of a scene file."""

    columns: int = Field(ge=1, description="pixels across the width")
    rows: int = Field(ge=1, description="pixels into the height")

    @property
    def pixels_x(self) -> int:
        """Pixels across the width."""
        return self.columns

    @property
    def pixels_y(self) -> int:
        """Pixels into the height."""
        return self.rows

    @property
    def pixel_height_m(self) -> float:
        """Height of a pixel [m]."""
        return self.height_m / self.rows

    def middle_row(self) -> PlateFormat:
        """A plate of one row, as high as a pixel, along the middle of this one."""
        return super().middle_row().model_copy(update={"rows": 1})

    @model_validator(mode="after")
    def _size(self) -> Self:
        return self


def _edges(count: int, pixel: float) -> "NDArray[np.float64]":
    import numpy as np

    return (np.arange(count + 1, dtype=np.float64) - count / 2) * pixel


def _middles(count: int, pixel: float) -> "NDArray[np.float64]":
    import numpy as np

    return (np.arange(count, dtype=np.float64) - (count - 1) / 2) * pixel


class _AutoTime:
    """ "auto" is None: the brightest pixel decides."""

    @staticmethod
    def read(value: object) -> object:
        return None if value == "auto" else value

    def __get_pydantic_json_schema__(
        self, schema: CoreSchema, handler: GetJsonSchemaHandler
    ) -> JsonSchemaValue:
        return {"anyOf": [{"const": "auto"}, handler(schema)], "default": "auto"}


class Exposure(Model):
    """How long the plate is exposed and how it is shown."""

    time_s: Annotated[Time | None, BeforeValidator(_AutoTime.read), _AutoTime()] = Field(
        None,
        description='exposure time; "auto" puts the brightest pixel at white',
        examples=["1/30 s", "auto"],
    )
    over: Annotated[float, Plain(-30.0, 30.0)] = Field(
        0.0, description="stops beyond the automatic exposure", examples=[1.5]
    )
    speed: Annotated[float, Plain(1e-3, 1e7)] = Field(
        100.0,
        description="ISO arithmetic speed; white is an exposure of 78/speed lx s",
        examples=[100],
    )
    balance: Literal["source", "none"] = Field(
        "source", description="white balance to the source's white, or none"
    )

    observer: Literal["cie1931_2deg", "cie1964_10deg", "cie2015_2deg", "cie2015_10deg"] = Field(
        "cie1931_2deg",
        description="CIE observer of the picture; values in lux remain those of CIE 1931",
    )
    sensor: SensorCurves | None = Field(
        None, description="digital sensor instead of the observer", examples=[{}]
    )
    film: FilmSensitivity | None = Field(
        None,
        description="black-and-white film instead of the observer",
        examples=[{"sensitivity": "orthochromatic"}],
    )

    @property
    def white_exposure_lx_s(self) -> float:
        """Exposure that is shown white [lx s], 78/speed (ISO 12232, saturation)."""
        from wavesim.constants import SATURATION_EXPOSURE_LX_S

        return SATURATION_EXPOSURE_LX_S / self.speed

    @model_validator(mode="after")
    def _over_what(self) -> Self:
        if self.time_s is not None and self.over != 0:
            raise validation_error(
                "is relative to the automatic exposure, but a time is given",
                key="over",
                expected='over with time = "auto", or a time alone',
            )
        others = [self.sensor is not None, self.film is not None]
        if sum(others) + (self.observer != "cie1931_2deg") > 1:
            raise validation_error(
                "cannot be combined with another recorder of the light",
                key=next(k for k, given in zip(("sensor", "film"), others, strict=True) if given),
                expected="one of observer, sensor and film",
            )
        return self
