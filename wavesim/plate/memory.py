"""How much memory a plate needs, asked before any of it is taken."""

from __future__ import annotations

import os

from wavesim.aperture.combs import Aperture
from wavesim.diffraction.far import table_bytes
from wavesim.errors import LimitError
from wavesim.plate.bins import Bins
from wavesim.plate.geometry import Geometry

_SHARE = 0.8  # of the memory that is free
_PIXEL = 12 * 8  # bytes of a pixel at the peak: light, its mirror image, exposed plate


def check(aperture: Aperture, reach_per_m: tuple[float, float], bins: Bins, place: Geometry) -> int:
    """Bytes that the plate will need at its peak; `reach_per_m` are its smallest and largest u.

    Raises
    ------
    LimitError
        More than the machine has free; nothing has been allocated then.
    """
    columns, nodes = place.sine_edges.size - 1, bins.node_m.size
    table = table_bytes(aperture, *reach_per_m)
    # arrays of columns x nodes at a time: light, spectra; terms and envelopes of grooves
    spectra = 3 if aperture.of_u_alone else 4 + len(aperture.combs)
    sweep = 8 * (spectra * nodes * columns + 24 * bins.power.size) + 64 * aperture.elements
    plate = _PIXEL * columns * (place.y_edges_m.size - 1)
    need = table + sweep + plate
    require_memory(
        need,
        parts=f" (far field {table / 1e9:.2g} GB, columns {sweep / 1e9:.2g} GB, "
        f"pixels {plate / 1e9:.2g} GB)",
        expected="fewer rulings, a smaller plate, larger pixels or a narrower band",
    )
    return need


def require_memory(
    need: float,
    *,
    expected: str,
    share: float = _SHARE,
    what: str = "",
    parts: str = "",
    key: str = "plate",
) -> None:
    """Refuse work that needs more bytes than that share of the memory that is free.

    Parameters
    ----------
    what, parts : words after "memory" and after "free" in the message
    key, expected : of the error

    Raises
    ------
    LimitError
        It does.
    """
    free = available_bytes()
    if free is not None and need > share * free:
        raise LimitError(
            f"would need about {need / 1e9:.3g} GB of memory{what} and {free / 1e9:.3g} GB are "
            f"free{parts}",
            key=key,
            expected=expected,
        )


def available_bytes() -> int | None:
    """Free memory [bytes], or None where the system does not tell."""
    try:
        with open("/proc/meminfo", encoding="ascii") as lines:  # noqa: PTH123
            for line in lines:
                if line.startswith("MemAvailable:"):
                    return int(line.split()[1]) * 1024
    except OSError:
        pass
    try:
        return os.sysconf("SC_PAGE_SIZE") * os.sysconf("SC_AVPHYS_PAGES")
    except (AttributeError, ValueError, OSError):
        return None
