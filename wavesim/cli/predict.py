"""wavesim predict: what a scene will show, from formulas alone."""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_json, labelled, name_of, print_table, scene_named, table
from wavesim.cli.options import WAVELENGTH, Number, Whole, examples, json_option
from wavesim.text import length, shutter

if TYPE_CHECKING:
    from rich.table import Table

    from wavesim.study.predict import Ghost, Order, Prediction

_MOST_GHOSTS = 40
_MOST_OVERLAPS = 3


@click.command(
    epilog=examples(
        "wavesim predict scenes/slits_005.toml",
        'wavesim predict scenes/grating_screw.toml --wavelength "546.1 nm" --order 2',
    )
)
@click.argument("scene_file", metavar="SCENE")
@click.option(
    "--wavelength", "wavelengths", type=WAVELENGTH, multiple=True,
    help="Wavelength in air; may be repeated. Default: the source's own.",
)  # fmt: skip
@click.option(
    "--order", "orders", type=Whole(), metavar="M", multiple=True,
    help="List this order; may be repeated. Default: all, or those on the plate.",
)  # fmt: skip
@click.option(
    "--ghosts-above", type=Number(0, open_=True), default=1e-6, show_default=True,
    help="Weakest ghost to list, as a part of its line.",
)  # fmt: skip
@json_option
def command(
    scene_file: str,
    wavelengths: tuple[float, ...],
    orders: tuple[int, ...],
    ghosts_above: float,
    as_json: bool,
) -> None:
    """Predict what SCENE will show, from formulas alone.

    Lists the orders, where they lie and overlap, widths, every ghost of every periodic error,
    diffuse light, focus, exposure, and where the theory stops. SCENE is a scene file, or a plate
    file (.h5), whose scene is taken.
    """
    from wavesim.study.predict import predict

    scene = scene_named(scene_file)
    found = predict(scene, wavelengths_m=wavelengths, orders=orders, ghosts_above=ghosts_above)
    if as_json:
        echo_json({"scene_file": scene_file, **asdict(found)})
        return
    click.echo(labelled([("scene", name_of(scene, scene_file)), *_facts(found)]))
    tables = (
        _order_table(found), _places(found), _feature_table(found), _ghost_table(found),
        _effect_table(found),
    )  # fmt: skip
    for made in tables:
        if made is not None:
            print_table(made)
    click.echo(labelled(_sentences(found)))


def _facts(found: Prediction) -> list[tuple[str, str]]:
    if not found.rulings:
        return []
    if found.rulings == 1:
        return [("opening", f"one slit, {length(found.pitch_m)} wide")]
    lit = "" if found.lit == found.rulings else f", {found.lit:,} of them in the beam"
    widths = found.widths
    if math.isfinite(widths.first_zero_orders):
        line = (
            f"first zero at {widths.first_zero_orders:.4g} orders, {widths.fwhm_orders:.4g} orders "
            f"wide at half height; {widths.subsidiary_maxima:,} subsidiary maxima between orders"
        )
        if widths.subsidiary_maxima:
            line += f", the first {widths.first_subsidiary:.4f} high"
    else:
        line = f"{widths.fwhm_orders:.4g} orders wide at half height, without subsidiary maxima"
    return [
        ("rulings", f"{found.rulings:,} at a pitch of {length(found.pitch_m)}{lit}"),
        ("line", line),
    ]


def _order_table(found: Prediction) -> Table | None:
    rows = [line for line in found.orders if line.wavelength_m == found.principal_m]
    title = f"orders at {found.principal_m * 1e9:.6g} nm"
    head = ("order", "angle\ndeg", "x\nmm", "nm/mm", "free\nnm", "anam.", "resolving\npower",
            "line\num", "slit\num", "light\n%", "falls on")  # fmt: skip
    if not rows or found.rulings == 1:
        return None
    return table(title, head, (_order_row(line) for line in rows))


def _order_row(line: Order) -> tuple[str, ...]:
    light = "missing" if line.missing else f"{100 * line.efficiency:.3g}"
    return (
        f"{line.order:+d}" if line.order else "0",
        f"{math.degrees(line.beta_rad):.4f}",
        f"{line.x_m * 1e3:.3f}" + ("" if line.on_plate else " off"),
        _number(line.dispersion_nm_mm),
        _number(line.free_spectral_range_m * 1e9),
        f"{line.anamorphic:.4f}",
        f"{line.resolving_power:,.0f}",
        f"{line.line_m * 1e6:.3g}",
        f"{line.slit_image_m * 1e6:.3g}" if line.slit_image_m else "-",
        light,
        _overlaps(line),
    )


def _overlaps(line: Order) -> str:
    near = sorted(line.overlaps, key=lambda pair: abs(pair[0] - line.order))[:_MOST_OVERLAPS]
    text = ", ".join(f"{m:+d}: {wavelength * 1e9:.1f}" for m, wavelength in sorted(near))
    return text + (" .." if len(line.overlaps) > len(near) else "")


def _places(found: Prediction) -> Table | None:
    """x [mm] of every order and wavelength, where there are several wavelengths."""
    if len(found.wavelengths_m) < 2 or found.rulings < 2:
        return None
    place = {(line.order, line.wavelength_m): line for line in found.orders}
    head = ("order", *(f"{w * 1e9:.2f} nm" for w in found.wavelengths_m))
    rows = []
    for order in sorted({line.order for line in found.orders}):
        cells = [place.get((order, w)) for w in found.wavelengths_m]
        texts = ("-" if line is None else _place(line) for line in cells)
        rows.append((f"{order:+d}" if order else "0", *texts))
    return table("x on the plate, mm (off: beyond its edge)", head, rows)


def _place(line: Order) -> str:
    if line.missing:
        return "missing"
    return f"{line.x_m * 1e3:.3f}" + ("" if line.on_plate else " off")


def _feature_table(found: Prediction) -> Table | None:
    """Distance [mm] of each ring or minimum, by wavelength."""
    if not found.features:
        return None
    place = {(one.what, one.wavelength_m): one.distance_m for one in found.features}
    height = {one.what: one.height for one in found.features}
    head = ("", "height", *(f"{w * 1e9:.2f} nm" for w in found.wavelengths_m))
    rows = []
    for what, level in height.items():
        cells = (place.get((what, w), math.nan) for w in found.wavelengths_m)
        text = "-" if math.isnan(level) else f"{level:.5f}"
        rows.append((what, text, *(f"{x * 1e3:.4g}" for x in cells)))
    return table("distance from the middle, mm on the plate", head, rows)


def _ghost_table(found: Prediction) -> Table | None:
    if not found.ghosts:
        return None
    strongest = sorted(found.ghosts, key=lambda ghost: -ghost.relative)[:_MOST_GHOSTS]
    left_out = len(found.ghosts) - len(strongest)
    title = f"ghosts at {found.principal_m * 1e9:.6g} nm above {found.ghosts_above:.0e} of the line"
    title += f" (the strongest; {left_out} more with --json)" if left_out else ""
    head = ("ghost", "at order", "x\nmm", "of its line\nexact", "small\nerror", "seen",
            "taken for\nnm", "")  # fmt: skip
    rows = (_ghost_row(ghost) for ghost in sorted(strongest, key=lambda ghost: ghost.mu))
    return table(title, head, rows)


def _ghost_row(ghost: Ghost) -> tuple[str, ...]:
    harmonics = ",".join(f"{k:+d}" if k else "0" for k in ghost.harmonics)
    return (
        f"{ghost.order:+d} ({harmonics})" if ghost.order else f"0 ({harmonics})",
        f"{ghost.mu:.6f}",
        f"{ghost.x_m * 1e3:.4f}",
        f"{ghost.relative:.4e}",
        f"{ghost.small_error:.4e}",
        f"{ghost.seen:.3e}",
        "-" if math.isnan(ghost.mistaken_m) else f"{ghost.mistaken_m * 1e9:.4f}",
        "hidden by the line's tails" if ghost.hidden else "",
    )


def _effect_table(found: Prediction) -> Table | None:
    shown = [effect for effect in found.effects if effect.order]
    if not shown:
        return None
    head = ("order", "error", "line keeps", "diffuse\nmean level", "halo\norders",
            "broadened\norders", "focus moves\nmm")  # fmt: skip
    rows = (
        (
            f"{effect.order:+d}",
            effect.kind,
            f"{effect.line_left:.6f}",
            f"{effect.diffuse:.2e}" if effect.diffuse else "-",
            _number(effect.halo_orders) if effect.diffuse else "-",
            f"{effect.broadening_orders:.2e}" if effect.broadening_orders else "-",
            f"{effect.focal_shift_m * 1e3:.4g}" if effect.focal_shift_m else "-",
        )
        for effect in shown
    )
    return table("what each error does to the line", head, rows)


def _sentences(found: Prediction) -> list[tuple[str, str]]:
    words = {effect.words for effect in found.effects if "no closed form" in effect.words}
    rows = [("error", text) for text in sorted(words)]
    if found.exposure is not None:
        rows.append(("exposure", f"{shutter(found.exposure.time_s)} {found.exposure.words[0]}"))
        rows += [("", text) for text in found.exposure.words[1:]]
    rows += [("limit", text) for text in found.limits]
    return rows + [("caution", text) for text in found.cautions]


def _number(value: float) -> str:
    return "-" if math.isinf(value) else f"{value:.4g}"
