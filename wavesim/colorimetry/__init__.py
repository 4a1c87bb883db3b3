"""CIE XYZ -> picture: white balance, tone, gamut; colours in words; PNG and TIFF."""

from wavesim.colorimetry.difference import ciede2000
from wavesim.colorimetry.observers import OBSERVERS, observer
from wavesim.colorimetry.pictures import save_png, save_tiff
from wavesim.colorimetry.rendering import Rendering, linear_rgb, picture
from wavesim.colorimetry.tone import Film, Linear, Logarithmic, Tone
from wavesim.colorimetry.whiteness import balance_degree, cct, planckian_xy

__all__ = [
    "OBSERVERS",
    "Film",
    "Linear",
    "Logarithmic",
    "Rendering",
    "Tone",
    "balance_degree",
    "cct",
    "ciede2000",
    "linear_rgb",
    "observer",
    "picture",
    "planckian_xy",
    "save_png",
    "save_tiff",
]
