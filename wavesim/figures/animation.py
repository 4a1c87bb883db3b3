"""Plates one after the other, as an animation: slits added, a grating turned, more light."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

from matplotlib.figure import Figure
from PIL import Image, ImageColor

from wavesim.colorimetry import Rendering
from wavesim.errors import within
from wavesim.figures.movie import check_movies, write_mp4
from wavesim.figures.sheets import one_each, sheet
from wavesim.figures.strips import range_of
from wavesim.figures.style import Size, size_named
from wavesim.files import check_ending, replacing
from wavesim.plate import Plate

FORMATS = (".gif", ".png", ".webp", ".mp4")
_WIDTH_PX = 1200
_NEAR = 8  # Pillow's search for the nearest colour tells no finer apart


def animate(
    plates: Sequence[Plate],
    path: str | Path,
    *,
    labels: Sequence[str] | None = None,
    seconds: float = 1.0,
    size: str | Size = "web",
    title: str = "",
    rendering: Rendering | None = None,
) -> None:
    """Write plates as an animation that repeats, all on one scale; atomically.

    GIF has 256 colours a frame and dithers; animated PNG (.png) and WebP (.webp) keep them all.
    MP4 (.mp4) is for players and slides, does not repeat by itself, and needs PyAV.

    Parameters
    ----------
    path : ends in .gif, .png, .webp or .mp4
    seconds : [s] for which each plate stands; the last one stands twice as long

    Raises
    ------
    OutputError
        Another ending, a place that cannot be written, or an MP4 without an encoder.
    InputError
        No plates, labels that do not fit them, or a time that is not positive.
    """
    kind = check_ending(path, FORMATS)
    within("seconds", seconds, 0.02, 600.0)
    if kind == ".mp4":
        check_movies(path)
    size = size_named(size)
    frames = _frames(plates, labels, size, title, rendering)
    if kind == ".mp4":
        with replacing(path) as temporary:
            write_mp4(temporary, frames, seconds)
        return
    times = [round(1000 * seconds)] * len(frames)
    times[-1] *= 2
    if kind == ".gif":
        frames = [_with_palette(frame, size) for frame in frames]
    options = {"lossless": True} if kind == ".webp" else {}
    with replacing(path) as temporary:
        frames[0].save(
            temporary,
            format=kind[1:].upper(),
            save_all=True,
            loop=0,
            append_images=frames[1:],
            duration=times,
            **options,
        )


def _frames(
    plates: Sequence[Plate],
    labels: Sequence[str] | None,
    size: Size,
    title: str,
    rendering: Rendering | None,
) -> list[Image.Image]:
    names = one_each("labels", labels, plates) or [plate.scene.title for plate in plates]
    across = range_of(plates)
    coarse = replace(size, dpi=min(size.dpi, _WIDTH_PX / size.width_in))
    drawn = [
        _pixels(
            sheet(
                [plate],
                labels=[name],
                size=coarse,
                title=title,
                x_range_m=across,
                rendering=rendering,
            )
        )
        for plate, name in zip(plates, names, strict=True)
    ]
    return _same_height(drawn, coarse.paper)


def _pixels(figure: Figure) -> Image.Image:
    stream = io.BytesIO()
    figure.savefig(stream, format="png")
    return Image.open(stream).convert("RGB")


def _with_palette(frame: Image.Image, size: Size) -> Image.Image:
    """The frame in its own best colours, dithered, with paper and ink among them as they are.

    Pillow dithers only to a palette that is given.
    """
    own = [ImageColor.getrgb(colour)[:3] for colour in (size.paper, size.ink)]
    best = frame.quantize(254, method=Image.Quantize.MEDIANCUT).getpalette() or []
    colours = [tuple(best[k : k + 3]) for k in range(0, len(best), 3)]
    apart = [
        colour
        for colour in colours[:254]
        if all(max(abs(a - b) for a, b in zip(colour, o, strict=True)) > _NEAR for o in own)
    ]
    palette = Image.new("P", (1, 1))
    palette.putpalette([value for colour in (*own, *apart) for value in colour])
    return frame.quantize(palette=palette, dither=Image.Dither.FLOYDSTEINBERG)


def _same_height(images: list[Image.Image], paper: str) -> list[Image.Image]:
    height = max(image.height for image in images)
    frames = []
    for image in images:
        frame = Image.new("RGB", (image.width, height), paper)
        frame.paste(image)
        frames.append(frame)
    return frames
