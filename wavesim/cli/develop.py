"""wavesim develop: pictures of an exposed plate, as a print, a film or a sensor would show it."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from wavesim.cli.common import echo_json, labelled, plate_named, progress, scene_named
from wavesim.cli.options import Amount, Number, Output, Whole, examples, json_option, writable

if TYPE_CHECKING:
    from wavesim.colorimetry import Material, Rendering
    from wavesim.colorimetry.loss import Loss
    from wavesim.lightpath import ExposedPlate
    from wavesim.study.exposure import Frame

_TIFF = (".tif", ".tiff")
_TONES = ("linear", "film", "log")
_SPACES = ("srgb", "display-p3", "rec2020")
_FLOAT = "32"


@dataclass(frozen=True)
class _Look:
    """How the pictures are to look."""

    tone: str
    decades: float
    space: str
    depth: str
    kept: str

    def rendering(self) -> Rendering:
        """The same for the pictures' maker."""
        from wavesim.colorimetry import Film, Linear, Logarithmic, Rendering

        tone = {"linear": Linear, "film": Film}.get(self.tone, lambda: Logarithmic(self.decades))()
        return Rendering(space=self.space, depth=int(self.depth), tone=tone, kept=self.kept)


@click.command(
    short_help="Make other pictures of an exposed plate: brackets, film, wide gamut.",
    epilog=examples(
        "wavesim develop scenes/slits_005.toml \\\n"
        "    --stops -2 --stops 0 --stops 2 -o bracket.png",
        "wavesim develop scenes/slits_005.toml \\\n    --tone film --grain 0.01 --halation 0.03",
    ),
)
@click.argument("name", metavar="SCENE")
@click.option(
    "-o", "output", type=Output(".png", *_TIFF), default="developed.png", show_default=True,
    help="Write here: .png or .tif. Of several pictures each gets its stops added to the name.",
)  # fmt: skip
@click.option(
    "--stops", type=Number(-60, 60), multiple=True,
    help="Expose so many stops longer, or shorter if negative. Repeat it for a bracket.",
)  # fmt: skip
@click.option(
    "--tone", type=click.Choice(_TONES), default="linear", show_default=True,
    help="Linear in light; the curve of a film; or logarithmic, which lifts faint orders.",
)  # fmt: skip
@click.option(
    "--decades", type=Number(0.5, 20), help="Decades that --tone log spans.  [default: 4]"
)
@click.option(
    "--space", type=click.Choice(_SPACES), default="srgb", show_default=True,
    help="Colour space of the screen.",
)  # fmt: skip
@click.option(
    "--keep", type=click.Choice(["colour", "luminance"]), default="colour", show_default=True,
    help="What to keep of a light too strong for the screen in its colour.",
)  # fmt: skip
@click.option(
    "--depth", type=click.Choice(["8", "16", _FLOAT]), default="8", show_default=True,
    help="Bits for each of red, green, blue; 32 is a TIFF of linear light, for image editors.",
)  # fmt: skip
@click.option(
    "--noise", is_flag=True, help="Photon noise of a sensor that counts half the photons."
)
@click.option(
    "--grain", type=Number(0, 1), default=0.0, help="RMS granularity: 0.01 is a fine-grained film."
)
@click.option(
    "--halation", type=Number(0, 1), default=0.0, help="Fraction of the light in the halo."
)
@click.option(
    "--halo", type=Amount("length", "60 um", 1e-7, 1.0), default=60e-6, help="Radius of the halo."
)
@click.option(
    "--seed",
    type=Whole(0, 2**31),
    default=0,
    help="The same number draws the same noise and grain.",
)
@json_option
def command(
    name: str,
    output: Path,
    stops: tuple[float, ...],
    tone: str,
    decades: float | None,
    space: str,
    keep: str,
    depth: str,
    noise: bool,
    grain: float,
    halation: float,
    halo: float,
    seed: int,
    as_json: bool,
) -> None:
    """Make pictures of a plate: a bracket of exposures, a film's tone and grain, a wider gamut.

    SCENE is a scene file, exposed first, or a plate file (.h5) exposed before.
    """
    look = _Look(tone, decades or 4.0, space, depth, keep)
    _check(look, output, decades)
    steps = tuple(dict.fromkeys(stops)) or (0.0,)
    written = [_named(output, step, alone=len(steps) == 1) for step in steps]
    scene = scene_named(name, *(writable(path, (".png", *_TIFF)) for path in written))
    with progress("develop") as show:
        plate = plate_named(name, scene, show)
        from wavesim.colorimetry import Material
        from wavesim.study.exposure import bracket

        material = Material(halation, halo, noise, grain, seed)
        frames = bracket(plate, steps)
        for frame, path in zip(frames, written, strict=True):
            show(path.name)
            _write(plate, frame, path, look, material)
        losses = [] if depth == _FLOAT else _losses(plate, frames, look, material)
    if as_json:
        echo_json(_record(frames, written, look, losses))
    else:
        click.echo(_summary(plate, frames, written, look, losses))


def _losses(
    plate: ExposedPlate, frames: tuple[Frame, ...], look: _Look, material: Material
) -> list[Loss]:
    from wavesim.colorimetry.plates import given_up

    style = look.rendering()
    return [given_up(plate, style, stops=frame.stops, material=material) for frame in frames]


def _check(look: _Look, output: Path, decades: float | None) -> None:
    """Refuse options that would be given for nothing."""
    context = click.get_current_context()
    given = {
        name for name in context.params
        if context.get_parameter_source(name) is ParameterSource.COMMANDLINE
    }  # fmt: skip
    if "halo" in given and not context.params["halation"]:
        raise click.UsageError("--halo needs --halation; expected --halation 0.03, for instance")
    if "seed" in given and not (context.params["noise"] or context.params["grain"]):
        raise click.UsageError("--seed needs --noise or --grain, which it draws")
    if decades is not None and look.tone != "log":
        raise click.UsageError(f"--decades needs --tone log, not --tone {look.tone}")
    if look.depth != _FLOAT:
        return
    if output.suffix.lower() not in _TIFF:
        raise click.UsageError(f"--depth 32 needs a TIFF file (.tif), not {output.name}")
    if look.tone != "linear":
        raise click.UsageError(f"--depth 32 is linear light, without --tone {look.tone}")


def _named(output: Path, stops: float, *, alone: bool) -> Path:
    return output if alone else output.with_stem(f"{output.stem}{stops:+g}")


def _write(plate: ExposedPlate, frame: Frame, path: Path, look: _Look, material: Material) -> None:
    from wavesim.colorimetry import save_png, save_tiff
    from wavesim.colorimetry.plates import developed, linear_light

    if look.depth == _FLOAT:
        light = linear_light(plate, look.space, stops=frame.stops, material=material)
        return save_tiff(path, light, space=look.space)
    rendering = look.rendering()
    picture = developed(plate, rendering, stops=frame.stops, material=material)
    if path.suffix.lower() in _TIFF:
        return save_tiff(path, picture, space=look.space)
    title = " · ".join(part for part in (plate.scene.title, rendering.tone.label) if part)
    return save_png(path, picture, space=look.space, title=title)


def _record(
    frames: tuple[Frame, ...], written: list[Path], look: _Look, losses: list[Loss]
) -> dict[str, object]:
    pictures: list[dict[str, object]] = [
        {"picture_file": str(path), "stops": frame.stops, "time_s": frame.time_s}
        for frame, path in zip(frames, written, strict=True)
    ]
    for entry, lost in zip(pictures, losses, strict=False):
        entry |= {"colour_given_up": lost.colour, "luminance_given_up": lost.luminance}
    return {
        "tone": look.tone,
        "space": look.space,
        "depth": int(look.depth),
        "pictures": pictures,
    }


def _summary(
    plate: ExposedPlate,
    frames: tuple[Frame, ...],
    written: list[Path],
    look: _Look,
    losses: list[Loss],
) -> str:
    from wavesim.text import shutter

    rows = [("plate", plate.scene.title)]
    for frame, path in zip(frames, written, strict=True):
        label = f"{frame.stops:+g} stop{'' if abs(frame.stops) == 1 else 's'}"
        words = f"{shutter(frame.time_s)}, {path}: {frame.brief}"
        rows.append((label if frame.stops else "as exposed", words))
    if look.depth != _FLOAT and (label := look.rendering().tone.label):
        rows.append(("tone", label))
    for lost in losses:
        if lost.sentence:
            rows.append(("given up", f"in {look.space}: {lost.sentence}"))
    rows += [("caution", text) for text in plate.report.cautions]
    return labelled(rows)
