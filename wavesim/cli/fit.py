"""wavesim fit: from a photograph back to the bench that made it."""

from __future__ import annotations

import math
from pathlib import Path

import click

from wavesim.cli.common import check_apart, echo_json, print_result, progress, scene_named
from wavesim.cli.options import FIGURES, Amount, Output, examples, json_option
from wavesim.errors import InputError

_PIXEL = Amount("length", "10 um", 1e-8, 0.1)
_EDGE = Amount("length", "-30 mm")
_ANGLE = Amount("angle", "1.5 deg", -math.radians(10), math.radians(10))


@click.command(
    short_help="Find widths, pitch and count behind a photograph.",
    epilog=examples(
        "wavesim fit scenes/photographs/slit.toml scenes/photographs/slit.jpg \\\n"
        '    --free aperture.width --pixel "40 um"',
        "wavesim fit scenes/photographs/pair.toml scenes/photographs/pair.png \\\n"
        '    --free aperture.width --free "aperture.pitch=60 um..200 um" \\\n'
        '    --pixel "40 um" -o pair_fitted.toml --figure pair_fit.png',
    ),
)
@click.argument("scene_file", metavar="SCENE")
@click.argument("photographs", metavar="PHOTOGRAPH...", nargs=-1, required=True)
@click.option(
    "--free",
    "free",
    multiple=True,
    metavar="KEY[=LOW..HIGH]",
    help="A key of the scene to find; several times for several.",
)
@click.option("--pixel", type=_PIXEL, help="Width of a photograph's pixel on the plate.")
@click.option(
    "--width",
    "whole",
    type=Amount("length", "60 mm", 1e-6, 100.0),
    help="Width of the whole photograph on the plate, instead of --pixel.",
)
@click.option("--left-edge", type=_EDGE, help="x of its left edge. Default: found.")
@click.option("--axis", type=_ANGLE, help="Turn of the pattern, clockwise. Default: found.")
@click.option(
    "--tone",
    default="fitted",
    show_default=True,
    metavar="fitted|srgb|linear|EXPONENT",
    help="Tone curve of the photograph.",
)
@click.option("-o", "output", type=Output(".toml"), help="Write the fitted scene here.")
@click.option("--figure", type=Output(*FIGURES), help="Draw photograph, fit and difference here.")
@json_option
def command(
    scene_file: str,
    photographs: tuple[str, ...],
    free: tuple[str, ...],
    pixel: float | None,
    whole: float | None,
    left_edge: float | None,
    axis: float | None,
    tone: str,
    output: Path | None,
    figure: Path | None,
    as_json: bool,
) -> None:
    """Fit SCENE to PHOTOGRAPHs of one bench: the free keys' values that give what they show.

    SCENE holds what is known; a free key's value in it may be wrong by a factor of two. A
    photograph is a picture (PNG, JPEG, TIFF) or a plate file (.h5).
    """
    scene = scene_named(scene_file, output, figure)
    for path in (output, figure):
        for name in photographs:
            if path is not None:
                check_apart(path, name)
    from wavesim.fitting import PhotographReading, fit

    reading = PhotographReading(_pixel(pixel, whole, photographs), left_edge, _tone(tone), axis)
    with progress("fit") as show:
        found = fit(scene, photographs, free, reading=reading, progress=show)
        if output is not None:
            from wavesim.files import replacing

            with replacing(output) as temporary:
                temporary.write_text(found.scene.text, encoding="utf-8")
        if figure is not None:
            from wavesim.figures import save
            from wavesim.figures.fits import fit_figure

            save(fit_figure(found), figure)
    written = [str(path) for path in (output, figure) if path is not None]
    if as_json:
        echo_json({**found.record(), "scene_file": output, "figure_file": figure})
    else:
        print_result(found, *([("written", ", ".join(written))] if written else []))


def _pixel(pixel: float | None, whole: float | None, photographs: tuple[str, ...]) -> float:
    """Width of a pixel, from the photograph's where that is given instead."""
    plates = all(Path(name).suffix.lower() in (".h5", ".hdf5", ".nxs") for name in photographs)
    if pixel is not None and whole is not None:
        raise click.UsageError("--pixel and --width cannot be combined; give one of them")
    if pixel is not None:
        return pixel
    if whole is not None:
        from wavesim.measuring.scans import pixels

        return float(whole / pixels(Path(photographs[0])).shape[1])
    if plates:
        return 1.0  # plate files tell their own
    raise InputError(
        "is missing: a photograph has no scale of its own",
        key="--pixel",
        expected='the width of a pixel on the plate, such as "10 um", or --width',
    )


def _tone(text: str) -> str | float:
    if text in ("fitted", "srgb", "linear"):
        return text
    try:
        exponent = float(text)
    except ValueError:
        exponent = math.nan
    if not 0.1 <= exponent <= 10:
        raise InputError(
            "is not a tone curve",
            key="--tone",
            value=text,
            expected="fitted, srgb, linear or an exponent such as 2.2",
        )
    return exponent
