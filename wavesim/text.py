"""Lengths, times and rows of numbers as people at a bench say them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

# shutter speeds as they are engraved, a stop apart; ISO 516, from memory
SHUTTER_SPEEDS = ("1/8000", "1/4000", "1/2000", "1/1000", "1/500", "1/250", "1/125", "1/60",
    "1/30", "1/15", "1/8", "1/4", "1/2", "1", "2", "4", "8", "15", "30")  # fmt: skip


def nearest_shutter(seconds: float) -> tuple[str, float]:
    """The engraved speed nearest in stops, as "1/30 s", and how many stops longer it is."""
    stops = [(math.log2(float(Fraction(speed)) / seconds), speed) for speed in SHUTTER_SPEEDS]
    off, speed = min(stops, key=lambda found: abs(found[0]))
    return f"{speed} s", off


def shutter(seconds: float) -> str:
    """An exposure time as a photographer says it: 1/43 s, 2.5 s, 3 min 20 s, 7 us."""
    if seconds <= 0:
        return "0 s"
    if seconds < 0.95e-6:
        return f"{_two_digits(seconds * 1e9)} ns"
    if seconds < 1e-5:
        return f"{seconds * 1e6:.2g} us"
    if seconds < 0.3:
        return f"1/{_two_digits(1 / seconds)} s"
    if seconds < 59.5:
        return f"{seconds:.2g} s"
    if seconds < 5400:
        return f"{int(seconds + 0.5) // 60} min {int(seconds + 0.5) % 60} s"
    if seconds < 172_800:
        return f"{seconds / 3600:.3g} h"
    return f"{_two_digits(seconds / 86_400)} days"


def _two_digits(value: float) -> str:
    """A number of at least 1 to two digits, written out: 43, 2300, 1.2e+07."""
    rounded = float(f"{value:.2g}")
    return f"{rounded:.0f}" if 10 <= rounded < 1e6 else f"{rounded:.2g}"


def three_digits(value: float) -> str:
    """A number to three digits, written out: 24.6, 2,700, 1.2e+07."""
    rounded = float(f"{value:.3g}")
    return f"{rounded:,.0f}" if 1000 <= abs(rounded) < 1e7 else f"{rounded:.3g}"


def length(metres: float) -> str:
    """A length with three digits in the unit that suits it."""
    if metres == 0:
        return "0 mm"
    for unit, size in (("m", 1.0), ("mm", 1e-3), ("um", 1e-6)):
        if abs(metres) >= size * 0.9995:
            return f"{metres / size:.3g} {unit}"
    return f"{metres / 1e-9:.3g} nm"


def counted(count: int, noun: str, plural: str = "") -> str:
    """A number of things: "1 slit", "2,184 wavelengths"."""
    return f"{count:,} {noun if count == 1 else plural or noun + 's'}"


def stops_from_white(stops: float) -> str:
    """An exposure against white: "at white", "2.0 stops above white"."""
    if abs(stops) < 0.05:
        return "at white"
    size = f"{abs(stops):.1f}"
    return f"{size} stop{'' if size == '1.0' else 's'} {'above' if stops > 0 else 'below'} white"


def ranges(noun: str, numbers: Sequence[int], plural: str = "") -> str:
    """Numbers in words: "orders -3 to 3 and 5"."""
    runs: list[list[int]] = []
    for number in sorted(numbers):
        if runs and number == runs[-1][-1] + 1:
            runs[-1].append(number)
        else:
            runs.append([number])
    parts = [f"{run[0]} to {run[-1]}" if len(run) > 2 else ", ".join(map(str, run)) for run in runs]
    return f"{noun if len(numbers) == 1 else plural or noun + 's'} {', '.join(parts)}"


def size(count: int) -> str:
    """A number of bytes to two digits: 24 MB."""
    for unit, factor in (("GB", 10**9), ("MB", 10**6), ("kB", 1000)):
        if count >= factor:
            value = count / factor
            return f"{value:.1f} {unit}" if value < 10 else f"{value:.0f} {unit}"
    return f"{count} bytes"
