"""How much memory and time a plate needs, asked before any of it is taken."""

from __future__ import annotations

from wavesim.aperture.combs import Aperture
from wavesim.diffraction.far import table_bytes
from wavesim.memory import available_bytes as available_bytes
from wavesim.memory import require_memory as require_memory
from wavesim.plate.bins import Bins
from wavesim.plate.costs import grid_points, least_ns, octaves
from wavesim.plate.duration import require_time
from wavesim.plate.geometry import Geometry

_GRID = 48  # bytes of a point of the grid of ln u: value, transforms of stretches that overlap
_TABLE_NS = 2.0  # of a byte of the far field and of each table that is made of it
_CACHED, _UNCACHED = 2e8, 4.0  # bytes of a table; times that a reading takes longer beyond
_ENVELOPE_NS = 15.0  # of a column at a node, for each term
_PIXEL_NS, _BOWED_NS = 150.0, 300.0  # of a pixel, of one whose line is bowed: composed, developed
_ELEMENT_NS = 500.0
_PIXEL = 12 * 8  # bytes of a pixel at the peak: light, its mirror image, exposed plate


def check(
    aperture: Aperture, reach_per_m: tuple[float, float], bins: Bins, geometry: Geometry
) -> int:
    """Bytes that the plate will need at its peak; `reach_per_m` are its smallest and largest u.

    Raises
    ------
    LimitError
        More than the machine has free; nothing has been allocated then.
    """
    columns, nodes = geometry.sine_edges.size - 1, bins.node_m.size
    table = table_bytes(aperture, *reach_per_m)
    # arrays of columns x nodes at a time: light, spectra; terms and envelopes of grooves
    spectra = 3 if aperture.of_u_alone else 4 + len(aperture.combs)
    sweep = 8 * (spectra * nodes * columns + 24 * bins.power.size) + 64 * aperture.elements
    cut, every = bins.cut(aperture.width_m), slice(0, columns)
    grids = (
        grid_points(geometry, cut, part) for part, apart in octaves(geometry, cut, every) if apart
    )
    sweep += int(_GRID * max(grids, default=0.0))
    plate = _PIXEL * columns * (geometry.y_edges_m.size - 1)
    need = table + sweep + plate
    require_memory(
        need,
        parts=f" (far field {table / 1e9:.2g} GB, columns {sweep / 1e9:.2g} GB, "
        f"pixels {plate / 1e9:.2g} GB)",
        expected="fewer rulings, a smaller plate, larger pixels or a narrower band",
    )
    return need


def check_time(
    aperture: Aperture, reach_per_m: tuple[float, float], bins: Bins, geometry: Geometry
) -> float:
    """Seconds of one core that the plate will take.

    Of seven random scenes the estimate was 0.7 to 3.5 times the time used; where a grating needs
    thousands of wavelength nodes it is up to 20 times too low.

    Raises
    ------
    LimitError
        Too many; nothing has been computed then.
    """
    columns, rows, nodes = geometry.sine_edges.size - 1, geometry.y_m.size, bins.node_m.size
    terms = 1 if aperture.of_u_alone else 2 + len(aperture.combs)
    table = float(table_bytes(aperture, *reach_per_m))
    reading = least_ns(geometry, bins.cut(aperture.width_m))
    if table > _CACHED:
        reading *= _UNCACHED
    nanoseconds = (
        terms * (_TABLE_NS * table + reading + _ENVELOPE_NS * columns * nodes)
        + (_BOWED_NS if geometry.margin else _PIXEL_NS) * columns * rows
        + _ELEMENT_NS * aperture.elements
    )
    require_time(
        1e-9 * nanoseconds,
        what="for these rulings",
        expected="fewer rulings, a smaller plate, larger pixels or a narrower band",
    )
    return 1e-9 * nanoseconds
