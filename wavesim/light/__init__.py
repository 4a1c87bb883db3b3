"""Spectra: what the source sends through its filters, over air wavelength.

    found = of_scene(scene)
    power, centroid_m = found.integrate(edges[:-1], edges[1:])

`air` holds the refractive index and the only bridge between vacuum and air wavelengths;
`photometry` luminances and efficacies; `observer` the CIE's curves; `recorders` sensors and films.
"""

from wavesim.light.cautions import cautions
from wavesim.light.observer import cie1931, colour_matching
from wavesim.light.pieces import Spectrum
from wavesim.light.recorders import Recorder, recorder_of
from wavesim.light.sources import of_scene, spectrum, unfiltered

__all__ = [
    "Recorder",
    "Spectrum",
    "cautions",
    "cie1931",
    "colour_matching",
    "of_scene",
    "recorder_of",
    "spectrum",
    "unfiltered",
]
