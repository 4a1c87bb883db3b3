"""wavesim point: why a place on the plate has its colour."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import echo_json, labelled, name_of, plate_named, progress, scene_named
from wavesim.cli.options import FIGURES, Amount, Output, examples, json_option

if TYPE_CHECKING:
    from wavesim.lightpath import ExposedPlate
    from wavesim.study.point import Point

_LABELS = {"why": "why", "remains": "remains", "extinguished": "gone"}
_DARK, _DARK_STEP_M = 0.01, 1e-9


@click.command(
    epilog=examples(
        'wavesim point scenes/slits_001.toml --x "13.5 mm"',
        'wavesim point scenes/slits_002.toml --angle "0.53 deg" --figure why.png',
    )
)
@click.argument("name", metavar="SCENE")
@click.option(
    "--x", "x_m", type=Amount("length", "9.3 mm"),
    help="Place on the plate, from the camera's axis.",
)  # fmt: skip
@click.option(
    "--angle", "beta_rad", type=Amount("angle", "0.53 deg"),
    help="Diffraction angle, instead of a place.",
)  # fmt: skip
@click.option("--figure", type=Output(*FIGURES), help="Draw its spectrum: .png, .pdf or .svg.")
@json_option
def command(
    name: str, x_m: float | None, beta_rad: float | None, figure: Path | None, as_json: bool
) -> None:
    """Say why a place on SCENE's plate has its colour.

    Which wavelengths are extinguished there and which remain, to what orders they belong and
    with what share of the light, and what a person would call the mixture. SCENE is a scene
    file, exposed first, or a plate file (.h5) exposed before.
    """
    if (x_m is None) == (beta_rad is None):
        raise click.UsageError('name a place with --x "9.3 mm" or an angle with --angle "0.53 deg"')
    scene = scene_named(name, figure)
    with progress("point") as show:
        from wavesim.study.point import explain, place_of_angle

        plate = plate_named(name, scene, show)
        show("spectrum")
        place = place_of_angle(plate, beta_rad) if beta_rad is not None else x_m or 0.0
        found = explain(plate, place)
        if figure is not None:
            _draw(plate, found, figure)
    if as_json:
        echo_json({"file": name, "figure_file": figure, **record(found)})
    else:
        click.echo(_summary(name_of(plate.scene, name), found, figure, plate.report.cautions))


def _draw(plate: ExposedPlate, found: Point, path: Path) -> None:
    from wavesim.figures import save, spectrum_at_point

    save(spectrum_at_point(plate, found.x_m), path)


def record(found: Point) -> dict[str, object]:
    """What there is to tell of a place, in SI units.

    The spectrum is told in full where more than 1 % passes, elsewhere in steps of a nanometre.
    """
    import numpy as np

    spectrum = found.spectrum
    every = max(1, round(_DARK_STEP_M / spectrum.step_m))
    told = (spectrum.passed > _DARK) | (np.arange(spectrum.passed.size) % every == 0)
    return {
        "x_m": found.x_m,
        "beta_rad": found.beta_rad,
        "colour": asdict(found.colour),
        "remaining": [asdict(band) for band in found.remaining],
        "extinguished": [asdict(dark) for dark in found.extinguished],
        "words": list(found.words),
        "spectrum": {
            "full_resolution": spectrum.full,
            "wavelength_m": spectrum.wavelength_m[told].tolist(),
            "irradiance_W_m2_nm": spectrum.irradiance[told].tolist(),
            "passed": spectrum.passed[told].tolist(),
        },
    }


def _summary(title: str, found: Point, figure: Path | None, cautions: tuple[str, ...]) -> str:
    rows = [("plate", title), ("colour", found.words[0])]
    last = ""
    for words in found.words[1:]:
        label, _, text = words.partition(": ")
        if label not in _LABELS:
            label, text = "note", words
        label = _LABELS.get(label, label)
        rows.append(("" if label == last else label, text))
        last = label
    if figure is not None:
        rows.append(("written", str(figure)))
    return labelled(rows + [("caution", text) for text in cautions])
