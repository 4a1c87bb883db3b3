"""wavesim efficiency: how much light goes into each order, by rigorous theory."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from wavesim.cli.common import echo_result, name_of, print_result, progress, scene_named
from wavesim.cli.options import (
    FIGURES,
    PLATES,
    WAVELENGTH,
    Amount,
    Look,
    Output,
    Whole,
    examples,
    json_option,
    look_options,
)
from wavesim.errors import InputError

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from wavesim.scene import Scene
    from wavesim.study.efficiency import Anomaly, Efficiency

_CONICAL = math.radians(80)
_TURN = Amount("angle", "20 deg", -math.pi / 2, math.pi / 2)
_TABLES = (".csv", *PLATES)


@click.command(
    short_help="Give the efficiency of each order of SCENE's grating, by rigorous theory.",
    epilog=examples(
        'wavesim efficiency scenes/anomalies_across.toml --from "480 nm" \\\n'
        '    --to "520 nm" --figure efficiency.png',
        'wavesim efficiency scenes/blaze_orders.toml --order 1 --from "450 nm" \\\n'
        '    --to "550 nm" -o first_order.csv',
        'wavesim efficiency scenes/blaze_orders.toml --order 1 --conical "15 deg"',
        'wavesim efficiency scenes/blaze_orders.toml --wavelength "546.1 nm" \\\n'
        '    --turn-from "5 deg" --turn-to "30 deg"',
    ),
)
@click.argument("scene_file", metavar="SCENE")
@click.option(
    "--order", "orders", type=Whole(), metavar="M", multiple=True,
    help="Order to list; may be repeated. Default: the six most efficient.",
)  # fmt: skip
@click.option(
    "--from", "from_m", type=WAVELENGTH, default="380 nm", show_default=True,
    help="Shortest wavelength, in air.",
)  # fmt: skip
@click.option(
    "--to", "to_m", type=WAVELENGTH, default="780 nm", show_default=True,
    help="Longest wavelength.",
)  # fmt: skip
@click.option(
    "--wavelength", "wavelength_m", type=WAVELENGTH,
    help="Vary the rotation of the grating at this wavelength, instead of the wavelength.",
)  # fmt: skip
@click.option("--turn-from", type=_TURN, help="First angle of rotation of the grating.")
@click.option("--turn-to", type=_TURN, help="Last angle of rotation of the grating.")
@click.option(
    "--conical", type=Amount("angle", "10 deg", -_CONICAL, _CONICAL), default="0 deg",
    show_default=True,
    help="Angle between the light and the plane normal to the grooves (conical mounting).",
)  # fmt: skip
@click.option(
    "--points", type=Whole(2, 100_000), default=401, show_default=True,
    help="Number of points on the curves.",
)  # fmt: skip
@click.option("-o", "output", type=Output(*_TABLES), help="File for the curves: .csv or .h5.")
@click.option("--figure", type=Output(*FIGURES), help="Draw the curves: .png, .pdf or .svg.")
@look_options("page", needs="figure")
@json_option
def command(
    scene_file: str,
    output: Path | None,
    figure: Path | None,
    look: Look,
    as_json: bool,
    **given: Any,
) -> None:
    """Give the efficiency of each order of SCENE's grating, by rigorous theory.

    For light with its electric field along and across the grooves, together with scalar theory, as
    a function of wavelength at the scene's incidence, or of the rotation of the grating at one
    wavelength. Lists where orders pass off and where surface plasmons are expected, and the peak
    of each order with its width. The scene's material is used; without one, a reflection grating
    is a perfect conductor. SCENE is a scene file, or a plate file (.h5), whose scene is used.
    """
    scene = scene_named(scene_file, output, figure)
    with progress(name_of(scene, scene_file)) as show:
        show("efficiencies")
        found = _computed(scene, given)
        _write(scene, found, output)
        if figure is not None:
            from wavesim.figures import save

            save(drawing(found, scene, look), figure)
    files = [str(path) for path in (output, figure) if path is not None]
    if as_json:
        echo_result(found, scene.source, scene_file=scene_file, files=files)
        return
    written = [("written", ", ".join(files))] if files else []
    print_result(found, *written, source=scene.source)


def _computed(scene: Scene, given: dict[str, Any]) -> Efficiency:
    from wavesim.study.efficiency import efficiency

    turn = given.pop("turn_from"), given.pop("turn_to")
    turned = given["wavelength_m"] is not None
    if any(end is not None for end in turn) and not turned:
        raise InputError(
            "needs a single wavelength", key="--turn-from", expected='--wavelength "546.1 nm" too'
        )
    if (turn[0] is None) != (turn[1] is None):
        raise InputError(
            "needs both limits", key="--turn-from", expected="--turn-from and --turn-to"
        )
    given["conical_rad"] = given.pop("conical")
    return efficiency(scene, turn_rad=None if turn[0] is None else turn, **given)


def _write(scene: Scene, found: Efficiency, output: Path | None) -> None:
    if output is None:
        return
    from wavesim.study.efficiency.files import save_csv, save_hdf5

    if output.suffix.lower() == ".csv":
        save_csv(found, output)
    else:
        save_hdf5(found, scene, output)


def _label(anomaly: Anomaly) -> str:
    plural = len(anomaly.orders) > 1
    name = "/".join(map(str, anomaly.orders)).replace("-", "\N{MINUS SIGN}")
    if len(anomaly.orders) == 2 and sum(anomaly.orders) == 0:
        name = f"\N{PLUS-MINUS SIGN}{anomaly.orders[1]}"
    if anomaly.kind == "surface plasmon":
        return f"{name} plasmon"
    where = " inside" if anomaly.kind == "passing off in the substrate" else ""
    return f"{name} {'pass' if plural else 'passes'} off{where}"


def drawing(found: Efficiency, scene: Scene, look: Look) -> Figure:
    """The figure of an efficiency study."""
    import numpy as np

    from wavesim import light
    from wavesim.figures.efficiency import AnomalyMark, OrderCurves, efficiency_figure
    from wavesim.figures.style import Labels

    over_wavelength = found.over == "wavelength"
    x = found.x * 1e9 if over_wavelength else np.degrees(found.x)
    scale = 1e9 if over_wavelength else 180 / math.pi
    orders = [
        OrderCurves(
            f"order {order.order}, {order.side}".replace("-", "\N{MINUS SIGN}"),
            order.along,
            order.across,
            order.scalar,
        )
        for order in found.orders
    ]
    marks = [
        AnomalyMark(
            a.predicted * scale,
            _label(a),
            a.kind == "surface plasmon",
        )
        for a in found.anomalies
    ]
    label = "wavelength (nm)" if over_wavelength else "rotation of the grating (deg)"
    labels = Labels(
        found.title,
        f"{found.material}; fraction of the incident power",
        label,
        cautions=light.cautions(scene.source),
    )
    return efficiency_figure(x, orders, marks=marks, labels=labels, size=look.of_figure())
