"""CIE XYZ -> picture: white balance, tone, gamut; colours in words; PNG and TIFF."""

from wavesim.colorimetry.grain import Material, grain, halation, photon_noise, photons_at_white
from wavesim.colorimetry.naming import (
    colour_name,
    complementary_wavelength,
    dominant_wavelength,
    excitation_purity,
)
from wavesim.colorimetry.pictures import png_bytes, save_png, save_tiff
from wavesim.colorimetry.rendering import Rendering, linear_rgb, picture
from wavesim.colorimetry.spaces import xy_to_xyz, xyz_to_oklab, xyz_to_xy
from wavesim.colorimetry.tone import Film, Linear, Logarithmic, Tone
from wavesim.colorimetry.whiteness import balance_degree, cct, planckian_xy

__all__ = [
    "Film",
    "Linear",
    "Logarithmic",
    "Material",
    "Rendering",
    "Tone",
    "balance_degree",
    "cct",
    "colour_name",
    "complementary_wavelength",
    "dominant_wavelength",
    "excitation_purity",
    "grain",
    "halation",
    "linear_rgb",
    "photon_noise",
    "photons_at_white",
    "picture",
    "planckian_xy",
    "png_bytes",
    "save_png",
    "save_tiff",
    "xy_to_xyz",
    "xyz_to_oklab",
    "xyz_to_xy",
]
