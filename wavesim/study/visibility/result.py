"""What an exposure shows: each maximum, all of it together, and the same in sentences."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, Literal

from wavesim.results import Result, Sentence
from wavesim.text import ranges, stops_from_white

Criterion = Literal["picture", "film"]
FAINT = 2.0**-7  # of white: what a picture still shows against black (common practice, no source)
BURNT_STOPS = 0.05  # over white: less is no more than the last step of a picture
_STATES = ("burnt out", "visible", "too faint")
_MOST_STRETCHES = 4  # between orders, listed one by one


@dataclass(frozen=True)
class Maximum:
    """One order or subsidiary maximum where it is brightest.

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


@dataclass(frozen=True, repr=False)
class Visibility(Result):
    """What an exposure shows.

    Attributes
    ----------
    time_s, speed : the exposure
    white_lx_s : 78 / speed, shown white (ISO 12232); more is burnt out
    threshold_lx_s : the least exposure that shows
    criterion : what that is, in words
    orders : on the plate
    subsidiary : between them, where they are few enough to be listed one by one
    apart : ((m, count), ...) maxima of the plate's brightness between orders m and m + 1 that
        stand out from their surroundings
    slits : in the beam; 0 where there are no orders
    run_together : whether source slit or pixel is wider than a subsidiary maximum
    burnt_area, visible_area : parts of the plate's area
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
    kind: ClassVar[str] = "visibility"

    def report(self) -> Iterator[Sentence]:
        """What shows, what is burnt out and what is too faint."""
        return (Sentence("shows", text) for text in _texts(self))


def _texts(found: Visibility) -> tuple[str, ...]:
    """What is burnt out, what shows and what does not; then the measure of it."""
    texts = []
    if found.slits == 1:
        texts += _slit_texts(found)
    elif found.orders:
        texts += _order_texts(found.orders)
        texts += _subsidiary_texts(found)
    texts.append(
        f"{_percent(found.burnt_area)} of the plate is burnt out (above white), "
        f"{_percent(found.visible_area)} is visible (down to {found.criterion})"
    )
    return tuple(texts)


def brief(found: Visibility) -> str:
    """One line: orders burnt out and orders that show, subsidiary maxima that show, areas."""
    parts = []
    for state in _STATES[:2]:
        chosen = [maximum.order for maximum in found.orders if maximum.state == state]
        if chosen and found.slits > 1:
            parts.append(f"{state}: {ranges('order', chosen)}")
        elif chosen:
            parts.append(f"{state}: the central maximum")
    sides = sum(maximum.state != "too faint" for maximum in found.subsidiary)
    if sides:
        parts.append(f"{sides} subsidiary maxima visible")
    parts.append(
        f"{_percent(found.burnt_area)} of the plate burnt out, "
        f"{_percent(found.visible_area)} visible"
    )
    return "; ".join(parts)


def _order_texts(orders: Sequence[Maximum]) -> list[str]:
    texts = []
    for state in _STATES:
        chosen = [maximum for maximum in orders if maximum.state == state]
        if chosen:
            texts.append(
                f"{state}: {ranges('order', [maximum.order for maximum in chosen])}{_span(chosen)}"
            )
    return texts


def _subsidiary_texts(found: Visibility) -> list[str]:
    between = found.slits - 2
    if between < 1:
        return []
    if found.run_together:
        return [
            f"the {between:,} subsidiary maxima between two orders are narrower than the source "
            "slit's image or than two pixels, and merge"
        ]
    texts: list[str] = []
    if not found.subsidiary:
        return [f"there are {between:,} subsidiary maxima between two orders, too many to list"]
    apart, last = dict(found.apart), ""
    for order in sorted(
        {maximum.order for maximum in found.subsidiary}, key=lambda m: (abs(m + 0.5), -m)
    ):
        maxima = [maximum for maximum in found.subsidiary if maximum.order == order]
        if all(maximum.state == "too faint" for maximum in maxima):
            continue
        text = _range_text(maxima, apart.get(order))
        if order < 0 and text == last:
            texts[-1] += "; likewise on the other side"
        elif len(texts) < _MOST_STRETCHES:
            texts.append(f"{_noun(between)} between orders {order} and {order + 1}: {text}")
        last = text
    return texts or [f"too faint: {_noun(between)} between any two orders"]


def _noun(count: int) -> str:
    return "the subsidiary maximum" if count == 1 else f"the {count} subsidiary maxima"


def _range_text(maxima: Sequence[Maximum], apart: int | None) -> str:
    text = f"{_counts(maxima)}{_span(maxima)}"
    if apart is None:
        return text
    return f"{text}, {apart or 'none'} resolved"


def _slit_texts(found: Visibility) -> list[str]:
    centre = found.orders[0]
    texts = [f"the central maximum: {centre.state}{_span([centre])}"]
    for state in _STATES:
        chosen = [maximum for maximum in found.subsidiary if maximum.state == state]
        if chosen:
            sides = sorted({abs(maximum.number) for maximum in chosen})
            texts.append(
                f"{state}: "
                f"{ranges('subsidiary maximum', sides, 'subsidiary maxima')}{_span(chosen)}"
            )
    return texts


def _counts(maxima: Sequence[Maximum]) -> str:
    parts = []
    for state in _STATES:
        count = sum(maximum.state == state for maximum in maxima)
        if count == len(maxima):
            return state if count == 1 else f"all {state}"
        if count:
            parts.append(f"{count} {state}")
    return ", ".join(parts)


def _span(maxima: Sequence[Maximum]) -> str:
    """Their exposure in stops from white."""
    stops = [maximum.stops for maximum in maxima if math.isfinite(maximum.stops)]
    if not stops:
        return " (no light)"
    low, high = min(stops), max(stops)
    if high - low < 0.1:
        return f" ({stops_from_white(high)})"
    if high > 0 > low or min(abs(low), abs(high)) < 0.05:
        return f" ({stops_from_white(low)} to {stops_from_white(high)})"
    near, far = sorted((abs(low), abs(high)))
    return f" ({near:.1f} to {far:.1f} stops {'above' if high > 0 else 'below'} white)"


def _percent(fraction: float) -> str:
    percent = 100 * fraction
    if percent in (0, 100) or percent >= 10:
        return f"{percent:.0f} %"
    return f"{percent:.2g} %"
