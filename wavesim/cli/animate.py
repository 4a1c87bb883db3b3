"""wavesim animate: one value of a scene varied, as a moving picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
    Progress,
    check_apart,
    check_output,
    echo_json,
    json_option,
    name_of,
    progress,
)

if TYPE_CHECKING:
    from wavesim.plate import Plate
    from wavesim.scene import Scene


@click.command(
    epilog="Example: wavesim animate scenes/slits_005.toml --vary aperture.count=1,2,3,5,9 "
    "-o slits.gif"
)
@click.argument("scene_file", metavar="SCENE")
@click.option(
    "--vary", required=True, metavar="KEY=VALUE,VALUE...",
    help='Key of the scene and its values: bench.turn="8 deg, 9 deg".',
)  # fmt: skip
@click.option(
    "-o", "output", metavar="FILE", type=click.Path(path_type=Path), default=Path("plates.gif"),
    show_default=True, help="Write here: .gif, .png or .webp.",
)  # fmt: skip
@click.option("--seconds", type=float, default=1.0, show_default=True, help="Time for each frame.")
@click.option(
    "--each", is_flag=True,
    help="Expose every frame for its own time, instead of all for the shortest one.",
)  # fmt: skip
@click.option(
    "--size", type=click.Choice(["page", "slide", "web"]), default="web", show_default=True,
    help="For paper, projector or screen.",
)  # fmt: skip
@click.option("--title", default="", help="Title above the picture.")
@json_option
def command(
    scene_file: str,
    vary: str,
    output: Path,
    seconds: float,
    each: bool,
    size: str,
    title: str,
    as_json: bool,
) -> None:
    """Move SCENE's picture: slits added, a grating turned, an exposure growing.

    Every value of --vary makes a frame. All frames are exposed for the same time, the one that
    suits the brightest; where the exposure itself is varied, for the times given.
    """
    from wavesim.scene import load
    from wavesim.study.frames import varied

    key, values = _values(vary)
    check_output(output)
    scene = load(scene_file)
    scenes = varied(scene, key, values, file=scene_file)
    check_apart(output, scene_file, *scenes)
    with progress(name_of(scene, scene_file)) as show:
        labels = [f"{key.rpartition('.')[2].replace('_', ' ')}: {value}" for value in values]
        plates = _plates(scenes, labels, show, common=not each and not key.startswith("exposure."))
        show("pictures")
        from wavesim.figures import animate

        heading = title or f"{name_of(scene, scene_file)}, {key} varied"
        animate(plates, output, labels=labels, seconds=seconds, size=size, title=heading)
    times = [plate.exposure_s for plate in plates]
    if as_json:
        frames = [{"value": v, "exposure_s": t} for v, t in zip(values, times, strict=True)]
        echo_json({"scene_file": scene_file, "animation_file": str(output), "key": key,
                   "frames": frames})  # fmt: skip
    else:
        click.echo(f"{len(plates)} frame{'' if len(plates) == 1 else 's'} in {output}")


def _values(text: str) -> tuple[str, list[str | int | float | bool]]:
    """Key and values of "KEY=VALUE,VALUE"."""
    key, equals, rest = text.partition("=")
    values = [part.strip() for part in rest.split(",")]
    if not equals or not key.strip() or not all(values):
        raise click.UsageError(
            f"--vary {text!r} names no key with its values; expected aperture.count=1,2,3"
        )
    return key.strip(), [_value(part) for part in values]


def _value(text: str) -> str | int | float | bool:
    if text in ("true", "false"):
        return text == "true"
    for kind in (int, float):
        try:
            return kind(text)
        except ValueError:
            continue
    return text.strip("\"'")


def _plates(scenes: list[Scene], labels: list[str], show: Progress, *, common: bool) -> list[Plate]:
    from wavesim.lightpath import expose
    from wavesim.study.frames import together

    plates: list[Plate] = []
    for scene, label in zip(scenes, labels, strict=True):
        show(label)
        plates.append(expose(scene))
    return together(plates) if common else plates
