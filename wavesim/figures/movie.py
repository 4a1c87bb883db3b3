"""Frames as MP4: H.264 by PyAV, which is an optional part of the installation."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from importlib.util import find_spec
from pathlib import Path

import numpy as np
from PIL import Image

from wavesim.errors import OutputError

_RATE = 25.0  # frames a second: players stumble over much slower films
_MOST_REPEATED = 250  # times that one plate's frame is written
_QUALITY = "14"  # of x264's constant rate factor: 18 passes for lossless to the eye
_BT709 = 1  # ITU-R BT.709 primaries, curve and matrix, as ITU-T H.273 numbers them
_TV_RANGE = 1


def check_movies(path: str | Path) -> None:
    """Refuse an MP4 where nothing can write it.

    Raises
    ------
    OutputError
        PyAV is not installed, or was built without an H.264 encoder.
    """
    if find_spec("av") is None:
        raise OutputError(
            "needs PyAV to be written", file=path,
            expected='pip install "wavesim[video]", or .gif, .png or .webp',
        )  # fmt: skip
    import av.codec

    if "libx264" not in av.codec.codecs_available:
        raise OutputError(
            "needs an H.264 encoder, which this PyAV was built without", file=path,
            expected='the wheel that pip install "wavesim[video]" brings, or .gif, .png or .webp',
        )  # fmt: skip


def write_mp4(path: str | Path, frames: Sequence[Image.Image], seconds: float) -> None:
    """Write frames of one size as MP4 (H.264, 4:2:0, BT.709) that any player shows.

    Each stands for `seconds`, the last one twice as long: it is written several times, up to 25 a
    second. An odd edge loses a line of pixels.
    """
    import av

    repeats = min(max(1, round(_RATE * seconds)), _MOST_REPEATED)
    rate = Fraction(repeats / seconds).limit_denominator(100_000)
    with av.open(str(path), "w", format="mp4", options={"movflags": "+faststart"}) as film:
        stream = film.add_stream("libx264", rate=rate)
        context = stream.codec_context
        stream.width, stream.height = (side // 2 * 2 for side in frames[0].size)
        stream.pix_fmt = "yuv420p"
        stream.options = {"crf": _QUALITY, "threads": "1"}
        context.color_primaries = context.color_trc = context.colorspace = _BT709
        context.color_range = _TV_RANGE
        for number, image in enumerate(frames):
            pixels = np.asarray(image)[: stream.height, : stream.width]
            shown = av.VideoFrame.from_ndarray(np.ascontiguousarray(pixels), format="rgb24")
            shown = shown.reformat(format="yuv420p", dst_colorspace="ITU709")
            for _ in range(repeats * (2 if number == len(frames) - 1 else 1)):
                shown.pts = None
                film.mux(stream.encode(shown))
        film.mux(stream.encode(None))
