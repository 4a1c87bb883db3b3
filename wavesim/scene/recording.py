"""What records the light: a sensor's curves, a film's sensitivity."""

from typing import Literal, Self

from pydantic import Field, model_validator

from wavesim.scene.base import Model
from wavesim.scene.quantities import validation_error
from wavesim.scene.source import FileName


class SensorCurves(Model):
    """A digital sensor: three curves of response over wavelength, and its own colour matrix."""

    curves: Literal["gaussian", "table"] = Field(
        "gaussian",
        description="generic Gaussian curves at 600, 540 and 460 nm, or those of a table",
    )
    file: FileName | None = Field(
        None,
        description="CSV file, relative to the scene file: wavelength_nm,red,green,blue, "
        "response per watt",
        examples=["camera.csv"],
    )

    @model_validator(mode="after")
    def _table(self) -> Self:
        _need_file(self.curves == "table", self.file)
        return self


class FilmSensitivity(Model):
    """A black-and-white film: its sensitivity over wavelength; the picture is grey."""

    sensitivity: Literal["blue", "orthochromatic", "panchromatic", "table"] = Field(
        "panchromatic",
        description="generic emulsions without dyes (to 500 nm) or with dyes (to 580 or 670 nm), "
        "or a table",
    )
    file: FileName | None = Field(
        None,
        description="CSV file, relative to the scene file: wavelength_nm,sensitivity (per joule) "
        "or "
        "wavelength_nm,log_sensitivity",
        examples=["film.csv"],
    )

    @model_validator(mode="after")
    def _table(self) -> Self:
        _need_file(self.sensitivity == "table", self.file)
        return self


def _need_file(wanted: bool, file: str | None) -> None:
    if wanted and file is None:
        raise validation_error(
            "is missing", key="file", expected="the name of a CSV file of the table"
        )
    if file is not None and not wanted:
        raise validation_error(
            "belongs to a table", key="file", expected='"table" as the kind, or no file'
        )
