"""A diagnosis in words: one sentence for each error, then longer periods that fit as well."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from wavesim.results import Sentence
from wavesim.text import counted

if TYPE_CHECKING:
    from wavesim.measuring.diagnosis import Diagnosis, FoundError
    from wavesim.measuring.diagnosis.longer import LongerPeriod


def report(found: Diagnosis) -> Iterator[Sentence]:
    """The errors, the strongest first."""
    for number, error in enumerate(found.errors, 1):
        yield Sentence(f"error {number}", _error(error))
    yield from (Sentence("or", _longer(longer_period)) for longer_period in found.longer)


def _error(error: FoundError) -> str:
    parts = [f"{error.kind}, period {error.period:.6g} +- {error.period_error:.1g} rulings"]
    if error.kind in ("displacement", "both", "undetermined"):
        parts.append(_amplitude(error))
    if error.kind in ("strength", "both", "undetermined"):
        parts.append(f"amplitude modulation {error.modulation:.4g} of the grooves")
    if not math.isnan(error.growth):
        parts.append(
            f"ghosts grow as order to the power {error.growth:.2f} +- {error.growth_error:.1g} "
            "(expected: 2 for displacement, 0 for groove strength, 2 k for k-th ghosts of a "
            "displacement)"
        )
    else:
        parts.append("a single order cannot distinguish displacement from groove strength")
    if error.harmonic > 1:
        parts.append(
            f"found from its ghosts of harmonic {error.harmonic}; nearer ones are not in the table"
        )
    parts.append(f"explains {counted(error.ghosts, 'ghost')}, residual {error.residual:.2g}")
    return "; ".join(parts)


def _longer(longer_period: LongerPeriod) -> str:
    size = (
        f"{longer_period.amplitude:.4g} of the pitch"
        if math.isnan(longer_period.amplitude_m)
        else f"{longer_period.amplitude_m * 1e9:.4g} nm"
    )
    which = " and ".join(
        f"ghosts {k} for error {n}"
        for k, n in zip(longer_period.harmonics, longer_period.errors, strict=True)
    )
    fits = f"fits equally well, with an amplitude of {size} ({which})"
    if not longer_period.agrees:
        fits = f"fits the positions equally well ({which}), but not the strengths"
    return (
        f"a longer period of {longer_period.period:.6g} rulings {fits}: look for its first ghosts, "
        f"{1 / longer_period.period:.3g} orders from the line, which the line's wings may hide"
    )


def _amplitude(error: FoundError) -> str:
    if math.isnan(error.amplitude_m):
        return f"amplitude {error.amplitude:.4g} +- {error.amplitude_error:.1g} of the pitch"
    return (
        f"amplitude {error.amplitude_m * 1e9:.4g} +- {error.amplitude_error_m * 1e9:.1g} nm"
        " (half of peak to peak)"
    )
