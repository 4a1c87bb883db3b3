"""Figures for page, slide and screen, in one house style.

    figure = plate_figure(plate, log=True)
    save(figure, "plate.pdf")

Each function returns a matplotlib Figure, which `save` writes as PNG, PDF or SVG. matplotlib is
imported here and nowhere else.
"""

from wavesim.figures.animation import animate
from wavesim.figures.chromaticity import chromaticity_path, spectrum_at_point
from wavesim.figures.failures import failure_figure
from wavesim.figures.marks import Mark, order_marks, order_positions
from wavesim.figures.plates import plate_figure
from wavesim.figures.profiles import line_profile_figure
from wavesim.figures.sheets import sheet
from wavesim.figures.style import A4, LETTER, PAGE, SLIDE, WEB, Labels, Size, save, size_for
from wavesim.figures.wavelengths import wavelength_position_map

__all__ = [
    "A4",
    "LETTER",
    "PAGE",
    "SLIDE",
    "WEB",
    "Labels",
    "Mark",
    "Size",
    "animate",
    "chromaticity_path",
    "failure_figure",
    "line_profile_figure",
    "order_marks",
    "order_positions",
    "plate_figure",
    "save",
    "sheet",
    "size_for",
    "spectrum_at_point",
    "wavelength_position_map",
]
