"""A plate with its axes and units named, for xarray."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from wavesim.extras import require
from wavesim.plate import Plate

if TYPE_CHECKING:
    from xarray import Dataset


def dataset(plate: Plate) -> Dataset:
    """The plate as a labelled dataset; see `ExposedPlate.to_xarray`."""
    require("to_xarray", "xarray", extra="studies")
    import xarray

    def variable(dimensions: tuple[str, ...], values: object, unit: str, name: str) -> object:
        return dimensions, np.asarray(values), {"units": unit, "long_name": name}

    variables = {
        "irradiance": variable(("y", "x"), plate.irradiance, "W m-2", "irradiance, 360 to 830 nm"),
        "exposure": variable(("y", "x", "component"), plate.xyz, "lx s", "CIE 1931 exposure"),
        "illuminance": variable(("y", "x"), plate.illuminance_lx, "lx", "illuminance"),
        "profile_irradiance": variable(
            ("x",), plate.profile_irradiance, "W m-2", "irradiance along the middle of the plate"
        ),
        "profile_spectrum": variable(
            ("wavelength", "x"), plate.profile_spectrum, "W m-2 nm-1",
            "spectral irradiance along the middle of the plate",
        ),
    }  # fmt: skip
    if plate.recorded is not None:
        text = "exposure as the scene's observer, sensor or film counts it"
        variables["recorded"] = variable(("y", "x", "component"), plate.recorded, "lx s", text)
    coordinates = {
        "x": variable(
            ("x",), plate.x_m, "m", "position across the rulings, from the camera's axis"
        ),
        "y": variable(("y",), plate.y_m, "m", "position along the rulings"),
        "wavelength": variable(
            ("wavelength",), plate.profile_wavelength_m, "m", "wavelength in air"
        ),
        "component": ("component", ["X", "Y", "Z"]),
    }
    attributes = {
        "title": plate.scene.title,
        "scene": plate.scene.text,
        "exposure_s": plate.exposure_s,
        "white_exposure_lx_s": plate.white_exposure_lx_s,
    }
    return xarray.Dataset(variables, coordinates, attributes)
