"""wavesim expose: a scene becomes a plate file and a picture."""

from __future__ import annotations

import time
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_json, is_plate, labelled, name_of, progress, scene_named, stem
from wavesim.cli.options import PLATES, Output, examples, json_option, writable
from wavesim.errors import InputError
from wavesim.text import length, shutter

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate


@click.command(
    epilog=examples(
        "wavesim expose scenes/slits_005.toml",
        "wavesim expose scenes/grating_600.toml -o sun.h5 --png sun.png",
    )
)
@click.argument("scene_file", metavar="SCENE")
@click.option("-o", "output", type=Output(*PLATES), help="Write the plate here.")
@click.option("--png", type=Output(".png"), help="Write its picture here.")
@json_option
def command(scene_file: str, output: Path | None, png: Path | None, as_json: bool) -> None:
    """Expose SCENE: compute what its bench leaves on its plate.

    SCENE is a scene file (.toml). Writes what -o and --png name; with neither, SCENE's name with
    .h5 and .png in the current folder. What was there is replaced when the new file is complete,
    not before.
    """
    if is_plate(scene_file) and Path(scene_file).is_file():
        raise InputError("is a plate already", file=scene_file, expected="a scene file (.toml)")
    if output is None and png is None:
        output = writable(Path(stem(scene_file) + ".h5"), PLATES)
        png = writable(Path(stem(scene_file) + ".png"), (".png",))
    written = [path for path in (output, png) if path is not None]
    scene = scene_named(scene_file, *written)
    begin = time.perf_counter()
    with progress(name_of(scene, scene_file)) as show:
        from wavesim.lightpath import expose

        plate = expose(scene, progress=show)
        seconds = time.perf_counter() - begin
        _write(plate, output, png)
    if as_json:
        echo_json({"scene_file": scene_file, **record(plate), "plate_file": output,
                   "picture_file": png})  # fmt: skip
    else:
        click.echo(summary(plate, name_of(scene, scene_file), seconds, written))


def _write(plate: ExposedPlate, output: Path | None, png: Path | None) -> None:
    if output is not None:
        plate.save(output)
    if png is not None:
        plate.save_png(png)


def record(plate: ExposedPlate) -> dict[str, object]:
    """What there is to tell of a plate, in SI units (illuminance in lx)."""
    report, (row, column) = plate.report, brightest(plate)
    return {
        "title": plate.scene.title,
        "elements": report.elements,
        "wavelengths": report.wavelengths,
        "smoothing": report.smoothing,
        "pixel_error": report.pixel_error,
        "bin_error": report.bin_error,
        "pixels_x": int(plate.x_m.size),
        "pixels_y": int(plate.y_m.size),
        "exposure_s": float(plate.exposure_s),
        "speed": plate.scene.exposure.speed,
        "white_exposure_lx_s": float(plate.white_exposure_lx_s),
        "brightest": {
            "x_m": float(plate.x_m[column]),
            "y_m": float(plate.y_m[row]),
            "illuminance_lx": float(plate.illuminance_lx[row, column]),
            "irradiance_W_m2": float(plate.irradiance[row, column]),
        },
        "power_W": plate.power_W,
        "stage_seconds": dict(report.seconds),
        "seeds": list(report.seeds),
        "notes": list(report.notes),
        "cautions": list(report.cautions),
    }


def brightest(plate: ExposedPlate) -> tuple[int, int]:
    """Row and column of the pixel of greatest illuminance."""
    import numpy as np

    row, column = np.unravel_index(np.argmax(plate.xyz[..., 1]), plate.xyz.shape[:2])
    return int(row), int(column)


def summary(plate: ExposedPlate, name: str, seconds: float, written: list[Path]) -> str:
    """The same in plain words."""
    from wavesim.study.visibility import exposure_words

    report, rows = plate.report, [("plate", name)]
    rows.append(("computed", _computed(plate, seconds)))
    rows.append(("accuracy", _accuracy(plate)))
    rows.append(("exposure", _exposure(plate)))
    rows.append(("brightest", _brightest(plate)))
    rows += [("shows", text) for text in exposure_words(plate)]
    rows.append(("written", ", ".join(str(path) for path in written)))
    rows += [("note", text) for text in report.notes]
    rows += [("caution", text) for text in report.cautions]
    return labelled(rows)


def _computed(plate: ExposedPlate, seconds: float) -> str:
    elements = plate.report.elements
    return (
        f"{elements:,} {_kind(plate, elements)} at {plate.report.wavelengths:,} wavelengths on "
        f"{plate.x_m.size} x {plate.y_m.size} pixels of {length(plate.scene.plate.pixel_m)} "
        f"in {seconds:.2g} s"
    )


def _kind(plate: ExposedPlate, count: int) -> str:
    one = {"slits": "slit", "wires": "gap", "grating": "ruling"}
    name = one.get(plate.scene.aperture.kind, "element")
    return name if count == 1 else name + "s"


def _accuracy(plate: ExposedPlate) -> str:
    report = plate.report
    return (
        f"a pixel is right to {report.pixel_error:.0e} at each wavelength and to "
        f"{report.bin_error:.0e} over all; pixel edges averaged over {report.smoothing}"
    )


def _exposure(plate: ExposedPlate) -> str:
    exposure = plate.scene.exposure
    how = f"{shutter(plate.exposure_s)} at ISO {exposure.speed:g}"
    if exposure.time_s is not None:
        return f"{how}, as the scene says"
    if exposure.over == 0:
        return f"{how}: the brightest pixel is white"
    stops = f"{abs(exposure.over):g} stop{'' if abs(exposure.over) == 1 else 's'}"
    side = "over" if exposure.over > 0 else "under"
    return f"{how}: {stops} {side} the time that shows the brightest pixel white"


def _brightest(plate: ExposedPlate) -> str:
    row, column = brightest(plate)
    y = float(plate.xyz[row, column, 1])
    return (
        f"{plate.illuminance_lx[row, column]:.3g} lx at x = {length(float(plate.x_m[column]))}: "
        f"{y:.3g} lx s, where {plate.white_exposure_lx_s:.3g} lx s is white"
    )
