"""What an exposure shows, in plain words."""

from __future__ import annotations

import math
from collections.abc import Sequence

from wavesim.study.visibility.result import Maximum, Visibility
from wavesim.text import ranges

_STATES = ("burnt out", "visible", "too faint")
_MOST_STRETCHES = 4  # between orders, told one by one


def sentences(found: Visibility) -> tuple[str, ...]:
    """What is burnt out, what shows and what does not; then the measure of it."""
    words = []
    if found.slits == 1:
        words += _slit_words(found)
    elif found.orders:
        words += _order_words(found.orders)
        words += _subsidiary_words(found)
    words.append(
        f"{_percent(found.burnt_area)} of the plate is burnt out, {_percent(found.visible_area)} "
        f"of it shows; what shows is at least {found.criterion}, what is above white is burnt out"
    )
    return tuple(words)


def brief(found: Visibility) -> str:
    """One line: orders burnt out and orders that show, subsidiary maxima that show, areas."""
    parts = []
    for state in _STATES[:2]:
        chosen = [one.order for one in found.orders if one.state == state]
        if chosen and found.slits > 1:
            parts.append(f"{state} {ranges('order', chosen)}")
        elif chosen:
            parts.append(f"{state} the central maximum")
    sides = sum(one.state != "too faint" for one in found.subsidiary)
    if sides:
        parts.append(f"{sides} {'side' if found.slits == 1 else 'subsidiary'} maxima show")
    parts.append(f"{_percent(found.burnt_area)} of the plate burnt out")
    parts.append(f"{_percent(found.visible_area)} shows")
    return "; ".join(parts)


def _order_words(orders: Sequence[Maximum]) -> list[str]:
    words = []
    for state in _STATES:
        chosen = [one for one in orders if one.state == state]
        if chosen:
            words.append(
                f"{state}: {ranges('order', [one.order for one in chosen])}{_span(chosen)}"
            )
    return words


def _subsidiary_words(found: Visibility) -> list[str]:
    between = found.slits - 2
    if between < 1:
        return []
    if found.run_together:
        return [
            f"the {between:,} subsidiary maxima between two orders are narrower than the source "
            "slit's image or two pixels and run together"
        ]
    words: list[str] = []
    if not found.subsidiary:
        return [f"there are {between:,} subsidiary maxima between two orders, too many to list"]
    apart, told = dict(found.apart), ""
    for order in sorted({one.order for one in found.subsidiary}, key=lambda m: (abs(m + 0.5), -m)):
        maxima = [one for one in found.subsidiary if one.order == order]
        if all(one.state == "too faint" for one in maxima):
            continue
        text = _stretch_words(maxima, apart.get(order))
        if order < 0 and text == told:
            words[-1] += ", and likewise on the other side"
        elif len(words) < _MOST_STRETCHES:
            words.append(f"{_noun(between)} between orders {order} and {order + 1}: {text}")
        told = text
    return words or [f"too faint: {_noun(between)} between any two orders"]


def _noun(count: int) -> str:
    return "the subsidiary maximum" if count == 1 else f"the {count} subsidiary maxima"


def _stretch_words(maxima: Sequence[Maximum], apart: int | None) -> str:
    text = f"{_counts(maxima)}{_span(maxima)}"
    if apart is None:
        return text
    fringes = "a fringe of its own" if apart == 1 else "fringes of their own"
    return f"{text}, {apart or 'none'} as {fringes}"


def _slit_words(found: Visibility) -> list[str]:
    centre = found.orders[0]
    words = [f"the central maximum: {centre.state}{_span([centre])}"]
    for state in _STATES:
        chosen = [one for one in found.subsidiary if one.state == state]
        if chosen:
            sides = sorted({abs(one.number) for one in chosen})
            words.append(f"{state}: {ranges('side maximum', sides, 'side maxima')}{_span(chosen)}")
    return words


def _counts(maxima: Sequence[Maximum]) -> str:
    parts = []
    for state in _STATES:
        count = sum(one.state == state for one in maxima)
        if count == len(maxima):
            return state if count == 1 else f"all {state}"
        if count:
            parts.append(f"{count} {state}")
    return ", ".join(parts)


def _span(maxima: Sequence[Maximum]) -> str:
    """Their exposure in stops from white."""
    stops = [one.stops for one in maxima if math.isfinite(one.stops)]
    if not stops:
        return " (no light)"
    low, high = min(stops), max(stops)
    text = f"{high:+.1f}" if high - low < 0.1 else f"{low:+.1f} to {high:+.1f}"
    return f" ({text} stops from white)"


def _percent(share: float) -> str:
    percent = 100 * share
    if percent in (0, 100) or percent >= 10:
        return f"{percent:.0f} %"
    return f"{percent:.2g} %"
