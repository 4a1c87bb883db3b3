"""Makes the small pictures beside this file, one of each shipped scene, and the near-field series.

python scenes/pictures/make.py [NAME...]
"""

import math
import sys
from collections.abc import Callable, Iterable
from pathlib import Path

from matplotlib.figure import Figure
from PIL import Image

from wavesim import Plate, Scene, expose, load, predict
from wavesim.colorimetry import Rendering, save_png
from wavesim.figures import Mark, order_positions, plate_figure, save, sheet
from wavesim.figures.line_marks import line_marks
from wavesim.figures.pictures import drawn
from wavesim.figures.strips import in_two_dimensions
from wavesim.figures.style import WEB

HERE = Path(__file__).parent
PIXELS = 180_000  # 1200 x 150 of a long plate
WIDE = 800  # pixels across a plate in two dimensions
MOST_BYTES = {False: 60_000, True: 700_000}  # of a strip; in two dimensions
PLAIN = Rendering(dither=False)  # equal rows pack to a tenth of the size
SERIES = "near_double_slit_series"
DISTANCES = {"5mm": "1.2 mm", "20mm": "2.4 mm", "80mm": "4 mm", "400mm": "6 mm", "2m": "6 mm"}
NAMES = {
    "C": "C (Hα)", "F": "F (Hβ)", "G'": "G' (Hγ)", "589.0": "D2", "589.6": "D1",
    "577.0": "577.0, 579.1",
}  # fmt: skip


def main() -> None:
    """Expose every scene, or those named, and write their plates or figures."""
    scenes = sorted(file.stem for file in HERE.parent.glob("*.toml"))
    for name in sys.argv[1:] or [*scenes, SERIES]:
        path = HERE / f"{name}.png"
        if name in FIGURES:
            save(FIGURES[name](name), path)
        else:
            write_picture(shipped(name), path)


def shipped(name: str) -> Scene:
    """The scene of that name."""
    return load(HERE.parent / f"{name}.toml")


def write_picture(scene: Scene, path: Path) -> None:
    """The bare plate in as many pixels as its file may hold."""
    plate = expose(scene)
    square = in_two_dimensions(plate)
    if square and plate.x_m.size < WIDE:
        plate = expose(scene.but(plate__pixel=f"{scene.plate.width_m / WIDE * 1e6:.9g} um"))
    pixels = plate.y_m.size * plate.x_m.size if square else PIXELS
    while draw(plate, path, pixels) > MOST_BYTES[square]:
        pixels = pixels * 4 // 5


def draw(plate: Plate, path: Path, pixels: int) -> int:
    """Write the plate in about that many pixels; the file's size in bytes."""
    rows, columns = plate.irradiance.shape
    shrink = min(1.0, math.sqrt(pixels / (rows * columns)))
    small = drawn(plate, round(columns * shrink), round(rows * shrink), rendering=PLAIN)
    save_png(path, small, title=plate.scene.title)
    if in_two_dimensions(plate) and path.stat().st_size > MOST_BYTES[True]:
        best = Image.fromarray(small).quantize(256, dither=Image.Dither.FLOYDSTEINBERG)
        best.save(path, optimize=True)  # of speckle: its own 256 colours
    return path.stat().st_size


def with_profile(name: str) -> Figure:
    """The plate with its profile and the source's lines marked."""
    plate = expose(shipped(name))
    return plate_figure(plate, marks=named(line_marks(plate)), size=WEB, rendering=PLAIN)


def darker_with_profile(name: str) -> Figure:
    """The same, less bright: a saturated green at full brightness hides its dark lines."""
    plate = expose(shipped(name).but(exposure__over=-1.3))
    return plate_figure(plate, marks=named(line_marks(plate)), size=WEB, rendering=PLAIN)


def with_ghosts(name: str) -> Figure:
    """The plate above its profile over decades, ghosts in their own colour."""
    plate = expose(shipped(name))
    return decades(plate, plate.scene.title)


def screw(name: str) -> Figure:
    """The same of the line and the ghosts beside it, without the third order's ultraviolet."""
    scene = shipped(name)
    size = {"plate.width": "13 mm", "plate.height": "2 mm"}
    violet = {"source.filters": [{"kind": "longpass", "edge": "400 nm"}]}
    return decades(expose(scene.but({**size, **violet})), f"{scene.title}, ultraviolet removed")


def decades(plate: Plate, title: str) -> Figure:
    """Plate and logarithmic profile, with the lines and the green one's ghosts."""
    real = Mark(float(order_positions(plate.scene, 1, 535.403e-9)), "535.4", "line")
    marks = [*line_marks(plate), real, *ghosts(plate)]
    return plate_figure(plate, marks=marks, log=True, size=WEB, rendering=PLAIN, title=title)


def ghosts(plate: Plate) -> list[Mark]:
    """Predicted ghosts of the green line, the strongest."""
    found = predict(plate.scene, wavelength="546.0749 nm", ghosts_above=1e-4).ghosts
    return [Mark(ghost.x_m, "ghost", "ghost") for ghost in found if math.isfinite(ghost.x_m)]


def with_scale(name: str) -> Figure:
    """The plate with the source's lines marked and its wavelengths along it."""
    return strip(expose(shipped(name)))


def with_orders(name: str) -> Figure:
    """The plate with its orders marked."""
    return sheet([expose(shipped(name))], size=WEB, rendering=PLAIN)


def anomaly(name: str) -> Figure:
    """The plate with its wavelengths, and where order 2 passes off: d (1 + sin alpha) / 2."""
    plate = expose(shipped(name))
    scene = plate.scene
    off_m = scene.aperture.mean_pitch_m * (1 + math.sin(scene.bench.alpha_rad)) / 2
    mark = Mark(float(order_positions(scene, 1, off_m)), "order 2 passes off", "line")
    return strip(plate, marks=[mark])


def dark_lines(name: str) -> Figure:
    """Three orders with the same dark lines marked in each, the profile below."""
    plate = expose(shipped(name))
    marks = [
        Mark(float(order_positions(plate.scene, order, nm * 1e-9)), f"{letter}", "line")
        for letter, nm in (("F", 486.13), ("b", 517.5), ("E", 527.0))
        for order in (1, 2, 3)
    ]
    return plate_figure(plate, marks=marks, size=WEB, rendering=PLAIN)


def strip(plate: Plate, note: str = "", marks: Iterable[Mark] | None = None) -> Figure:
    """One plate with its lines, its wavelengths and what to know of the picture."""
    label = f"{plate.scene.title}; {note}" if note else plate.scene.title
    chosen = named(line_marks(plate)) if marks is None else list(marks)
    return sheet([plate], labels=[label], marks=[chosen], size=WEB, rendering=PLAIN)


def named(marks: Iterable[Mark]) -> list[Mark]:
    """The marks that have a name here, under that name; the rest as they are."""
    return [mark._replace(label=NAMES.get(mark.label, mark.label)) for mark in marks]


def mercury(name: str) -> Figure:
    """The lines' part of the plate, with a wider source slit: more than hairs."""
    change = {"source.slit.width": "0.2 mm", "plate.width": "110 mm", "plate.centre": "-27 mm"}
    plate = expose(shipped(name).but(change))
    return strip(plate, "slit opened to 0.2 mm for this picture")


def worn(name: str) -> Figure:
    """Three orders with a wider and longer source slit, the two strongest lines marked."""
    size = {"source.slit.width": "0.6 mm", "source.slit.height": "20 mm", "plate.height": "30 mm"}
    scene = shipped(name).but(size)
    marks = [
        Mark(float(order_positions(scene, order, nm * 1e-9)), f"{nm:.1f}, order {order}", "line")
        for nm in (546.075, 435.833)
        for order in (1, 2, 3)
    ]
    label = f"{scene.title}; slit 0.6 x 20 mm for this picture"
    return sheet([expose(scene)], labels=[label], marks=[marks], size=WEB, rendering=PLAIN)


def step_orders(name: str) -> Figure:
    """The line in the first order, and in the second, each where the camera looks along it."""
    first = shipped(name)
    turn = math.degrees(math.asin(2 * 532e-9 * 600e3))  # sin b = m lambda / d
    return sheet(
        [expose(first), expose(first.but(bench__viewing=f"{turn:.5f} deg"))],
        labels=["First order: twins", "Second order: half a pitch is a whole wave"],
        marks=[(), ()],
        size=WEB,
        title=first.title,
        rendering=PLAIN,
    )


def near_series(_: str) -> Figure:
    """The double slit from shadow to far field on one scale; near plates as wide as their light."""
    plates = [
        expose(
            shipped(f"near_double_slit_{at}").but(
                plate__width=width, plate__height="0.32 mm", plate__pixel="8 um"
            )
        )
        for at, width in DISTANCES.items()
    ]
    return sheet(
        plates,
        labels=[f"{at.replace('m', ' m', 1)} behind the slits" for at in DISTANCES],
        size=WEB,
        title="A double slit from shadow to far field, on one scale",
        rendering=PLAIN,
    )


FIGURES: dict[str, Callable[[str], Figure]] = {
    **dict.fromkeys(("grating_1200_blue", "grating_1200_green", "grating_1200_red"), with_scale),
    **dict.fromkeys(("grating_600", "lens_rim", "lens_single", "plate_tilted"), with_scale),
    **dict.fromkeys(("slit_turned", "slit_wedge", "plane_bow", "plane_fan"), with_scale),
    **dict.fromkeys(("anomalies_across", "anomalies_along"), anomaly),
    **dict.fromkeys(("blaze_orders", "replica"), with_orders),
    "grating_600_ghosts": with_ghosts,
    "grating_screw": screw,
    "sun_15000": darker_with_profile,
    "sun_250": dark_lines,
    **dict.fromkeys(("sodium_500", "sodium_987", "sodium_2000"), with_profile),
    **dict.fromkeys(("sodium_494_order_2", "grating_sold"), with_profile),
    **dict.fromkeys(("grating_sodium_resolved", "grating_sodium_unresolved"), with_profile),
    "grating_600_mercury": mercury,
    "grating_worn": worn,
    "grating_step": step_orders,
    SERIES: near_series,
}


if __name__ == "__main__":
    main()
