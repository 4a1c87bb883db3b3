"""A prediction in words: what is printed of it, in this order."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from typing import TYPE_CHECKING

from wavesim.results import Column, Listing, Sentence
from wavesim.study.predict.errors import Effect
from wavesim.study.predict.ghosts import Ghost
from wavesim.study.predict.orders import Order
from wavesim.study.predict.pairs import BestOrder, Pair
from wavesim.study.predict.shown_ghosts import sentences as ghost_sentences
from wavesim.text import counted, length, shutter, three_digits

if TYPE_CHECKING:
    from wavesim.study.predict import Prediction

_WIDE_SLIT_M = 1e-3  # wider slits are not worth naming
_MOST_GHOSTS = 40
_MOST_OVERLAPS = 3


def report(found: Prediction) -> Iterator[Sentence | Listing]:
    """Ruling and line, then the tables, then exposure, limits and cautions."""
    yield Sentence("scene", found.title or "untitled")
    yield from _ruling(found)
    for table in (
        _orders(found), _positions(found), _pairs(found), _features(found), _ghosts(found),
        _effects(found),
    ):  # fmt: skip
        if table is not None:
            yield table
    yield from _conclusions(found)


def _ruling(found: Prediction) -> Iterable[Sentence]:
    if not found.rulings:
        return
    if found.rulings == 1:
        yield Sentence("aperture", f"one slit, {length(found.pitch_m)} wide")
        return
    beam = (
        "" if found.illuminated == found.rulings else f", {found.illuminated:,} of them in the beam"
    )
    yield Sentence("rulings", f"{found.rulings:,} at a pitch of {length(found.pitch_m)}{beam}")
    yield Sentence("line", _line(found))


def _line(found: Prediction) -> str:
    widths = found.widths
    width = f"full width at half maximum {widths.fwhm_orders:.4g} orders"
    if math.isnan(widths.first_zero_orders):
        return f"{width}, for rulings cut off by a round beam"
    if math.isinf(widths.first_zero_orders):
        return f"{width}, without subsidiary maxima"
    text = f"first zero at {widths.first_zero_orders:.4g} orders, {width}"
    between = widths.subsidiary_maxima
    if not between:
        return text
    noun = "maximum" if between == 1 else "maxima"
    largest = f"{widths.first_subsidiary:.4f} of the line"
    return f"{text}; {between:,} subsidiary {noun} between orders, the largest {largest}"


def _orders(found: Prediction) -> Listing | None:
    rows = [line for line in found.orders if line.wavelength_m == found.principal_m]
    if not rows or found.rulings == 1:
        return None
    columns = (
        Column("order"), Column("angle", "deg"), Column("x", "mm"),
        Column("dispersion", "nm/mm"), Column("free spectral\nrange", "nm"),
        Column("anamorphic\nmagnification"), Column("resolving\npower"),
        Column("line\nwidth", "um"), Column("slit\nimage", "um"), Column("efficiency", "%"),
        Column("overlaps", "order: nm", wraps=True),
    )  # fmt: skip
    title = f"orders at {found.principal_m * 1e9:.6g} nm (off: beyond the edge of the plate)"
    return Listing(title, columns, tuple(_order(line) for line in rows))


def _order(line: Order) -> tuple[str, ...]:
    return (
        _signed(line.order),
        f"{math.degrees(line.beta_rad):.4f}",
        _position(line),
        _number(line.dispersion_nm_mm),
        _number(line.free_spectral_range_m * 1e9),
        f"{line.anamorphic:.4f}",
        f"{line.resolving_power:,.0f}",
        three_digits(line.line_m * 1e6),
        three_digits(line.slit_image_m * 1e6) if line.slit_image_m else "-",
        "missing" if line.missing else f"{100 * line.efficiency:.3g}",
        _overlaps(line),
    )


def _overlaps(line: Order) -> str:
    near = sorted(line.overlaps, key=lambda pair: abs(pair[0] - line.order))[:_MOST_OVERLAPS]
    text = ", ".join(f"{m:+d}: {wavelength * 1e9:.1f}" for m, wavelength in sorted(near))
    return text + (", ..." if len(line.overlaps) > len(near) else "")


def _positions(found: Prediction) -> Listing | None:
    """x of every order and wavelength, where there are several wavelengths."""
    if len(found.wavelengths_m) < 2 or found.rulings < 2:
        return None
    lines = {(line.order, line.wavelength_m): line for line in found.orders}
    columns = (Column("order"), *(Column(f"{w * 1e9:.2f} nm", "mm") for w in found.wavelengths_m))
    rows = []
    for order in sorted({line.order for line in found.orders}):
        cells = [lines.get((order, w)) for w in found.wavelengths_m]
        texts = ("-" if x is None else "missing" if x.missing else _position(x) for x in cells)
        rows.append((_signed(order), *texts))
    return Listing("position x on the plate (off: beyond its edge)", columns, tuple(rows))


def _position(line: Order) -> str:
    if math.isnan(line.x_m):
        return "off"
    return f"{line.x_m * 1e3:.3f}" + ("" if line.on_plate else " off")


def _pairs(found: Prediction) -> Listing | None:
    """For each pair of lines and order the widest source slit that resolves it."""
    if not found.pairs:
        return None
    orders = sorted({pair.order for pair in found.pairs})
    cells = {(pair.first_m, pair.second_m, pair.order): pair for pair in found.pairs}
    columns = (Column("pair of lines", "nm"), *(Column(f"order {_signed(m)}") for m in orders))
    rows = []
    for first, second in dict.fromkeys((pair.first_m, pair.second_m) for pair in found.pairs):
        name = f"{first * 1e9:.2f} and {second * 1e9:.2f}"
        rows.append((name, *(_resolved(cells.get((first, second, m))) for m in orders)))
    title = "pairs of lines: whether this source slit resolves them, and the widest slit that does"
    return Listing(title, columns, tuple(rows))


def _resolved(pair: Pair | None) -> str:
    if pair is None:
        return "-"
    answer = "yes" if pair.resolved else "no"
    wide = math.isnan(pair.slit_m) or (pair.resolved and pair.slit_m > _WIDE_SLIT_M)
    return answer if wide else f"{answer}, {length(pair.slit_m)}"


def _features(found: Prediction) -> Listing | None:
    """Distance of each ring or minimum, by wavelength."""
    if not found.features:
        return None
    distance = {
        (feature.what, feature.wavelength_m): feature.distance_m for feature in found.features
    }
    height = {feature.what: feature.height for feature in found.features}
    columns = (
        Column("feature"), Column("relative\nintensity"),
        *(Column(f"{w * 1e9:.2f} nm", "mm") for w in found.wavelengths_m),
    )  # fmt: skip
    rows = []
    for what, relative in height.items():
        cells = (distance.get((what, w), math.nan) for w in found.wavelengths_m)
        text = "-" if math.isnan(relative) else f"{relative:.5f}"
        rows.append((what, text, *("-" if math.isnan(x) else f"{x * 1e3:.4g}" for x in cells)))
    return Listing("distance from the centre of the pattern, on the plate", columns, tuple(rows))


def _ghosts(found: Prediction) -> Listing | None:
    if not found.ghosts:
        return None
    strongest = sorted(found.ghosts, key=lambda ghost: -ghost.relative)[:_MOST_GHOSTS]
    left_out = len(found.ghosts) - len(strongest)
    title = (
        f"ghosts at {found.principal_m * 1e9:.6g} nm above {found.ghosts_above:.0e} of their line"
    )
    title += f" (the strongest; {left_out} more with --json)" if left_out else ""
    columns = (
        Column("order\n(harmonics)"), Column("at order"), Column("x", "mm"),
        Column("expected\non plate"), Column("exact\nformula"), Column("small-error\nformula"),
        Column("apparent\nwavelength", "nm"), Column("remark", wraps=True),
    )  # fmt: skip
    by_position = sorted(strongest, key=lambda ghost: ghost.mu)
    return Listing(title, columns, tuple(_ghost(ghost) for ghost in by_position))


def _ghost(ghost: Ghost) -> tuple[str, ...]:
    harmonics = ",".join(_signed(k) for k in ghost.harmonics)
    return (
        f"{_signed(ghost.order)} ({harmonics})",
        f"{ghost.mu:.6f}",
        "-" if math.isnan(ghost.x_m) else f"{ghost.x_m * 1e3:.4f}",
        f"{ghost.observed:.3e}",
        f"{ghost.relative:.3e}",
        f"{ghost.small_error:.3e}",
        "-"
        if math.isnan(ghost.apparent_wavelength_m)
        else f"{ghost.apparent_wavelength_m * 1e9:.4f}",
        "hidden by the wings of the line" if ghost.hidden else "",
    )


def _effects(found: Prediction) -> Listing | None:
    rows = tuple(_effect(effect) for effect in found.effects if effect.order)
    if not rows:
        return None
    columns = (
        Column("order"), Column("error"), Column("fraction left\nin the line"),
        Column("mean diffuse\nlevel"), Column("width of\nhalo", "orders"),
        Column("broadening", "orders"), Column("focal\nshift", "mm"),
    )  # fmt: skip
    return Listing("effect of each ruling error on the line", columns, rows)


def _effect(effect: Effect) -> tuple[str, ...]:
    return (
        _signed(effect.order),
        effect.kind,
        f"{effect.fraction_left:.6f}",
        f"{effect.diffuse:.2e}" if effect.diffuse else "-",
        _number(effect.halo_orders) if effect.diffuse else "-",
        f"{effect.broadening_orders:.2e}" if effect.broadening_orders else "-",
        f"{effect.focal_shift_m * 1e3:.4g}" if effect.focal_shift_m else "-",
    )


def _conclusions(found: Prediction) -> Iterator[Sentence]:
    if found.warning is not None:
        yield Sentence("warning", found.warning)
    if found.best_order is not None:
        yield Sentence("order", _best(found.best_order))
    for text in sorted({e.text for e in found.effects if "no closed form" in e.text}):
        yield Sentence("error", text)
    if found.exposure is not None:
        first, *rest = found.exposure.sentences
        yield Sentence("exposure", f"{shutter(found.exposure.time_s)} {first}")
        yield from (Sentence("", text) for text in rest)
    if found.shown_ghosts is not None:
        yield from (Sentence("ghosts", text) for text in ghost_sentences(found.shown_ghosts))
    yield from (Sentence("limit", text) for text in found.limits)
    yield from (Sentence("caution", text) for text in found.cautions)


def _best(best: BestOrder) -> str:
    nm = f"{best.wavelength_m * 1e9:.2f} nm"
    text = f"order {_signed(best.order)} "
    if best.pairs:
        text += f"resolves {best.resolved} of {counted(best.pairs, 'pair')} of lines"
        text += ", as many as any other order; " if best.resolved else ", no order resolves more; "
    else:
        text += f"is the brightest apart from order 0 ({100 * best.efficiency:.3g} %); "
    if best.in_middle:
        return f"{text}its {nm} line already lies near the middle of the plate"
    angle = f'{best.key} = "{math.degrees(best.angle_rad):.4f} deg"'
    return f"{text}{angle} brings its {nm} line to the middle of the plate"


def _signed(order: int) -> str:
    return f"{order:+d}" if order else "0"


def _number(value: float) -> str:
    return "-" if math.isinf(value) else f"{value:.4g}"
