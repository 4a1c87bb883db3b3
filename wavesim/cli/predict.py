"""wavesim predict: what a scene will show, from formulas alone."""

from __future__ import annotations

import click

from wavesim.cli.common import echo_result, print_result, scene_named
from wavesim.cli.options import WAVELENGTH, NumberOption, Whole, examples, json_option


@click.command(
    epilog=examples(
        "wavesim predict scenes/slits_005.toml",
        'wavesim predict scenes/grating_screw.toml --wavelength "546.1 nm" --order 2',
    )
)
@click.argument("scene_file", metavar="SCENE")
@click.option(
    "--wavelength", "wavelengths", type=WAVELENGTH, multiple=True,
    help="Wavelength in air; may be repeated. Default: those of the source.",
)  # fmt: skip
@click.option(
    "--order", "orders", type=Whole(), metavar="M", multiple=True,
    help="List this order; may be repeated. Default: all, or those on the plate.",
)  # fmt: skip
@click.option(
    "--ghosts-above", type=NumberOption(0, open_=True), default=1e-6, show_default=True,
    help="Weakest ghost to list, as a fraction of its line.",
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
    file (.h5), whose scene is used.
    """
    from wavesim.study.predict import predict

    scene = scene_named(scene_file)
    found = predict(scene, wavelengths_m=wavelengths, orders=orders, ghosts_above=ghosts_above)
    if as_json:
        echo_result(found, scene.source, scene_file=scene_file)
        return
    print_result(found, source=scene.source)
