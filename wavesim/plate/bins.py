"""Wavelength bins as fine as the instrument asks, with the spectrum integrated over each.

Light is collected at wavelength NODES (every nanometre where there is light): a bin at a
fraction t between two nodes gives 1 - t of its light to the lower and t to the upper one. Any
function of wavelength that is straight between nodes, the observer's curves above all, can
then be multiplied in after the pass, exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import Enum
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from wavesim.aperture.combs import Aperture
from wavesim.aperture.elements import Floats
from wavesim.constants import VISIBLE_LO_M
from wavesim.plate.geometry import Geometry

if TYPE_CHECKING:
    from wavesim.light import Spectrum

NODE_STEP_M = 1e-9
RIPPLE = 1e-3  # of a pixel's light: allowed where bins are coarser than the rulings resolve
_MARGIN = 2.0  # bins per lambda / (m N): the sum over bins is then free of aliases
_NARROW_SLIT = 1e-3  # of 1 / (aperture width): no wider than a point
_GAUSS_SLIT = 1.0  # of 1 / (aperture width): up to here a few points stand for the slit


class Smoothing(Enum):
    """What the running integral is averaged over at a pixel's edge."""

    POINT = "a point source"
    GAUSS = "a narrow source slit, by Gauss-Legendre points"
    SLIT = "the source slit"
    BIN = "the wavelength bin"


@dataclass(frozen=True, eq=False)
class Bins:
    """Wavelength bins and the light in each.

    Attributes
    ----------
    lo_m, hi_m : (b,) [m] edges
    wavelength_m : (b,) [m] centre of power
    power : (b,) [W m-2 sr-1] radiance or [W m-2] irradiance in the bin
    node_m : (k,) [m] nodes
    first : (k,) index of the first bin above each node; the last entry is b
    smoothing : how a pixel edge is averaged
    error : estimated relative error of a pixel in smooth light from the finite bins
    """

    lo_m: Floats
    hi_m: Floats
    wavelength_m: Floats
    power: Floats
    node_m: Floats
    first: npt.NDArray[np.int64]
    smoothing: Smoothing
    error: float


def choose(spectrum: Spectrum, place: Geometry, aperture: Aperture) -> Bins:
    """Bins for this light, plate and aperture.

    With W the aperture's width and S the largest |sin alpha + sin beta| on the plate, a bin of
    lambda^2 / (W S) = lambda / (m N) is one resolution element of the rulings: half of that
    and the sum over bins equals the integral (the sum's first alias lies above the
    highest frequency of the pattern). Where pixel a or slit w (as sines) blur more
    than that, coarser bins do: with a slit, points whose ripple
    b^2 / (pi^2 a w) stays below `RIPPLE`; without, boxes of half a pixel, averaged exactly.
    """
    width = aperture.width_m
    fine = 1.0 / (_MARGIN * width * max(place.widest_sine, 1e-12))
    smoothing, relative, error = _resolution(place, width, fine)
    nodes = _nodes(spectrum.support_m, _nodes_per_nm(aperture, place))
    lo, hi, first = _cut(spectrum.support_m, nodes, fine if relative is None else None, relative)
    power, centre = spectrum.integrate(lo, hi)
    return Bins(lo, hi, centre, power, nodes, first, smoothing, error)


def _resolution(
    place: Geometry, width_m: float, fine_per_m: float
) -> tuple[Smoothing, float | None, float]:
    """Smoothing, bin width relative to the wavelength (None: lambda^2 * fine) and error."""
    slit = place.slit_sines
    slit_width = 0.0 if slit is None else slit[1] - slit[0]
    across = slit_width * width_m / 550e-9  # slit in units of lambda / W
    sharp = Smoothing.POINT if across < _NARROW_SLIT else Smoothing.GAUSS
    if across > _GAUSS_SLIT:
        sharp = Smoothing.SLIT
    blurred, smoothing, error = _blurred(place, slit_width, sharp)
    if blurred < 2 * 550e-9 * fine_per_m:
        return sharp, None, 1e-9
    return smoothing, blurred, error


def _blurred(
    place: Geometry, slit_width: float, sharp: Smoothing
) -> tuple[float, Smoothing, float]:
    pixel = place.pixel_sine
    if sharp is Smoothing.SLIT:
        width = math.pi * math.sqrt(RIPPLE * pixel * slit_width)
        return width / place.widest_sine, Smoothing.SLIT, RIPPLE
    if sharp is Smoothing.POINT:
        return 0.5 * pixel / place.widest_sine, Smoothing.BIN, RIPPLE / 10
    return 0.0, sharp, 0.0


def _nodes_per_nm(aperture: Aperture, place: Geometry) -> int:
    """One, or as many as keep a phase element's envelope straight between nodes to 1e-6.

    Seen against wavelength an envelope sinc^2(m - m_b lambda_b / lambda) curves by
    (pi m / lambda)^2 / 1.5 at most, which straight lines over a step s miss by s^2 / 8 of it.
    """
    if aperture.of_u_alone:
        return 1
    return max(1, math.ceil(1.5 * place.widest_sine * aperture.pitch_m / VISIBLE_LO_M))


def _nodes(support_m: tuple[tuple[float, float], ...], per_nm: int) -> Floats:
    """Multiples of 1 nm / per_nm that enclose every interval of the support."""
    step = NODE_STEP_M / per_nm
    numbers: set[int] = set()
    for lo, hi in support_m:
        start, stop = math.floor(lo / step), math.ceil(hi / step)
        numbers.update(range(start, max(stop, start + 1) + 1))
    return np.array(sorted(numbers), dtype=np.float64) / per_nm * NODE_STEP_M


def _cut(
    support_m: tuple[tuple[float, float], ...],
    nodes: Floats,
    fine_per_m: float | None,
    relative: float | None,
) -> tuple[Floats, Floats, npt.NDArray[np.int64]]:
    """Lower and upper bin edges (b,), and the first bin above each node (k,)."""
    lows: list[Floats] = []
    highs: list[Floats] = []
    first = np.zeros(nodes.size, dtype=np.int64)
    for k in range(nodes.size - 1):
        for lo, hi in support_m:
            a, b = max(lo, nodes[k]), min(hi, nodes[k + 1])
            if b > a:
                width = a * a * fine_per_m if fine_per_m is not None else a * (relative or 1.0)
                edges = np.linspace(a, b, max(1, math.ceil((b - a) / width)) + 1)
                lows.append(edges[:-1])
                highs.append(edges[1:])
                first[k + 1] += edges.size - 1
    return np.concatenate(lows), np.concatenate(highs), np.cumsum(first)
