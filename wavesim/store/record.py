"""What a plate file holds as JSON beside the arrays and the scene: the report and the levels.

A float is written with the digits that read back to the same bits, NaN and the infinities by name.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated

import numpy as np
from numpy.typing import NDArray
from pydantic import BaseModel, ConfigDict, Field

from wavesim.plate.result import Report

if TYPE_CHECKING:
    from wavesim.plate import Plate

Level = Annotated[float, Field(gt=0, allow_inf_nan=False)]


class PlateRecord(BaseModel):
    """Everything of a plate that is neither an array over it nor the scene; as in `Plate`.

    `PlateRecord.model_validate_json(text)` raises pydantic's ValidationError, a ValueError, where
    the text is not JSON, or an entry is missing, unknown or of another type.
    """

    model_config = ConfigDict(
        frozen=True, strict=True, extra="forbid", ser_json_inf_nan="constants"
    )

    report: Report
    exposure_s: Level
    white_exposure_lx_s: Level
    white_xyz: tuple[Level, Level, Level]
    recorded_white_xyz: tuple[Level, Level, Level] | None = None

    @classmethod
    def of(cls, plate: Plate) -> PlateRecord:
        """The record of `plate`."""
        own = plate.recorded_white_xyz
        return cls(
            report=plate.report,
            exposure_s=float(plate.exposure_s),
            white_exposure_lx_s=float(plate.white_exposure_lx_s),
            white_xyz=_three(plate.white_xyz),
            recorded_white_xyz=None if own is None else _three(own),
        )


def _three(values: NDArray[np.float64]) -> tuple[float, float, float]:
    x, y, z = (float(value) for value in values)
    return x, y, z
