"""wavesim animate: one value of a scene varied, as an animation."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import click

from wavesim.cli.common import (
    Progress,
    cautions,
    check_apart,
    echo_json,
    labelled,
    name_of,
    progress,
    scene_named,
)
from wavesim.cli.options import (
    Look,
    NumberOption,
    examples,
    figure_options,
    json_option,
    workers_option,
)

if TYPE_CHECKING:
    from wavesim.plate import Plate
    from wavesim.scene import Scene


_PIXEL_BYTES = 48  # of a plate that is held: exposure, irradiance, its picture
_MOST_NAMED = 6  # values in a title


@click.command(
    short_help="Make an animation: slits added, a grating turned.",
    epilog=examples(
        "wavesim animate scenes/slits_005.toml --vary aperture.count=1,2,3,5,9 \\\n"
        "    -o slits.gif",
        "wavesim animate scenes/slits_005.toml \\\n"
        '    --vary "aperture.pitch=60 um, 90 um, 120 um"',
    ),
)
@click.argument("scene_file", metavar="SCENE")
@click.option(
    "--vary", required=True, metavar="KEY=VALUE,VALUE...",
    help="Key of the scene and its values, as in a scene file (texts without quotes).",
)  # fmt: skip
@figure_options("plates.gif", "web", ".gif", ".png", ".webp", ".mp4")
@click.option(
    "--seconds",
    type=NumberOption(0.02, 600),
    default=1.0,
    show_default=True,
    help="Duration of each frame [s].",
)
@click.option(
    "--one-time", is_flag=True,
    help="Use one exposure time for all frames, the shortest of theirs, so that brightnesses "
        "compare.",
)  # fmt: skip
@workers_option
@json_option
def command(
    scene_file: str,
    vary: str,
    output: Path,
    seconds: float,
    one_time: bool,
    title: str,
    look: Look,
    workers: int,
    as_json: bool,
) -> None:
    """Make an animation of SCENE: slits added, a grating turned, an exposure growing.

    SCENE is a scene file, or a plate file (.h5), whose scene is used. Every value of --vary makes
    a frame, exposed for its own time; with --one-time all are exposed for the time that suits the
    brightest. MP4 needs pip install "wavesim[video]".
    """
    from wavesim.study.frames import varied

    key, values = _values(vary)
    scene = scene_named(scene_file, output)
    scenes = varied(scene, key, values, file=scene_file)
    check_apart(output, scene_file, *scenes)
    with progress(name_of(scene, scene_file)) as show:
        labels = [f"{key.rpartition('.')[2].replace('_', ' ')}: {value}" for value in values]
        plates = _plates(scenes, labels, show, common=one_time, workers=workers)
        show("pictures")
        from wavesim.figures import animate

        heading = title or _heading(key, values)
        animate(plates, output, labels=labels, seconds=seconds, size=look.of_figure(),
                title=heading)  # fmt: skip
    times = [plate.exposure_s for plate in plates]
    if as_json:
        frames = [{"value": v, "exposure_s": t} for v, t in zip(values, times, strict=True)]
        echo_json({"scene_file": scene_file, "animation_file": str(output), "key": key,
                   "frames": frames, "cautions": [text for _, text in cautions(plates)],
                   })  # fmt: skip
    else:
        count = f"{len(plates)} frame{'' if len(plates) == 1 else 's'}"
        click.echo(labelled([("written", f"{count} in {output}"), *cautions(plates)]))


def _heading(key: str, values: list[str | int | float | bool]) -> str:
    """What is varied, and over what: true of every frame, as the scene's own title is not."""
    texts = [str(value) for value in values]
    if len(texts) > _MOST_NAMED:
        texts = [*texts[: _MOST_NAMED - 2], "\N{HORIZONTAL ELLIPSIS}", texts[-1]]
    return f"{key} = {', '.join(texts)}"


def _values(text: str) -> tuple[str, list[str | int | float | bool]]:
    """Key and values of "KEY=VALUE,VALUE"."""
    key, equals, rest = text.partition("=")
    values = [part.strip() for part in rest.split(",")]
    if not equals or not key.strip() or not all(values):
        raise click.UsageError(
            f"--vary {text!r} needs a key and its values; expected aperture.count=1,2,3"
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


def _plates(
    scenes: list[Scene], labels: list[str], show: Progress, *, common: bool, workers: int
) -> list[Plate]:
    from wavesim.ensemble.engine import mapped
    from wavesim.lightpath import LightPath, expose
    from wavesim.memory import require_memory
    from wavesim.plate.duration import announced
    from wavesim.study.frames import together

    require_memory(
        _PIXEL_BYTES * sum(float(s.plate.pixels_x) * s.plate.pixels_y for s in scenes),
        what=f" for {len(scenes):,} frames",
        expected="fewer frames, or larger pixels",
    )
    plates: list[Plate] = []
    with mapped(workers) as mapping:
        exposed = mapping(LightPath().expose if workers == 1 else expose, scenes)
        text, shorter = f"for {len(scenes):,} frames", "fewer frames, larger pixels or --workers"
        for label in announced(labels, text, shorter):
            show(label)
            plates.append(next(exposed))
    return together(plates) if common else plates
