"""Which way to the light of the columns is taken: the one that costs least."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from wavesim.arrays import Floats
from wavesim.diffraction.far import RunningIntegral
from wavesim.plate.bins import Bins
from wavesim.plate.convolution import convolved, few_wavelengths
from wavesim.plate.costs import Cut, Smoothing, convolved_ns, few_ns, octaves, pairs_ns
from wavesim.plate.geometry import Geometry
from wavesim.plate.pairwise import sweep_pairs

Way = Callable[[RunningIntegral, Geometry, Bins, slice, Floats], None]


def runs(geometry: Geometry, bins: Bins, width_m: float, first: int) -> list[tuple[slice, Way]]:
    """Stretches of columns from `first` on, and the way to the light of each.

    Parameters
    ----------
    width_m : [m] of the aperture
    """
    every = slice(first, geometry.sine_edges.size - 1)
    if bins.smoothing is Smoothing.BIN:
        return [(every, sweep_pairs)]
    cut = bins.cut(width_m)
    found: list[tuple[slice, Way]] = []
    for columns, apart in octaves(geometry, cut, every):
        way = _cheapest(geometry, cut, columns, apart=apart)
        if found and way is sweep_pairs and found[-1][1] is sweep_pairs:
            found[-1] = (slice(found[-1][0].start, columns.stop), way)
        else:
            found.append((columns, way))
    return found


def reads_twice(ways: list[tuple[slice, Way]], bins: Bins) -> bool:
    """Whether some of these ways read the second integral of |A|^2, too."""
    boxes = bins.smoothing in (Smoothing.SLIT, Smoothing.BIN)
    return boxes and any(getattr(way, "func", way) is not convolved for _, way in ways)


def _cheapest(geometry: Geometry, cut: Cut, columns: slice, *, apart: bool) -> Way:
    few: Way = partial(few_wavelengths, cut.width_m)
    ways: list[tuple[float, Way]] = [
        (pairs_ns(cut, columns), sweep_pairs),
        (few_ns(geometry, cut, columns), few),
    ]
    if apart:
        far: Way = partial(convolved, cut.width_m)
        ways.append((convolved_ns(geometry, cut, columns), far))
    return min(ways, key=lambda way: way[0])[1]
