"""What a bench gives out: its scene, its plate, its picture, a sheet of its pins."""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wavesim.colorimetry import Rendering, png_bytes
from wavesim.colorimetry.plates import picture_of
from wavesim.errors import one_of

if TYPE_CHECKING:
    from wavesim.live.pins import Pins
    from wavesim.live.session import Session

KINDS = ("scene", "plate", "picture", "sheet")


@dataclass(frozen=True)
class File:
    """A file to be handed over: its name, media type and content."""

    name: str
    type: str
    content: bytes


def saved(
    bench: Session, pins: Pins, what: str, paper: str, progress: Callable[[str], None]
) -> File:
    """Make a file of the bench; `what` is one of `KINDS`.

    Raises
    ------
    InputError
        Another kind of file, or another paper.
    """
    one_of("what", what, KINDS)
    stem = _stem(bench.scene.title)
    if what == "scene":
        return File(f"{stem}.toml", "application/toml", bench.text.encode())
    if what == "sheet":
        from wavesim.live.sheets import sheet_pdf

        plates = pins.plates or [bench.expose(progress)]
        stops = [pins.stops_of(number) for number in range(len(pins))] or [0.0]
        titles = pins.titles or [bench.title]
        content = sheet_pdf(plates, paper, titles=titles, stops=stops)
        return File(f"{stem}.pdf", "application/pdf", content)
    plate = bench.expose(progress)
    progress("file")
    if what == "picture":
        return File(f"{stem}.png", "image/png", png_bytes(picture_of_bench(bench)))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "plate.h5"
        plate.save(path)
        return File(f"{stem}.h5", "application/x-hdf5", path.read_bytes())


def picture_of_bench(bench: Session) -> Any:
    """(ny, nx, 3) of the whole plate: in linear tone that of `wavesim expose`."""
    rendering = bench.rendering()
    plate = bench.expose()
    return picture_of(plate, None if rendering == Rendering() else rendering)


def _stem(title: str) -> str:
    parts = re.findall(r"[A-Za-z0-9]+", title)
    return "-".join(parts)[:60].lower() or "plate"
