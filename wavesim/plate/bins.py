"""Wavelength bins as fine as the instrument asks, with the spectrum integrated over each.

Light is collected at wavelength NODES (every nanometre where there is light): a bin at a
fraction t between two nodes gives 1 - t of its light to the lower and t to the upper one. Any
function of wavelength that is straight between nodes, the observer's curves above all, can
then be multiplied in after the pass, exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from wavesim.aperture.combs import Aperture
from wavesim.arrays import Floats
from wavesim.constants import VISIBLE_LO_M
from wavesim.diffraction.far.running import CELLS
from wavesim.errors import LimitError
from wavesim.light.air import STANDARD, AirLike, relative_to_standard
from wavesim.plate.costs import Cut, Smoothing, least_ns
from wavesim.plate.geometry import Geometry
from wavesim.plate.spreading import spread

if TYPE_CHECKING:
    from wavesim.light import Spectrum

NODE_STEP_M = 1e-9
WIDEST_M = 0.5e-9  # bin: the observer's curves bend from one nanometre to the next
RIPPLE = 1e-3  # of a pixel's light: allowed where bins are coarser than the rulings resolve
_RESOLVED_ERROR = 1e-5  # measured: a plate in bins of this rule against four times as many
_RAMP = 16  # bins at either end of the light that narrow to a tenth
_MOST_BINS = 20_000_000  # a metre of rulings in white light needs 3 million
_MARGIN = 2.0  # bins per lambda / (m N): the sum over bins is then free of aliases
_MARGIN_LINES = 3.0  # where the light has lines that a bin does not resolve (DEVELOPERS.md)
_RESOLVED_LINE = 20.0  # bins to a line's width that leave nothing to be shared out
_PER_OCTAVE = 4  # widths of apertures that previews tell apart
_SPARE = 5  # bins more of an interval that is not narrow against lambda / (m N)
_NARROW = 0.01  # of lambda / (m N)
_NARROW_SLIT = 1e-3  # of 1 / (aperture width): no wider than a point
_GAUSS_SLIT = 0.5  # of 1 / (aperture width): up to here four points stand for it to 1e-6


_SECOND_NS = 12.0  # of making a cell of the second integral


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
    shared : whether light is shared between the wavelengths about it (`spreading`)
    error : error of a pixel in smooth light allowed to the finite bins, of the brightest pixel
    air_ratio : (b,) wavelength in the air along the bench over that in standard air
    """

    lo_m: Floats
    hi_m: Floats
    wavelength_m: Floats
    power: Floats
    node_m: Floats
    first: npt.NDArray[np.int64]
    smoothing: Smoothing
    error: float
    air_ratio: Floats | float = 1.0
    shared: bool = False

    def cut(self, width_m: float) -> Cut:
        """In numbers, for an aperture of that width [m]."""
        ends = float(self.wavelength_m.min()), float(self.wavelength_m.max())
        return Cut(self.smoothing, self.power.size, self.node_m.size, *ends, width_m)


@dataclass(frozen=True)
class Structure:
    """What of an aperture the wavelengths depend on.

    Attributes
    ----------
    width_m : [m] of the aperture, or more
    phase_pitch_m : [m] pitch of grooves that change the phase; None of others
    """

    width_m: float
    phase_pitch_m: float | None

    @classmethod
    def of(cls, aperture: Aperture) -> Structure:
        """That of an aperture."""
        return cls(aperture.width_m, None if aperture.of_u_alone else aperture.pitch_m)

    @property
    def rounded(self) -> Structure:
        """The same with the width rounded up to a quarter of an octave: nearly equal apertures,
        as a slider makes them, then share their wavelengths."""
        steps = math.ceil(_PER_OCTAVE * math.log2(self.width_m) - 1e-9)
        return Structure(2.0 ** (steps / _PER_OCTAVE), self.phase_pitch_m)


def choose(
    spectrum: Spectrum, geometry: Geometry, aperture: Aperture, air: AirLike = STANDARD
) -> Bins:
    """Bins for this light, plate and aperture; see `choose_for`."""
    return choose_for(spectrum, geometry, Structure.of(aperture), air)


def choose_for(
    spectrum: Spectrum, geometry: Geometry, structure: Structure, air: AirLike = STANDARD
) -> Bins:
    """Bins for this light, plate and structure of an aperture.

    With W the aperture's width and S the largest |sin alpha + sin beta| on the plate, a bin of
    lambda^2 / (W S) = lambda / (m N) is one resolution element of the rulings: half of that
    and the sum over bins equals the integral to 1e-5 of the brightest pixel (the sum's first
    alias lies above the highest frequency of the pattern; measured against bins a quarter as
    wide, tests/test_plate.py). Where pixel a or slit w (as sines) blur more
    than that, coarser bins do: with a slit, points whose ripple
    b^2 / (pi^2 a w) stays below `RIPPLE`; without, boxes of half a pixel, averaged exactly.

    Raises
    ------
    LimitError
        More bins than could be computed.
    """
    rule = _cheapest(geometry, structure.width_m, spectrum)
    count = sum(rule.bins(lo, hi) for lo, hi in spectrum.support_m)
    if count > _MOST_BINS:
        raise LimitError(
            f"would need {count:.3g} wavelengths to resolve the pattern of "
            f"{structure.width_m:.3g} m of rulings",
            key="aperture",
            expected=f"at most {_MOST_BINS:.0e}: a narrower aperture, plate or band",
        )
    nodes = nodes_about(spectrum.support_m, _nodes_per_nm(structure, geometry))
    lo, hi = _cut(spectrum.support_m, rule)
    if not rule.shared:
        power, centre = spectrum.integrate(lo, hi)
    else:
        power, centre = spread(spectrum, lo, hi)
    first = np.searchsorted(centre, nodes).astype(np.int64)
    first[-1] = centre.size
    air_ratio = np.asarray(relative_to_standard(centre, air))
    return Bins(
        lo, hi, centre, power, nodes, first, rule.smoothing, rule.error, air_ratio, rule.shared
    )


@dataclass(frozen=True)
class _Rule:
    """Bins of width `scale` * wavelength^`power`, averaged in one way."""

    smoothing: Smoothing
    scale: float
    power: int
    error: float
    shared: bool = False  # light between the wavelengths about it, see `spreading`

    def bins(self, lo_m: float, hi_m: float) -> float:
        """Bins that an interval of the spectrum needs, none wider than `WIDEST_M`."""
        width = min(self.scale * float(hi_m**self.power), WIDEST_M)
        if self.power == 2:
            count = (1 / lo_m - 1 / hi_m) * hi_m**2 / width
            return count + _SPARE if self.shared and count > _NARROW else count
        return math.log(hi_m / lo_m) * hi_m / width

    def cut(self, support_m: tuple[tuple[float, float], ...], width_m: float) -> Cut:
        """What it makes of a spectrum, in numbers."""
        bins = sum(self.bins(lo, hi) + 1 for lo, hi in support_m)
        nodes = sum(int((hi - lo) / NODE_STEP_M) + 2 for lo, hi in support_m)
        ends = support_m[0][0], support_m[-1][1]
        return Cut(self.smoothing, bins, nodes, *ends, width_m)


def _rules(geometry: Geometry, width_m: float, features_m: float = math.inf) -> list[_Rule]:
    """Ways to cut the spectrum that all meet their stated error."""
    slit = geometry.slit_sines
    slit_width = 0.0 if slit is None else slit[1] - slit[0]
    across = slit_width * width_m / 550e-9  # slit in units of lambda / W
    sharp = Smoothing.POINT if across < _NARROW_SLIT else Smoothing.GAUSS
    if across > _GAUSS_SLIT:
        sharp = Smoothing.SLIT
    widest = max(geometry.widest_sine, 1e-12)
    coarse = 1.0 / (_MARGIN * width_m * widest)
    lines = features_m < _RESOLVED_LINE * min(coarse * 550e-9**2, WIDEST_M)
    margin = _MARGIN_LINES if lines and sharp is not Smoothing.SLIT else _MARGIN
    rules = [_Rule(sharp, 1.0 / (margin * width_m * widest), 2, _RESOLVED_ERROR, lines)]
    if sharp is Smoothing.SLIT:
        step = math.pi * math.sqrt(RIPPLE * geometry.pixel_sine * slit_width)
        rules.append(_Rule(sharp, step / widest, 1, RIPPLE))
    if sharp is Smoothing.POINT:
        rules.append(_Rule(Smoothing.BIN, 0.5 * geometry.pixel_sine / widest, 1, RIPPLE / 10))
    return rules


def _cheapest(geometry: Geometry, width_m: float, spectrum: Spectrum) -> _Rule:
    """The rule of least cost, that of a second table counted in."""
    support_m = spectrum.support_m
    shortest, longest = support_m[0][0], support_m[-1][1]
    lo, hi = geometry.reach
    span = max(hi / shortest, hi / longest) - min(lo / shortest, lo / longest)
    second = _SECOND_NS * CELLS * width_m * span

    def cost(rule: _Rule) -> float:
        boxes = rule.smoothing in (Smoothing.SLIT, Smoothing.BIN)
        return least_ns(geometry, rule.cut(support_m, width_m)) + (second if boxes else 0.0)

    return min(_rules(geometry, width_m, spectrum.features_m), key=cost)


def _nodes_per_nm(structure: Structure, geometry: Geometry) -> int:
    """One, or as many as keep a phase element's envelope straight between nodes to 5e-5.

    Seen against wavelength an envelope sinc^2(m - m_b lambda_b / lambda) curves by
    (pi m / lambda)^2 / 1.5 at most, which straight lines over a step s miss by s^2 / 8 of it.
    """
    pitch = structure.phase_pitch_m
    return (
        1 if pitch is None else max(1, math.ceil(0.2 * geometry.widest_sine * pitch / VISIBLE_LO_M))
    )


def nodes_about(support_m: tuple[tuple[float, float], ...], per_nm: int = 1) -> Floats:
    """(k,) [m] multiples of 1 nm / per_nm that enclose every interval of the support."""
    step = NODE_STEP_M / per_nm
    numbers: set[int] = set()
    for lo, hi in support_m:
        start, stop = math.floor(lo / step), math.ceil(hi / step)
        numbers.update(range(start, max(stop, start + 1) + 1))
    return np.array(sorted(numbers), dtype=np.float64) / per_nm * NODE_STEP_M


def bands_nm(node_m: Floats) -> Floats:
    """(k,) [nm] area of the triangle of wavelengths whose light each node collects.

    Nodes more than a nanometre apart have none of what lies between them.
    """
    edges = np.concatenate([node_m[:1], node_m, node_m[-1:]])
    gaps = np.minimum(np.diff(edges), 1.0001 * NODE_STEP_M)
    return np.asarray((gaps[:-1] + gaps[1:]) / 2 * 1e9)


def _cut(support_m: tuple[tuple[float, float], ...], rule: _Rule) -> tuple[Floats, Floats]:
    """Lower and upper bin edges (b,).

    Bins step evenly in 1/lambda (rulings) or ln lambda (pixel and slit) over each interval of the
    support, whatever the nodes: on an even comb the sum equals the integral for everything below
    the comb's own frequency, where bins of changing width would leave their square.
    """
    lows: list[Floats] = []
    highs: list[Floats] = []
    for lo, hi in support_m:
        t = comb(max(1, math.ceil(rule.bins(lo, hi))))
        inverse = 1 / lo + (1 / hi - 1 / lo) * t
        edges = 1 / inverse if rule.power == 2 else lo * (hi / lo) ** t
        edges[0], edges[-1] = lo, hi
        lows.append(edges[:-1])
        highs.append(edges[1:])
    return np.concatenate(lows), np.concatenate(highs)


def comb(count: int) -> Floats:
    """Edges from 0 to 1 of at least `count` bins, even but for both ends.

    Light cut off sharply would leave the square of a bin's width there; smoothly narrowing bins
    leave a hundredth of it.
    """
    if count < 4 * _RAMP:
        return np.linspace(0.0, 1.0, count + 1)
    t = (np.arange(_RAMP) + 0.5) / _RAMP
    rise = 0.1 + 0.9 * t**3 * (10 - 15 * t + 6 * t * t)
    width = np.concatenate([rise, np.ones(count - _RAMP), rise[::-1]])
    edges = np.concatenate([[0.0], np.cumsum(width)])
    return np.asarray(edges / edges[-1])
