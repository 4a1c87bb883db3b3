"""wavesim develop: pictures of an exposed plate, as a print, a film or a sensor would show it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.core import ParameterSource

from wavesim.cli.common import echo_json, labelled, plate_named, progress, scene_named
from wavesim.cli.options import Amount, NumberOption, Output, Whole, examples, json_option, writable

if TYPE_CHECKING:
    from wavesim.arrays import Picture
    from wavesim.colorimetry import Material, Rendering
    from wavesim.colorimetry.film import CharacteristicCurve, Reciprocity
    from wavesim.colorimetry.loss import Loss
    from wavesim.lightpath import ExposedPlate
    from wavesim.study.brackets import BracketFrame

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
    keep: str
    curve: str | None = None
    negative: bool = False
    reciprocity: str | None = None
    fog: float | None = None

    @property
    def on_film(self) -> bool:
        """Whether a black-and-white film is asked for."""
        others = self.curve, self.reciprocity, self.fog
        return self.negative or any(given is not None for given in others)

    def film(self, speed: float) -> CharacteristicCurve:
        """Its characteristic curve: the datasheet's, or the usual one at an ISO speed."""
        from wavesim.colorimetry.film import read_curve, usual_curve

        return usual_curve(speed, self.fog) if self.curve is None else read_curve(Path(self.curve))

    def long_exposures(self) -> Reciprocity | None:
        """What the film loses in long exposures: by an exponent, or by a table."""
        from wavesim.colorimetry.film import Schwarzschild, read_reciprocity

        if self.reciprocity is None:
            return None
        try:
            exponent = float(self.reciprocity)
        except ValueError:
            return read_reciprocity(Path(self.reciprocity))
        return Schwarzschild(exponent)

    def rendering(self) -> Rendering:
        """The same for the pictures' maker."""
        from wavesim.colorimetry import Film, Linear, Logarithmic, Rendering

        tone = {"linear": Linear, "film": Film}.get(self.tone, lambda: Logarithmic(self.decades))()
        return Rendering(space=self.space, depth=int(self.depth), tone=tone, keep=self.keep)


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
    help="File to write: .png or .tif. With several --stops, the stops are added to each name.",
)  # fmt: skip
@click.option(
    "--stops", type=NumberOption(-60, 60), multiple=True,
    help="Expose longer by this many stops, or shorter if negative. Repeat for a bracket.",
)  # fmt: skip
@click.option(
    "--tone", type=click.Choice(_TONES), default="linear", show_default=True,
    help="Linear in light; the curve of a film; or logarithmic, which brings out faint orders.",
)  # fmt: skip
@click.option(
    "--decades", type=NumberOption(0.5, 20), help="Decades covered by --tone log.  [default: 4]"
)
@click.option(
    "--space", type=click.Choice(_SPACES), default="srgb", show_default=True,
    help="Colour space of the screen.",
)  # fmt: skip
@click.option(
    "--keep", type=click.Choice(["colour", "luminance"]), default="colour", show_default=True,
    help="For light too bright for the screen in its own colour: keep the colour or the luminance.",
)  # fmt: skip
@click.option(
    "--depth", type=click.Choice(["8", "16", _FLOAT]), default="8", show_default=True,
    help="Bits per channel; 32 is a TIFF in linear light, for image editors.",
)  # fmt: skip
@click.option(
    "--curve", metavar="TABLE.csv",
    help="Black-and-white film with the characteristic curve of a datasheet: log_exposure,density.",
)  # fmt: skip
@click.option(
    "--negative",
    is_flag=True,
    help="Show the film itself on a light table instead of a print from it.",
)
@click.option(
    "--reciprocity", metavar="P|TABLE.csv",
    help="Reciprocity failure in long exposures: Schwarzschild's exponent, for times beyond 1 s, "
        "or the table of a datasheet: metered_s,corrected_s.",
)  # fmt: skip
@click.option(
    "--fog",
    type=NumberOption(0, 3),
    help="Density of base and fog of the generic film.  [default: 0.1]",
)
@click.option(
    "--noise",
    is_flag=True,
    help="Photon noise of a sensor that detects 14 % of the photons of daylight.",
)
@click.option(
    "--grain",
    type=NumberOption(0, 1),
    default=0.0,
    help="RMS granularity of the film; 0.01 is fine-grained.",
)
@click.option(
    "--halation",
    type=NumberOption(0, 1),
    default=0.0,
    help="Fraction of the light that halation spreads into a halo.",
)
@click.option(
    "--halo", type=Amount("length", "60 um", 1e-7, 1.0), default=60e-6, help="Radius of the halo."
)
@click.option(
    "--seed",
    type=Whole(0, 2**63 - 1),
    default=0,
    help="Seed: the same number gives the same noise and grain.",
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
    curve: str | None,
    negative: bool,
    reciprocity: str | None,
    fog: float | None,
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
    look = _Look(tone, decades or 4.0, space, depth, keep, curve, negative, reciprocity, fog)
    _check(look, output, decades)
    steps = tuple(dict.fromkeys(stops)) or (0.0,)
    written = [_named(output, step, alone=len(steps) == 1) for step in steps]
    scene = scene_named(name, *(writable(path, (".png", *_TIFF)) for path in written))
    with progress("develop") as show:
        plate = plate_named(name, scene, show)
        from wavesim.colorimetry import Material
        from wavesim.study.brackets import bracket

        material = Material(halation, halo, noise, grain, seed)
        frames = bracket(plate, steps)
        for frame, path in zip(frames, written, strict=True):
            show(path.name)
            _write(plate, frame, path, look, material)
        losses = [] if depth == _FLOAT or look.on_film else _losses(plate, frames, look, material)
    if as_json:
        echo_json(_record(plate, frames, written, look, losses))
    else:
        click.echo(_summary(plate, frames, written, look, losses))


def _losses(
    plate: ExposedPlate, frames: tuple[BracketFrame, ...], look: _Look, material: Material
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
        raise click.UsageError("--seed needs --noise or --grain")
    if decades is not None and look.tone != "log":
        raise click.UsageError(f"--decades needs --tone log, not --tone {look.tone}")
    if look.on_film and (look.tone != "linear" or look.depth == _FLOAT):
        raise click.UsageError(
            "--curve, --negative, --reciprocity and --fog make a film's grey picture of 8 or 16 "
            "bits; omit --tone and --depth 32"
        )
    if look.fog is not None and look.curve is not None:
        raise click.UsageError("--fog is for the generic film; a --curve has its own base and fog")
    if look.on_film and given & {"noise", "grain", "halation"}:
        raise click.UsageError(
            "--curve, --negative, --reciprocity and --fog cannot be combined with noise and grain"
        )
    if look.depth != _FLOAT:
        return
    if output.suffix.lower() not in _TIFF:
        raise click.UsageError(f"--depth 32 needs a TIFF file (.tif), not {output.name}")
    if look.tone != "linear":
        raise click.UsageError(f"--depth 32 is linear light, without --tone {look.tone}")


def _named(output: Path, stops: float, *, alone: bool) -> Path:
    return output if alone else output.with_stem(f"{output.stem}{stops:+g}")


def _write(
    plate: ExposedPlate, frame: BracketFrame, path: Path, look: _Look, material: Material
) -> None:
    from wavesim.colorimetry import save_png, save_tiff
    from wavesim.colorimetry.plates import developed, linear_light

    if look.depth == _FLOAT:
        light = linear_light(plate, look.space, stops=frame.stops, material=material)
        return save_tiff(path, light, space=look.space)
    rendering = look.rendering()
    if look.on_film:
        picture = _filmed(plate, frame, look)
    else:
        picture = developed(plate, rendering, stops=frame.stops, material=material)
    if path.suffix.lower() in _TIFF:
        return save_tiff(path, picture, space=look.space)
    title = " · ".join(part for part in (plate.scene.title, rendering.tone.label) if part)
    return save_png(path, picture, space=look.space, title=title)


def _filmed(plate: ExposedPlate, frame: BracketFrame, look: _Look) -> Picture:
    from wavesim.colorimetry.film import filmed

    return filmed(
        plate, look.film(plate.scene.exposure.speed), look.rendering(), stops=frame.stops,
        reciprocity=look.long_exposures(), negative=look.negative,
    )  # fmt: skip


def _record(
    plate: ExposedPlate,
    frames: tuple[BracketFrame, ...],
    written: list[Path],
    look: _Look,
    losses: list[Loss],
) -> dict[str, object]:
    pictures: list[dict[str, object]] = [
        {"picture_file": str(path), "stops": frame.stops, "time_s": frame.time_s}
        for frame, path in zip(frames, written, strict=True)
    ]
    for entry, lost in zip(pictures, losses, strict=False):
        median, most = lost.difference
        entry |= {"colour_lost": lost.colour, "luminance_lost": lost.luminance,
                  "colour_difference_median": median,
                  "colour_difference_largest": most}  # fmt: skip
    if look.on_film:
        for entry, frame in zip(pictures, frames, strict=True):
            entry["densities"] = _densities(plate, frame, look)
    return {
        "cautions": plate.report.cautions,
        "tone": look.tone,
        "space": look.space,
        "depth": int(look.depth),
        "pictures": pictures,
    }


def _summary(
    plate: ExposedPlate,
    frames: tuple[BracketFrame, ...],
    written: list[Path],
    look: _Look,
    losses: list[Loss],
) -> str:
    from wavesim.text import nearest_shutter, shutter

    rows = [("plate", plate.scene.title)]
    late = look.long_exposures()
    for frame, path in zip(frames, written, strict=True):
        label = f"{frame.stops:+g} stop{'' if abs(frame.stops) == 1 else 's'}"
        line = f"{shutter(frame.time_s)}, {path}: {frame.brief}"
        rows.append((label if frame.stops else "as exposed", line))
        speed, off = nearest_shutter(frame.time_s)
        if abs(off) < 1:
            rows.append(("shutter", f"{speed} is the nearest speed, {off:+.1f} stops"))
        if look.on_film:
            rows.append(("density", _density(plate, frame, look)))
        if late is not None and frame.time_s > late.factor(frame.time_s) * frame.time_s:
            rows.append(("reciprocity", _long_exposure(frame.time_s, late)))
    if look.depth != _FLOAT and (label := look.rendering().tone.label):
        rows.append(("tone", label))
    if look.on_film:
        rows.append(("film", _stock(plate, look)))
    for lost in losses:
        if lost.sentence:
            rows.append(("gamut", f"{look.space}: {lost.sentence}"))
    rows += [("caution", text) for text in plate.report.cautions]
    return labelled(rows)


def _density(plate: ExposedPlate, frame: BracketFrame, look: _Look) -> str:
    """What the film records, between what it can."""
    curve, (low, high) = look.film(plate.scene.exposure.speed), _densities(plate, frame, look)
    least, most = curve.density.min(), curve.density.max()
    return f"{low:.2f} to {high:.2f}; the film can record {least:.2f} to {most:.2f}"


def _densities(plate: ExposedPlate, frame: BracketFrame, look: _Look) -> tuple[float, float]:
    """The least and the highest density on the film."""
    from wavesim.colorimetry.film import densities

    curve, late = look.film(plate.scene.exposure.speed), look.long_exposures()
    found = densities(plate, curve, stops=frame.stops, reciprocity=late)
    return float(found.min()), float(found.max())


def _long_exposure(time_s: float, late: Reciprocity) -> str:
    """What of a long exposure counts, and the time that makes up for it."""
    from wavesim.text import shutter

    counts, wanted = late.factor(time_s) * time_s, late.corrected_time(time_s)
    beyond = math.isnan(wanted)
    cure = "the table ends below this time" if beyond else f"{shutter(wanted)} compensates for it"
    return f"{shutter(time_s)} counts as {shutter(counts)}; {cure}"


def _stock(plate: ExposedPlate, look: _Look) -> str:
    """The film in words."""
    curve = look.film(plate.scene.exposure.speed)
    kind = "transparency" if curve.reversal else "negative" if look.negative else "print"
    source = look.curve or f"the generic curve at ISO {plate.scene.exposure.speed:g}"
    line = f"{kind}, {source}, base and fog {curve.density.min():.2f}"
    late = look.long_exposures()
    return line if late is None else f"{line}, {late.label}"
