"""wavesim fit: from a photograph back to the bench that made it."""

from __future__ import annotations

import math
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import check_apart, echo_result, print_result, progress, scene_named
from wavesim.cli.options import (
    FIGURES,
    Amount,
    Look,
    Output,
    examples,
    json_option,
    look_options,
)
from wavesim.errors import InputError

if TYPE_CHECKING:
    from wavesim.scene import Scene

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
    help="A key of the scene to fit; may be repeated.",
)
@click.option(
    "--pixel",
    "pixels",
    type=_PIXEL,
    multiple=True,
    help="Size of a pixel of the photograph on the plate, in its middle; once, or once per "
    "photograph.",
)
@click.option(
    "--width",
    "whole",
    type=Amount("length", "60 mm", 1e-6, 100.0),
    help="Width of the whole photograph on the plate, instead of --pixel.",
)
@click.option(
    "--scale",
    metavar="MARKS",
    help='Two marks in it: "212..1180 = 50 mm" (columns and their distance on the plate) or '
    '"212 = 435.83 nm, 1180 = 546.07 nm" (columns of lines), instead of --pixel.',
)
@click.option("--left-edge", type=_EDGE, help="x of its left edge on the plate. Default: fitted.")
@click.option(
    "--axis",
    type=_ANGLE,
    help="Rotation of the lines from its columns, clockwise. Default: fitted.",
)
@click.option(
    "--tone",
    default="fitted",
    show_default=True,
    metavar="fitted|srgb|linear|film|EXPONENT",
    help="Tone curve of the photograph; film is that of wavesim develop.",
)
@click.option("-o", "output", type=Output(".toml"), help="File for the fitted scene.")
@click.option(
    "--figure",
    type=Output(*FIGURES),
    help="Draw photograph, fit and difference: .png, .pdf or .svg.",
)
@look_options("page", needs="figure")
@json_option
def command(
    scene_file: str,
    photographs: tuple[str, ...],
    free: tuple[str, ...],
    pixels: tuple[float, ...],
    whole: float | None,
    scale: str | None,
    left_edge: float | None,
    axis: float | None,
    tone: str,
    output: Path | None,
    figure: Path | None,
    look: Look,
    as_json: bool,
) -> None:
    """Fit SCENE to PHOTOGRAPHs of one bench: find the values of the free keys that reproduce them.

    SCENE holds what is known; the value of a free key in it may be wrong by a factor of two. A
    photograph is a picture (PNG, JPEG, TIFF) or a plate file (.h5). Its rotation, obliquity, tone
    curve and position on the plate are fitted too; burnt-out parts are ignored.
    """
    scene = scene_named(scene_file, output, figure)
    for path in (output, figure):
        for name in photographs:
            if path is not None:
                check_apart(path, name)
    from wavesim.fitting import PhotographReading, fit

    widths, edge = _pixels(pixels, whole, scale, photographs, scene, free)
    edge = edge if left_edge is None else left_edge
    readings = [PhotographReading(width, edge, _tone(tone), axis) for width in widths]
    with progress("fit") as show:
        found = fit(scene, photographs, free, reading=readings, progress=show)
        if output is not None:
            from wavesim.files import replacing

            with replacing(output) as temporary:
                temporary.write_text(found.scene.text, encoding="utf-8")
        if figure is not None:
            from wavesim.figures import save
            from wavesim.figures.fits import fit_figure

            save(fit_figure(found, size=look.of_figure()), figure)
    written = [str(path) for path in (output, figure) if path is not None]
    if as_json:
        echo_result(found, scene.source, scene_file=output, figure_file=figure)
    else:
        rows = [("written", ", ".join(written))] if written else []
        print_result(found, *rows, source=scene.source)


def _pixels(
    pixels: tuple[float, ...],
    whole: float | None,
    scale: str | None,
    photographs: tuple[str, ...],
    scene: Scene,
    free: tuple[str, ...],
) -> tuple[list[float], float | None]:
    """Width of a pixel of each photograph, and x of the left edge where the marks tell it."""
    count = len(photographs)
    if sum((bool(pixels), whole is not None, scale is not None)) > 1:
        raise click.UsageError("--pixel, --width and --scale cannot be combined; give one of them")
    if len(pixels) not in (0, 1, count):
        raise click.UsageError(f"--pixel is given {len(pixels)} times for {count} photographs; "
                               "give it once, or once for each")  # fmt: skip
    if pixels:
        return list(pixels) * (count if len(pixels) == 1 else 1), None
    if scale is not None:
        from wavesim.fitting.scale import scale_of

        pixel, edge = scale_of(scale, scene, free)
        return [pixel] * count, edge
    if whole is not None:
        from wavesim.fitting.exif import upright_pixels

        return [whole / upright_pixels(Path(name))[0].shape[1] for name in photographs], None
    from wavesim.fitting.photograph import PLATES

    if all(Path(name).suffix.lower() in PLATES for name in photographs):
        return [1.0] * count, None  # plate files tell their own
    raise InputError(
        f"is missing: a photograph carries no scale{_of_file(photographs[0])}",
        key="--pixel",
        expected='the width of a pixel on the plate, such as "10 um"; or --width, or --scale',
    )


def _of_file(photograph: str) -> str:
    """What a file says of its sensor, which may be proposed but not be trusted."""
    from wavesim.fitting.exif import upright_pixels

    pixel = upright_pixels(Path(photograph))[1].sensor_pixel_m
    if math.isnan(pixel):
        return ""
    return (
        f" (its file gives {pixel * 1e6:.3g} um for the sensor's pixels, which is right if the "
        "sensor itself was the plate)"
    )


def _tone(text: str) -> str | float:
    if text in ("fitted", "srgb", "linear", "film"):
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
            expected="fitted, srgb, linear, film or an exponent such as 2.2",
        )
    return exponent
