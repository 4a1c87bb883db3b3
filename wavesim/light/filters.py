"""Filters in the beam.

bandpass    T / (1 + |2 (lambda - centre) / width|^6): the shape of an interference filter of three
            cavities, FWHM = width (at 10 % it is 1.44, at 1 % 2.15 widths wide); below 1e-5 (3.4
            widths from the middle) it is taken as blocked. Common practice, no source.
long-, shortpass   T / (1 + exp(-+ 2 ln 9 (lambda - edge) / width)): half at the edge, from 10 % to
            90 % over `width`; a step if the width is 0; blocked below 1e-6 (3.1 widths).
neutral     10^-density.
polariser   half of unpolarised light, cos^2 of the angle of polarised (Malus), at every wavelength.
table       straight lines between the measured points (in transmittance), nothing outside them.

The product with a spectrum is right to 1e-9 of its density (1e-5 for the Sun with lines, as the
Sun itself), and exact for straight pieces.
"""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np

from wavesim.arrays import Floats
from wavesim.errors import SceneError
from wavesim.light.pieces import Spectrum
from wavesim.light.tables import filter_table
from wavesim.scene import (
    BandpassFilter,
    Filter,
    LongpassFilter,
    NeutralFilter,
    PolariserFilter,
    ShortpassFilter,
)

_BAND_REACH = 1e5 ** (1.0 / 6.0) / 2.0  # widths from the middle to 1e-5
_EDGE_REACH = float(np.log(1e6) / (2.0 * np.log(9.0)))  # widths from the edge to 1e-6
_CROSSED = 1e-9  # less than a polariser's leak
_NARROWEST_M = 1e-13  # an edge or band narrower than this is drawn so wide


def passed(
    spectrum: Spectrum,
    filters: tuple[Filter, ...],
    folder: Path,
    polarisation_rad: float | None = None,
) -> Spectrum:
    """The spectrum behind all filters; polarisers take what their order lets them.

    Parameters
    ----------
    polarisation_rad : [rad] direction of the electric field before them; None: unpolarised

    Raises
    ------
    TableError
        A filter table is missing or malformed.
    SceneError
        Nothing passes.
    """
    for number, item in enumerate(filters):
        if isinstance(item, PolariserFilter):
            spectrum = spectrum.scaled(_malus(polarisation_rad, item.axis_rad or 0.0))
            polarisation_rad = item.axis_rad
        else:
            spectrum = _through(spectrum, item, folder)
        if spectrum.lo_m.size == 0:
            raise SceneError(
                "passes nothing of this source and the filters before it",
                key=f"source.filters[{number}]",
                value=item.kind,
                expected="filters whose bands overlap each other and the spectrum of the source",
            )
    return spectrum


def _through(spectrum: Spectrum, item: Filter, folder: Path) -> Spectrum:
    if isinstance(item, NeutralFilter):
        factor = item.transmittance if item.density is None else 10.0**-item.density
        return spectrum.scaled(1.0 if factor is None else factor)
    if isinstance(item, BandpassFilter):
        return _bandpass(spectrum, item)
    if isinstance(item, (LongpassFilter, ShortpassFilter)):
        return _edge(spectrum, item)
    if isinstance(item, PolariserFilter):
        raise TypeError("a polariser depends on what the light was before")
    table = filter_table(folder / item.file)
    return spectrum.times(
        lambda wavelength: np.interp(wavelength, table.wavelength_m, table.value),
        breaks_m=table.wavelength_m,
        range_m=(float(table.wavelength_m[0]), float(table.wavelength_m[-1])),
        fine_m=float(np.diff(table.wavelength_m).min()) / 1e2,
    )


def _malus(polarisation_rad: float | None, axis_rad: float) -> float:
    """Part that an ideal polariser passes (Malus; half of unpolarised light)."""
    if polarisation_rad is None:
        return 0.5
    passed = math.cos(axis_rad - polarisation_rad) ** 2
    if passed < _CROSSED:
        raise SceneError(
            "is crossed with the polarisation of the light and passes nothing",
            key="source.filters",
            value="polariser",
            expected="an axis less than 90 deg from the direction of the electric field",
        )
    return passed


def _bandpass(spectrum: Spectrum, item: BandpassFilter) -> Spectrum:
    width = max(item.width_m, _NARROWEST_M)

    def transmittance(wavelength: Floats) -> Floats:
        squared = np.square(2.0 * (wavelength - item.centre_m) / width)
        return np.asarray(item.transmittance / (1.0 + squared * squared * squared))

    ends = range_m(item)
    return spectrum.times(
        transmittance, breaks_m=np.linspace(*ends, 15), range_m=ends, fine_m=width / 1e3
    )


def _edge(spectrum: Spectrum, item: LongpassFilter | ShortpassFilter) -> Spectrum:
    sign = 1.0 if isinstance(item, LongpassFilter) else -1.0
    if item.width_m == 0.0:
        return spectrum.clipped(*range_m(item)).scaled(item.transmittance)
    rate = sign * 2.0 * np.log(9.0) / max(item.width_m, _NARROWEST_M)

    def transmittance(wavelength: Floats) -> Floats:
        exponent = np.clip(-rate * (wavelength - item.edge_m), -700.0, 700.0)
        return np.asarray(item.transmittance / (1.0 + np.exp(exponent)))

    breaks = item.edge_m + max(item.width_m, _NARROWEST_M) * np.linspace(-3.0, 3.0, 13)
    fine = item.width_m / 1e3
    return spectrum.times(transmittance, breaks_m=breaks, range_m=range_m(item), fine_m=fine)


def range_m(item: Filter) -> tuple[float, float]:
    """Wavelengths outside which the filter passes nothing [m]."""
    if isinstance(item, BandpassFilter):
        reach = max(item.width_m, _NARROWEST_M) * _BAND_REACH
        return item.centre_m - reach, item.centre_m + reach
    if isinstance(item, LongpassFilter):
        return item.edge_m - item.width_m * _EDGE_REACH, np.inf
    if isinstance(item, ShortpassFilter):
        return 0.0, item.edge_m + item.width_m * _EDGE_REACH
    return 0.0, np.inf
