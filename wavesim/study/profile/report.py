"""A line profile in words: width, resolution, power, ghosts, diffuse light."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING

from wavesim.results import Column, Listing, Sentence
from wavesim.text import length

if TYPE_CHECKING:
    from wavesim.study.profile import LineProfile, MatchedGhost

_MOST_GHOSTS = 30


def record(found: LineProfile) -> dict[str, object]:
    """All figures of a profile, without the curves."""
    curves = ("mu", "level", "core", "ghosts", "hidden", "missed", "diffuse", "limits",
              "power_within")  # fmt: skip
    plain = {key: value for key, value in vars(found).items() if key not in curves}
    return {
        **plain,
        "power_within": [{"widths": n, "fraction": fraction} for n, fraction in found.power_within],
        "ghosts": [asdict(pair) for pair in found.ghosts],
        "hidden": [asdict(ghost) for ghost in found.hidden],
        "missed": [asdict(ghost) for ghost in found.missed],
        "limits": [asdict(limit) for limit in found.limits],
        "diffuse": asdict(found.diffuse),
    }


def report(found: LineProfile) -> Iterator[Sentence | Listing]:
    """The line, its width and resolution, its ghosts and what hides them."""
    m, nm = abs(found.order), f"{found.wavelength_m * 1e9:.6g} nm"
    yield Sentence("line", f"order {found.order} at {nm}, peak at order {found.peak_mu:.9g}")
    yield Sentence(
        "width",
        f"full width at half maximum {found.fwhm_orders:.6g} orders = {_picometres(found)}"
        f"{length(found.fwhm_on_plate_m)} on the plate; integral width (power over peak) "
        f"{found.equivalent_orders:.5g} orders",
    )
    yield Sentence(
        "resolution",
        f"resolving power {found.resolving_power:,.0f} (0.8859 |m| / width in orders); two lines "
        f"just resolved {_apart(found.rayleigh_orders, m, found.wavelength_m)} apart (Rayleigh), "
        f"{_apart(found.sparrow_orders, m, found.wavelength_m)} (Sparrow)",
    )
    yield Sentence("Strehl", f"peak {found.strehl:.6f} of the perfect ruling's")
    power = ", ".join(f"{100 * fraction:.4f} % within {n:g}" for n, fraction in found.power_within)
    yield Sentence("power", f"{power} line widths of the peak")
    yield Sentence("diffuse", _diffuse(found))
    yield Sentence("ghosts", _count(found))
    if found.ghosts:
        yield _ghosts(found)
    yield Sentence("search", _limits(found))
    yield from (Sentence("note", text) for text in found.notes)


def _picometres(found: LineProfile) -> str:
    """The width as a difference of wavelength, which the zero order has none of."""
    return f"{found.fwhm_m * 1e12:.5g} pm = " if found.order else ""


def _apart(orders: float, m: int, wavelength_m: float) -> str:
    if m == 0:
        return f"{orders:.4g} orders"
    return f"{wavelength_m * orders / m * 1e12:.5g} pm"


def _diffuse(found: LineProfile) -> str:
    light = found.diffuse
    if math.isnan(light.level):
        return "there is no room between line and ghosts to measure it"
    return (
        f"{light.level:.3e} +- {light.standard_error:.1e} of the line's peak, on average over "
        f"{light.cells:,.0f} resolution cells within {light.reach_orders:.2g} orders; contrast "
        f"{light.contrast:.2f} (speckle: 1)"
    )


def _limits(found: LineProfile) -> str:
    """How strong a ghost near the line has to be to be found."""
    parts = [
        f"{limit.strength:.0e} at {limit.distance_orders / found.fwhm_orders:g}"
        for limit in found.limits
        if limit.strength < 1
    ]
    if not parts:
        return "the line and the light beside it hide every ghost within 10 line widths"
    return (
        "the weakest ghost that can be detected beside the line and its diffuse light: "
        f"{', '.join(parts)} line widths from it. Random errors are mistaken for a ghost in "
        "fewer than 1 of 20 rulings"
    )


def _count(found: LineProfile) -> str:
    if not found.ghosts:
        return "none found"
    predicted = sum(pair.predicted is not None for pair in found.ghosts)
    return f"{len(found.ghosts)} found, {predicted} of them at predicted positions"


def _ghosts(found: LineProfile) -> Listing:
    high = sorted(found.ghosts, key=lambda pair: -pair.found.strength)[:_MOST_GHOSTS]
    columns = (
        Column("at order"), Column("strength\nfound"), Column("standard\nerror"),
        Column("strength\npredicted"), Column("order\n(harmonics)"),
    )  # fmt: skip
    title = "ghosts, relative to their line" if len(high) == len(found.ghosts) else (
        f"the {len(high)} strongest ghosts, relative to their line")  # fmt: skip
    rows = sorted(high, key=lambda pair: pair.found.mu)
    return Listing(title, columns, tuple(_ghost(pair) for pair in rows))


def _ghost(pair: MatchedGhost) -> tuple[str, ...]:
    found, ghost = pair.found, pair.predicted
    cells = (f"{found.mu:.7f}", f"{found.strength:.4e}", f"{found.strength_error:.0e}")
    if ghost is None:
        return (*cells, "not predicted", "")
    name = ",".join(f"{k:+d}" if k else "0" for k in ghost.harmonics)
    return (*cells, f"{ghost.observed:.4e}", f"{ghost.order:+d} ({name})")
