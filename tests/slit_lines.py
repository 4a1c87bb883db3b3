"""The line of a source slit of any shape: a laser, a grating and lenses of equal focal length."""

from __future__ import annotations

import math

from tests import bench
from wavesim.scene import Scene

GREEN_M = 546.0735e-9


def slit_line(slit: str, alpha: float, *, more: str = "", tables: str = "") -> Scene:
    """600/mm, first order of the laser in the plate's middle; a slit 4 mm high with those keys.

    `alpha` is the incidence [deg]; `more` keys go to the bench, `tables` to the aperture.
    """
    beta = math.degrees(math.asin(GREEN_M * 600e3 - math.sin(math.radians(alpha))))
    return bench.scene(
        source=f'kind = "laser"\nwavelength = "546.0735 nm"\nslit = {{ {slit}, height = "4 mm" }}',
        bench='collimator = "600 mm"\ncamera = "600 mm"\n'
        f'incidence = "{alpha} deg"\nviewing = "{beta!r} deg"\n{more}',
        aperture='kind = "grating"\ndensity = "600 / mm"\ncount = 6000\nheight = "20 mm"\n'
        f'groove = {{ profile = "slit" }}\n{tables}',
        plate='width = "1.5 mm"\nheight = "5 mm"\npixel = "10 um"',
    )
