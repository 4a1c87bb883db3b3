"""How much memory a plate needs, asked before any of it is taken."""

from __future__ import annotations

import os

from wavesim.aperture.combs import Aperture
from wavesim.errors import LimitError
from wavesim.farfield import table_bytes

_SHARE = 0.8  # of the memory that is free


def check(
    aperture: Aperture, reach_per_m: tuple[float, float], bins: int, pixels: tuple[int, int]
) -> int:
    """Bytes that the plate will need at its peak.

    Parameters
    ----------
    reach_per_m : smallest and largest u on the plate
    bins : wavelength bins
    pixels : columns and rows

    Raises
    ------
    LimitError
        More than the machine has free; nothing has been allocated then.
    """
    columns, rows = pixels
    table = table_bytes(aperture, *reach_per_m)
    sweep = 8 * (600 * columns + 24 * bins) + 64 * aperture.elements
    plate = columns * rows * (4 + 4 + 3 + 1) * 8
    need = table + sweep + plate
    free = available_bytes()
    if free is not None and need > _SHARE * free:
        raise LimitError(
            f"would need about {need / 1e9:.3g} GB of memory and {free / 1e9:.3g} GB are free "
            f"(far field {table / 1e9:.2g} GB, columns {sweep / 1e9:.2g} GB, "
            f"pixels {plate / 1e9:.2g} GB)",
            key="plate",
            expected="fewer rulings, a smaller plate, larger pixels or a narrower band",
        )
    return need


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
