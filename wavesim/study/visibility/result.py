"""What is said of an exposure: each maximum, and all of it together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Criterion = Literal["picture", "film"]
FAINT = 2.0**-7  # of white: what a picture still shows against black (common practice, no source)
BURNT_STOPS = 0.05  # over white: less is no more than the last step of a picture


@dataclass(frozen=True)
class Maximum:
    """One order or subsidiary maximum at its brightest place.

    Attributes
    ----------
    order : m; for a subsidiary maximum the order below it, for a lone slit 0
    number : 0 for the order itself; k for the k-th subsidiary maximum beyond it, or the k-th
        side maximum of a lone slit (negative on its other side)
    x_m : [m] where its exposure is highest
    exposure_lx_s : there, its own light alone
    stops : log2 of it over white
    state : "burnt out", "visible" or "too faint"
    """

    order: int
    number: int
    x_m: float
    exposure_lx_s: float
    stops: float
    state: str


@dataclass(frozen=True)
class Visibility:
    """What an exposure shows.

    Attributes
    ----------
    time_s, speed : the exposure
    white_lx_s : 78 / speed, shown white (ISO 12232); more is burnt out
    threshold_lx_s : the least exposure that shows
    criterion : what that is, in words
    orders : on the plate
    subsidiary : between them, where they are few enough to be told one by one
    apart : ((m, count), ...) maxima of the plate's brightness between orders m and m + 1 that
        stand out from their surroundings
    slits : in the beam; 0 where there are no orders
    run_together : whether source slit or pixel is wider than a subsidiary maximum
    burnt_area, visible_area : parts of the plate's area
    words : all of it in sentences
    """

    time_s: float
    speed: float
    white_lx_s: float
    threshold_lx_s: float
    criterion: str
    orders: tuple[Maximum, ...]
    subsidiary: tuple[Maximum, ...]
    apart: tuple[tuple[int, int], ...]
    slits: int
    run_together: bool
    burnt_area: float
    visible_area: float
    words: tuple[str, ...]
