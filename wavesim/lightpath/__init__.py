"""The whole path of the light: once (`expose`), or scene after scene (`LightPath`)."""

from wavesim.lightpath.memory import LightPath, preview
from wavesim.lightpath.path import ExposedPlate, expose, exposed, open_plate

__all__ = ["ExposedPlate", "LightPath", "expose", "exposed", "open_plate", "preview"]
