"""How well a plate of rulings is known: parts of it computed again, more finely.

A few stretches of columns (the brightest, the steepest, the most curved, and some spread over the
plate) are computed once more with bins cut in two, columns and source slit of phase gratings cut in
two, and, where lines are bowed, at the directions that pixels of some rows truly see. What they
miss the plate by, with a margin for the columns that were not looked at, is the error that the
plate states.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from wavesim.aperture import Aperture
from wavesim.arrays import Floats
from wavesim.constants import VISIBLE_LO_M
from wavesim.diffraction.far import FarField
from wavesim.errors import LimitError
from wavesim.light.air import STANDARD, AirLike, relative_to_standard
from wavesim.plate.bins import Bins
from wavesim.plate.geometry import Geometry, cut_evenly
from wavesim.plate.photometry import sensitivities
from wavesim.plate.rows import Rows, bent_columns, in_pixels
from wavesim.plate.spreading import spread
from wavesim.plate.sweep import Columns, sweep_some

if TYPE_CHECKING:
    from wavesim.light import Spectrum

_WIDE = 3  # columns of a stretch
_FINER = 2  # parts of a column where grooves change the phase (else pixels are exact)
_NARROW = 5e-5  # of an order: a source slit across which a groove's factor changes by as little
_MARGIN = 3.0  # over what was found
LEAST_ERROR = 6e-5  # measured: 300 random plates against quadrature (tests/test_plate_accuracy.py)
_COARSE = 0.1  # of the error allowed where bins are wider than the rulings resolve
_LIT = 0.05  # of the brightest row's light: rows that are looked at where lines are bowed
_ROWS = 9  # of them that are compared
_LOOKED_AT = 2  # of those, besides the outermost
_LEANING = 2.5  # over the estimate; measured: 1.8 (tests/test_slit_turned.py's quadrature)
_MOST_LEANING = 0.1  # error above which a turned slit is refused
_LEFT = 1e-4  # of the brightest pixel: light of wavelengths that are not looked at in a stretch
_WRONG = 0.1  # of that light: how far off it is taken to be
_WIDEST = 1.5  # of the widest pixel: edges farther apart are not those of one
_FEW = 10_000  # bins that are all looked at
_BESIDE = 24  # bins beside those looked at, whose light is shared between twelve
_BOW_SEEN = 1e-6  # [pixel] a smaller bow is none


def measured_error(
    columns: Columns,
    field: FarField,
    geometry: Geometry,
    bins: Bins,
    ruled: Aperture,
    row_weights: Rows,
    spectrum: Spectrum,
    air: AirLike = STANDARD,
) -> float:
    """Error of a pixel's light by bins, wide pixels and bowed lines, of the brightest pixel.

    Cost: at most 8 stretches of 3 columns, up to four times that where lines are bowed, with twice
    the bins about the wavelengths that matter there (`_matter`).
    """
    sight = sensitivities(columns.node_m)
    total = columns.light @ sight
    pixels = in_pixels(total, geometry)
    brightest = pixels.max(axis=0)
    brightest[:3] = brightest[:3].max()
    brightest[brightest <= 0] = np.inf
    looks: list[_Look] = []
    for part in _stretches(pixels[:, 3], -(-columns.first // geometry.fine)):
        begin, end = part.start * geometry.fine, part.stop * geometry.fine
        near = slice(max(begin - geometry.margin, 0), end + geometry.margin)
        nodes, left = _matter(columns.light[near], sight / brightest, bins.power.size)
        known = [look.finer for look in looks if np.array_equal(look.nodes, nodes)]
        finer = known[0] if known else halved(part_of(bins, nodes), spectrum, air)
        some = total if nodes.all() else columns.light[:, nodes] @ sight[nodes]
        probes = tuple(_probes(geometry, some, row_weights, part))
        looks.append(_Look(nodes, _WRONG * left, probes, finer))
    parts = 1 if ruled.of_u_alone else _FINER * geometry.fine
    light = _looked_at(looks, field, geometry, ruled, parts)
    worst = max(
        _missed(look, fine, parts, sight, brightest)
        for look, fine in zip(looks, light, strict=True)
    )
    return max(LEAST_ERROR, _COARSE * bins.error, _MARGIN * worst) + row_weights.error


@dataclass(frozen=True, eq=False)
class _Probe:
    """Neighbouring pixels of a row: edges as sines, X, Y, Z and irradiance of the wavelengths
    looked at, and how bright the row is beside the brightest."""

    sines: Floats
    plain: Floats
    fraction: float


@dataclass(frozen=True, eq=False)
class _Look:
    """Some columns, computed again at the wavelength nodes that matter there.

    Attributes
    ----------
    nodes : (k,) which ones
    wrong : by how much the light of the others may be, of the brightest pixel
    finer : bins about them, cut in two
    """

    nodes: npt.NDArray[np.bool_]
    wrong: float
    probes: tuple[_Probe, ...]
    finer: Bins


def _matter(light: Floats, weight: Floats, bins: int) -> tuple[npt.NDArray[np.bool_], float]:
    """Nodes (k,) of all but `_LEFT` of the light of some columns (n, k), and what is left out."""
    if bins <= _FEW:
        return np.ones(light.shape[1], dtype=bool), 0.0
    each = (np.abs(light).max(axis=0)[:, None] * weight).max(axis=1)
    order = np.argsort(each)
    running = np.cumsum(each[order])
    few = min(int(np.searchsorted(running, _LEFT)), each.size - 1)
    nodes = np.ones(each.size, dtype=bool)
    nodes[order[:few]] = False
    return nodes, float(running[few - 1]) if few else 0.0


def part_of(bins: Bins, nodes: npt.NDArray[np.bool_]) -> Bins:
    """The bins that give light to some nodes (k,), and some on either side."""
    wanted = np.zeros(bins.power.size, dtype=bool)
    for k in np.flatnonzero(nodes).tolist():
        begin, end = bins.first[max(k - 1, 0)], bins.first[min(k + 1, nodes.size - 1)]
        wanted[max(begin - _BESIDE, 0) : end + _BESIDE] = True
    count = np.append(0, np.cumsum(wanted))
    lo, hi, wavelength, power = (
        array[wanted] for array in (bins.lo_m, bins.hi_m, bins.wavelength_m, bins.power)
    )
    air_ratio = np.broadcast_to(bins.air_ratio, wanted.shape)[wanted]
    return replace(
        bins, lo_m=lo, hi_m=hi, wavelength_m=wavelength, power=power, first=count[bins.first],
        air_ratio=air_ratio,
    )  # fmt: skip


def _looked_at(
    looks: list[_Look], field: FarField, geometry: Geometry, ruled: Aperture, parts: int
) -> list[Floats]:
    """Light (pixels x parts and one between probes, k) of each look's probes, in their order."""
    edges = [
        np.concatenate([cut_evenly(probe.sines, parts) for probe in look.probes]) for look in looks
    ]
    same = [[i for i, b in enumerate(looks) if b.finer is a.finer] for a in looks]
    groups = [g for i, g in enumerate(same) if g[0] == i]
    halves = _slit_halves(geometry, ruled)
    geometries = [
        replace(half, sine_edges=np.concatenate([edges[i] for i in g]), margin=0, fine=1)
        for half in halves
        for g in groups
    ]
    bins = [looks[g[0]].finer for g in groups] * len(halves)
    widest = _WIDEST * float(np.diff(geometry.sine_edges).max()) * geometry.fine
    light = sweep_some(field, geometries, bins, ruled, widest)
    found: dict[int, Floats] = {}
    for k, group in enumerate(groups):
        some = sum(light[k + len(groups) :: len(groups)], start=light[k])
        ends = np.cumsum([edges[i].size for i in group])[:-1]
        found.update(zip(group, np.split(some, ends), strict=True))
    return [found[i] for i in range(len(looks))]


def _slit_halves(geometry: Geometry, ruled: Aperture) -> list[Geometry]:
    """Both halves of a source slit, each met at its own angle, where a groove's factor would tell;
    else the whole slit. Their light adds up."""
    if ruled.of_u_alone or geometry.slit_sines is None:
        return [geometry]
    lo, hi = geometry.slit_sines
    if (hi - lo) * ruled.pitch_m / VISIBLE_LO_M < _NARROW:
        return [geometry]
    middle, quarter = (lo + hi) / 2, (hi - lo) / 4
    return [
        replace(
            geometry,
            sine_in=geometry.sine_in + middle + centre,
            slit_sines=(-quarter, quarter),
        )
        for centre in (-quarter, quarter)
    ]


def _missed(look: _Look, light: Floats, parts: int, sight: Floats, brightest: Floats) -> float:
    """Largest difference between probes and plate, of the brightest pixel."""
    exact = light[:, look.nodes] @ sight[look.nodes]
    worst, start = 0.0, 0
    for probe in look.probes:
        pixels = probe.plain.shape[0]
        fine = exact[start : start + parts * pixels].reshape(pixels, parts, 4).sum(axis=1)
        missed = float((np.abs(fine - probe.plain) / brightest).max()) + look.wrong
        worst = max(worst, probe.fraction * missed)
        start += parts * pixels + 1
    return worst


def leaning_error(columns: Columns, geometry: Geometry, height_m: float) -> float:
    """Error of a pixel's light, of the brightest pixel, where a slit is turned or a wedge.

    Each row is given the slit's point at -q, or its end. Rulings of height h take light from all
    points, as sinc^2 of h (q + q_s) / lambda; about the image's middle that is even, at its end the
    mean is off by lambda / h (ln(2 pi n) + gamma) / (2 pi^2), n the slit's height over lambda / h
    (its first moment on one side), and never by more than the slit's height. That costs the slope
    times the shift, or, where the jaws stand too near to each other to see, their distance. A row
    averages over its own height, too: r^2 / 24 times the second difference, r the lean over a
    pixel's height in pixels. Slope and curve are the steepest of the middle row.

    Raises
    ------
    LimitError
        More than 0.1: rulings too low to tell the slit's points apart.
    """
    lean, wedge = abs(geometry.slit_lean), abs(geometry.slit_wedge)
    if lean + wedge == 0 or geometry.slit_rise is None or geometry.slit_sines is None:
        return 0.0
    total = in_pixels(columns.light @ sensitivities(columns.node_m), geometry)
    total = total[:, 3] / max(float(total[:, 3].max()), 1e-300)
    slope, curve = (float(np.abs(np.diff(total, k)).max(initial=0.0)) for k in (1, 2))
    fringe = float(columns.node_m.max()) / height_m
    moment = math.log1p(4 * math.pi * geometry.slit_rise / fringe) + np.euler_gamma
    reach = min(fringe * moment / (2 * math.pi**2), 2 * geometry.slit_rise)
    shift = (lean + wedge) * reach / geometry.pixel_sine
    width = geometry.slit_sines[1] - geometry.slit_sines[0]
    tall = float(geometry.y_edges_m[1] - geometry.y_edges_m[0]) / geometry.focal_m
    lean_pixels = (lean + wedge) * tall / geometry.pixel_sine
    moved = max(slope * shift, 2 * wedge * reach / width)
    error = _LEANING * moved + _MARGIN * curve * lean_pixels**2 / 24
    if error > _MOST_LEANING:
        raise LimitError(
            f"makes rows uncertain by {min(error, 1.0):.2g} of the brightest pixel, because "
            f"rulings of {height_m * 1e3:.3g} mm spread the light along the slit",
            key="source.slit.turn" if lean > wedge else "source.slit.jaws",
            expected="a smaller angle, taller rulings or a wider slit",
        )  # fmt: skip
    return error


def halved(bins: Bins, spectrum: Spectrum, air: AirLike) -> Bins:
    """The same bins, each cut in two."""
    middle = (bins.lo_m + bins.hi_m) / 2
    lo = np.stack([bins.lo_m, middle], axis=1).ravel()
    hi = np.stack([middle, bins.hi_m], axis=1).ravel()
    power, centre = spread(spectrum, lo, hi) if bins.shared else spectrum.integrate(lo, hi)
    first = np.searchsorted(centre, bins.node_m).astype(np.int64)
    first[-1] = centre.size
    air_ratio = np.asarray(relative_to_standard(centre, air))
    return replace(
        bins, lo_m=lo, hi_m=hi, wavelength_m=centre, power=power, first=first, air_ratio=air_ratio
    )


def _stretches(light: Floats, first: int) -> list[slice]:
    """Columns to look at, never before `first`: where light, slope or curve is largest, and some
    spread evenly."""
    n = light.size
    wide = min(_WIDE, n - first)
    found = {int(np.argmax(light))}
    for order in (1, 2, 3):
        if n > order:
            bend = np.abs(np.diff(light, order))
            found |= {int(k) + order // 2 for k in np.argsort(bend)[-1:]}
    found |= {int(k) for k in np.linspace(first, n - 1, 4)}
    starts = sorted({min(max(k - wide // 2, first), n - wide) for k in found})
    return [slice(s, s + wide) for s in starts]


def _probes(geometry: Geometry, total: Floats, row_weights: Rows, part: slice) -> Iterator[_Probe]:
    """A stretch of the middle row, and of rows towards the plate's edge where lines are bowed."""
    edges = geometry.sine_edges[:: geometry.fine]
    yield _Probe(edges[part.start : part.stop + 1], in_pixels(total, geometry)[part], 1.0)
    bright = row_weights.weight.max(axis=(0, 1))
    if bright.size != geometry.half_rows or bright.max() <= 0:  # of a single row, which is straight
        return
    for row in _bowed_rows(geometry, bright / bright.max(), part):
        y = float(geometry.y_m[row])
        sines = _edges_at(geometry, y)
        inner = _within(part, geometry.margin // geometry.fine, sines.size - 1)
        if inner.stop > inner.start:
            bent = bent_columns(total, geometry, y)[inner]
            fraction = float(bright[row] / bright.max())
            yield _Probe(sines[inner.start : inner.stop + 1], bent, fraction)


def _edges_at(geometry: Geometry, y_m: float) -> Floats:
    """(nx + 1,) sin(beta) on the middle line that the edges of a row's pixels get light of."""
    return np.asarray(
        np.sin(np.arctan(geometry.straightened(y_m) / geometry.focal_m) + geometry.axis_rad)
    )


def _bowed_rows(geometry: Geometry, bright: Floats, part: slice) -> list[int]:
    """Rows, with the light `bright` (n,) of the brightest, in which a stretch is worth a look: the
    outermost illuminated, and those whose lines stand farthest from the middles of pixels."""
    illuminated = np.flatnonzero(bright > _LIT)
    column = min(
        max((part.start + part.stop) // 2 - geometry.margin // geometry.fine, 0), geometry.x_m.size
    )
    rows = sorted({int(k) for k in np.linspace(illuminated[0], bright.size - 1, _ROWS)})
    plain = geometry.pixel_edges[column]
    moved = [
        (_edges_at(geometry, float(geometry.y_m[k]))[column] - plain) / geometry.pixel_sine
        for k in rows
    ]
    if max(abs(m) for m in moved) < _BOW_SEEN:
        return []
    aside = [bright[k] * abs(m - round(m)) for k, m in zip(rows, moved, strict=True)]
    worst = sorted(range(len(rows)), key=aside.__getitem__)[-_LOOKED_AT:]
    return sorted({rows[0], *(rows[k] for k in worst)})


def _within(part: slice, margin: int, columns: int) -> slice:
    """The same columns counted without the plate's margin."""
    return slice(max(part.start - margin, 0), min(part.stop - margin, columns))
