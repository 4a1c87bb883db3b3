"""Where the scalar theory stops for an aperture."""

from __future__ import annotations

FARTHEST_M = 100.0  # of an element from the axis: far beyond any bench
_FEW_WAVELENGTHS = 3.0  # a scalar theory's absolute efficiencies end about here (common practice)
_SHORT_WAVE_M = 400e-9


def of_small_elements(size_m: float, what_holds: str) -> tuple[str, ...]:
    """A sentence if elements of that size [m] are only a few wavelengths wide."""
    if size_m >= _FEW_WAVELENGTHS * _SHORT_WAVE_M:
        return ()
    return (
        f"the elements are only a few wavelengths wide: {what_holds} hold, absolute efficiencies "
        "do not (scalar theory)",
    )
