"""Figures: what is drawn stands where it belongs, nothing is lost, and everything can be read."""

from __future__ import annotations

import itertools
import math
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.axes._base import _AxesBase  # secondary axes too
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Text
from matplotlib.transforms import Bbox
from PIL import Image

from tests import bench
from tests.narrowing import known
from tests.parameters import slow_but
from tests.sample_plates import slit_plate
from wavesim import figures, scene
from wavesim.errors import InputError, OutputError
from wavesim.figures import Labels, Mark
from wavesim.figures.captions import aperture_words, exposure_words
from wavesim.figures.lettering import cut, fitted, width_of, wrapped
from wavesim.figures.marks import legible
from wavesim.figures.pictures import averaged
from wavesim.figures.profiles import envelope
from wavesim.figures.scales import shared_scale, wavelength_scale
from wavesim.figures.spectra import bridged, missing_wavelengths, resampled
from wavesim.figures.style import cautions_of, in_words
from wavesim.plate import Plate

ROOT = Path(__file__).resolve().parents[1]
TILTED = 'collimator = "600 mm"\ncamera = "1 m"\nviewing = "19.3 deg"'
WHITE = 'kind = "illuminant"\nname = "E"'
CAUTION = (
    "Sunlight: never look at the Sun or its image through a slit, lens or grating, nor through "
    "filters not made for the purpose (ISO 12312-2). Local rules and a qualified supervisor decide."
)


def fine(count: int = 6, **size: int) -> Plate:
    """A plate whose pixels match its scene."""
    plate = slit_plate(count, **{"nx": 300, "ny": 40, "nw": 96, **size})  # type: ignore[arg-type]
    pixels = scene.PlateFormat(width_m=0.06, height_m=plate.y_m.size * 2e-4, pixel_m=2e-4)
    report = replace(plate.report, cautions=(CAUTION,))
    return replace(plate, scene=plate.scene.model_copy(update={"plate": pixels}), report=report)


def dark(plate: Plate) -> Plate:
    names = ("irradiance", "xyz", "profile_irradiance", "profile_spectrum")
    return replace(plate, **{name: getattr(plate, name) * 0 for name in names})


def of_lines(plate: Plate) -> Plate:
    """The plate with light at three lone wavelengths."""
    spectrum = plate.profile_spectrum[[10, 40, 70]]
    lines_m = np.array([435.8e-9, 546.1e-9, 578.0e-9])
    return replace(plate, profile_wavelength_m=lines_m, profile_spectrum=spectrum)


def of_disc(millimetres: int = 12) -> Plate:
    """A round spot on a square plate behind a round hole."""
    plate, pixels = slit_plate(1, nx=60, ny=60, nw=48), 60
    side_m = millimetres * 1e-3
    x_m = (np.arange(pixels) - (pixels - 1) / 2) * side_m / pixels
    spot = np.exp(-(x_m[:, None] ** 2 + x_m**2) / 2e-6)
    sides = f'width = "{millimetres} mm"\nheight = "{millimetres} mm"'
    hole = bench.scene(
        "Grating",
        source=WHITE,
        bench=TILTED,
        aperture='kind = "disc"\ndiameter = "0.5 mm"',
        plate=f'{sides}\npixel = "{millimetres * 1000 / 60} um"',
    )
    return replace(
        plate,
        x_m=x_m,
        y_m=x_m,
        irradiance=spot,
        xyz=spot[..., None] * plate.white_xyz * 0.78,
        profile_irradiance=spot[30],
        scene=hole,
    )


def named(plate: Plate, title: str) -> Plate:
    return replace(plate, scene=plate.scene.model_copy(update={"title": title}))


def of_grating() -> Plate:
    ruled = bench.scene(
        "Grating",
        source=WHITE,
        bench=TILTED,
        aperture='kind = "grating"\ndensity = "600 / mm"\ncount = 1000',
        plate='width = "60 mm"\nheight = "8 mm"\npixel = "200 um"',
    )
    plate = fine()
    return replace(plate, scene=ruled, report=replace(plate.report, elements=1000))


def ghosts(size: str) -> Figure:
    x = np.linspace(-2, 2, 30001)
    level = np.sinc(x / 0.01) ** 2 + 1e-11
    marks = [Mark(k * 0.5, f"{k:+d}", "ghost", 10.0 ** -(2 + abs(k))) for k in (-2, -1, 1, 2)]
    return figures.line_profile_figure(
        x,
        level,
        marks=marks,
        x_label="distance (mm)",
        title="Ghosts",
        subtitle="of an error",
        size=size,
    )


def failures(size: str) -> Figure:
    ratio = np.logspace(-3, 0, 50)
    return figures.failure_figure(
        ratio,
        [("small angles", ratio**2 / 2), ("half-width", ratio / 9), ("exact", ratio * 0)],
        tolerance=0.01,
        labels=Labels("Where it stops", "first order", "λ / d", "relative error"),
        fails_at=0.14,
        fails_label="small angles fail from 0.14",
        size=size,
    )


DRAWINGS: dict[str, Callable[[str], Figure]] = {
    "plate": lambda size: figures.plate_figure(fine(), size=size),
    "plate, logarithmic": lambda size: figures.plate_figure(fine(), log=True, size=size),
    "plate with ghosts": lambda size: figures.plate_figure(
        fine(), log=True, size=size, marks=[(0.0, "0"), Mark(9e-3, "ghost", "ghost", 1e-2)]
    ),
    "plate, tall": lambda size: figures.plate_figure(fine(ny=900), size=size),
    "plate, one row": lambda size: figures.plate_figure(fine(ny=1), size=size),
    "plate, dark": lambda size: figures.plate_figure(dark(fine()), log=True, size=size),
    "sheet of one": lambda size: figures.sheet([fine()], size=size),
    "sheet of five": lambda size: figures.sheet(
        [fine(n) for n in (1, 2, 3, 5, 9)], title="The same slits, more of them", size=size
    ),
    "sheet of unlike plates": lambda size: figures.sheet([fine(), of_grating()], size=size),
    "sheet of a grating": lambda size: figures.sheet([of_grating()], size=size),
    "plate in two dimensions": lambda size: figures.plate_figure(of_disc(), size=size),
    "sheet of a square plate": lambda size: figures.sheet([of_disc()], size=size),
    "sheet of square plates": lambda size: figures.sheet(
        [of_disc(mm) for mm in (12, 12, 30, 6, 12)],
        title="Holes and more holes",
        size=size,
        labels=[
            "A hole",
            "A hole that needs very many words to be told from others",
            "C",
            "D",
            "E",
        ],
    ),
    "sheet of hostile words": lambda size: figures.sheet(
        [
            named(fine(), "$x^2$ costs $5, {\\foo \x07\n" + "and never ends " * 20),
            named(fine(), ""),
        ],
        title=r"\frac{$ " + "wide words " * 30,
        size=size,
    ),
    "plate of hostile words": lambda size: figures.plate_figure(
        named(fine(), "$" + "Donaudampfschifffahrt" * 20),
        marks=[(0.0, "$_"), (1.0, "off")],
        size=size,
    ),
    "map": lambda size: figures.wavelength_position_map(fine(), size=size),
    "map of lines": lambda size: figures.wavelength_position_map(of_lines(fine()), size=size),
    "map, dark": lambda size: figures.wavelength_position_map(dark(fine()), size=size),
    "point": lambda size: figures.spectrum_at_point(fine(1), 13.75e-3, size=size),
    "point of lines": lambda size: figures.spectrum_at_point(of_lines(fine()), 0.0, size=size),
    "point, dark": lambda size: figures.spectrum_at_point(dark(fine()), 0.0, size=size),
    "path": lambda size: figures.chromaticity_path(
        fine(), x_range_m=(0, 0.012), stations_m=[5e-3], size=size
    ),
    "ghosts": ghosts,
    "failures": failures,
}


@pytest.fixture(scope="module", params=list(DRAWINGS))
def drawing(request: pytest.FixtureRequest) -> Callable[[str], Figure]:
    return DRAWINGS[request.param]


def written(figure: Figure) -> list[tuple[str, Bbox]]:
    """Every text that is seen, with its box in pixels."""
    figure.set_dpi(72)
    FigureCanvasAgg(figure).draw()
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    unseen = set(unseen_labels(figure))
    return [
        (text.get_text(), text.get_window_extent(renderer))
        for text in figure.findobj(Text)
        if text.get_visible() and text.get_text().strip() and text not in unseen
    ]


def unseen_labels(figure: Figure) -> Iterator[Text]:
    """Labels of ticks that matplotlib keeps beyond the ends of an axis and does not draw."""
    for axes in figure.findobj(_AxesBase):
        for axis in (axes.xaxis, axes.yaxis):
            drawn = axis._update_ticks()  # type: ignore[union-attr]
            for tick in (*axis.get_major_ticks(), *axis.get_minor_ticks()):
                if tick not in drawn:
                    yield from (tick.label1, tick.label2)


@pytest.mark.parametrize("size", slow_but(["slide"], ["page", "slide"]))
def test_every_text_lies_on_the_paper_and_on_no_other(
    drawing: Callable[[str], Figure], size: str
) -> None:
    figure = drawing(size)
    boxes = written(figure)
    paper = figure.bbox
    for text, box in boxes:
        inside = box.x0 >= 0 and box.y0 >= 0 and box.x1 <= paper.x1 and box.y1 <= paper.y1
        assert inside, f"{text!r} runs off the paper"
    for (first, a), (second, b) in itertools.combinations(boxes, 2):
        wide, high = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        # boxes hold room for descenders; a tenth of a line may meet before letters do
        meet = wide > 0 and high > 0.1 * min(a.height, b.height)
        assert not meet, f"{first!r} runs into {second!r}"


@pytest.mark.parametrize("kind", slow_but(["svg"], ["png", "pdf", "svg"]))
@pytest.mark.parametrize(
    "name", slow_but(["point"], ["plate, logarithmic", "sheet of five", "point"])
)
def test_same_figure_same_bytes(name: str, kind: str, tmp_path: Path) -> None:
    for copy in ("one", "two"):
        figures.save(DRAWINGS[name]("web"), tmp_path / f"{copy}.{kind}")
    first, second = ((tmp_path / f"{copy}.{kind}").read_bytes() for copy in ("one", "two"))
    assert first == second
    assert len(first) > 3000


def test_slide_fills_a_screen(tmp_path: Path) -> None:
    figures.save(figures.plate_figure(fine(), size="slide"), tmp_path / "f.png")
    assert Image.open(tmp_path / "f.png").size == (1920, 1080)


@pytest.mark.slow
def test_letters_stay_vectors(tmp_path: Path) -> None:
    figure = figures.sheet([fine()])
    figures.save(figure, tmp_path / "f.pdf")
    figures.save(figure, tmp_path / "f.svg")
    pdf, svg = (tmp_path / "f.pdf").read_bytes(), (tmp_path / "f.svg").read_text()
    assert b"DejaVuSans" in pdf
    assert b"/FontFile2" in pdf  # TrueType, embedded
    assert pdf.count(b"/Subtype /Image") == 1
    assert svg.count("<image") == 1
    assert "DejaVuSans-" in svg  # glyphs as paths, named by their font


@pytest.mark.slow
def test_settings_of_matplotlib_are_left_alone(tmp_path: Path) -> None:
    before = dict(mpl.rcParams)
    figures.save(figures.sheet([fine()]), tmp_path / "f.pdf")
    assert dict(mpl.rcParams) == before


@pytest.mark.slow
def test_no_window_system_and_no_matplotlib_before_a_figure() -> None:
    code = (
        "import sys, wavesim.lightpath; assert 'matplotlib' not in sys.modules\n"
        "import wavesim.figures; assert 'matplotlib.pyplot' not in sys.modules"
    )
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0


# --- where things stand


def test_orders_stand_where_the_grating_equation_puts_them() -> None:
    plate = of_grating()
    marks = figures.order_marks(plate)
    beta = math.asin(550e-9 * 600e3)
    assert [mark.label for mark in marks] == ["1"]
    # double precision: a few roundings of numbers near 1 m
    assert marks[0].position_m == pytest.approx(math.tan(beta - math.radians(19.3)), abs=1e-15)
    wavelength = wavelength_scale(plate, 1)
    assert float(wavelength.forward(marks[0].position_m * 1e3)) == pytest.approx(550, abs=1e-9)
    assert float(wavelength.back(550.0)) == pytest.approx(marks[0].position_m * 1e3, abs=1e-9)


def test_orders_of_slits_are_listed_from_the_middle() -> None:
    labels = [mark.label for mark in figures.order_marks(fine(6))]
    assert labels == ["0", "−1", "1", "−2", "2", "−3", "3", "−4", "4"]
    assert figures.order_marks(fine(1)) == ()


def test_scale_above_a_sheet() -> None:
    grating, slits = of_grating(), fine()
    assert known(shared_scale([grating, grating])).name == "wavelength in order 1 (nm)"
    angle = known(shared_scale([slits, slits]))
    assert angle.name == "diffraction angle"
    assert float(angle.forward(1000.0)) == pytest.approx(45.0, abs=1e-12)  # x = f: 45 degrees
    assert shared_scale([grating, slits]) is None


def test_picture_stands_at_its_place_on_the_plate() -> None:
    plate = fine()
    picture_axes, profile_axes = figures.plate_figure(plate).axes[:2]
    image = picture_axes.images[0]
    np.testing.assert_allclose(image.get_extent(), (-30, 30, -4, 4), atol=1e-9)  # mm
    assert picture_axes.get_xlim() == profile_axes.get_xlim()
    left, _, width, _ = picture_axes.get_position().bounds
    assert (left, width) == profile_axes.get_position().bounds[::2]
    # true proportion: as many millimetres to the inch along as across
    box, (across, along) = (
        picture_axes.get_position(),
        known(picture_axes.get_figure(root=True)).get_size_inches(),
    )
    per_mm = box.width * across / 60, box.height * along / 8
    assert per_mm[0] == pytest.approx(per_mm[1], rel=1e-9)
    assert np.asarray(image.get_array()).shape == (40, 300, 3)


def test_square_plates_are_shown_whole_and_on_one_scale() -> None:
    figure = figures.sheet([of_disc(12), of_disc(30), of_disc(6)])
    sizes = [axes.get_position().bounds[2:] for axes in figure.axes if axes.images]
    across, along = figure.get_size_inches()
    for (width, height), millimetres in zip(sizes, (12, 30, 6), strict=True):
        assert width * across == pytest.approx(height * along, rel=1e-9)
        assert width / sizes[1][0] == pytest.approx(millimetres / 30, rel=1e-9)


def test_no_orders_out_of_focus() -> None:
    plate = fine()
    bench = plate.scene.bench.model_copy(update={"defocus_m": 3e-3})
    near = replace(plate, scene=plate.scene.model_copy(update={"bench": bench}))
    assert figures.order_marks(near) == ()


def test_averaging_keeps_the_light() -> None:
    random = np.random.default_rng(1)
    values = random.random((7, 100, 3))
    fewer = averaged(values, 37, axis=1)
    assert fewer.shape == (7, 37, 3)
    np.testing.assert_allclose(fewer.mean(axis=1), values.mean(axis=1), rtol=1e-13)
    # a mean over cells 2.70.. to 5.40.., by hand
    by_hand = (
        values[:, 2] * (3 - 100 / 37) + values[:, 3] + values[:, 4] + values[:, 5] * (200 / 37 - 5)
    ) / (100 / 37)
    np.testing.assert_allclose(fewer[:, 1], by_hand, rtol=1e-12)
    assert averaged(values, 100, axis=1) is values


def test_no_line_is_lost_in_a_long_profile() -> None:
    x = np.arange(100_003.0)
    y = np.zeros(x.size)
    y[[0, 777, 50_000, -1]] = 1.0, 2.0, 3.0, 4.0
    middle, low, high = envelope(x, y)
    assert middle.size <= 6000
    for pixel, height in ((0, 1), (777, 2), (50_000, 3), (x.size - 1, 4)):
        assert high[np.argmin(np.abs(middle - pixel))] == height
    assert low.min() == 0
    assert np.all(np.diff(middle) > 0)


def test_labels_keep_apart() -> None:
    marks = [Mark(x * 1e-3, f"order {x}") for x in range(30)]
    drawn = legible(marks, 100.0, 8.0)
    assert drawn[0] is marks[0]
    gaps = np.diff([mark.position_m for mark in drawn]) * 100.0
    assert gaps.min() > len("order 0") * 0.52 * 8 / 72
    assert len(legible(marks, 1000.0, 8.0)) == 30


def test_nothing_between_the_lines_of_a_lamp() -> None:
    nodes, values = bridged(np.array([400.0, 401, 402, 500]), np.array([1.0, 2, 1, 5]))
    assert list(nodes) == [399, 400, 401, 402, 403, 499, 500, 501]
    assert list(values) == [0, 1, 2, 1, 0, 0, 5, 0]
    grid = np.array([350, 400.5, 450, 500, 500.5, 600])
    read = resampled(np.array([400.0, 401, 402, 500]), np.array([1.0, 2, 1, 5]), grid)
    np.testing.assert_allclose(read, [0, 1.5, 0, 5, 2.5, 0])


@pytest.mark.parametrize("gone_nm", [480, 550, 620])
def test_slit_extinguishes_the_wavelength_whose_zero_is_there(gone_nm: int) -> None:
    """w sin(beta) = lambda is the first zero of a slit (Fraunhofer)."""
    x_m = math.tan(math.asin(gone_nm * 1e-9 / 40e-6))
    plate = slit_plate(1, nx=6001, ny=1, nw=381)
    column = int(np.argmin(np.abs(plate.x_m - x_m)))
    (found,) = missing_wavelengths(plate, column)
    assert found == pytest.approx(gone_nm * 1e-9, abs=1e-9)  # nodes stand 1 nm apart


def test_lines_of_a_lamp_are_not_called_extinguished() -> None:
    assert missing_wavelengths(of_lines(fine()), 150).size == 0


# --- words


def test_captions() -> None:
    assert aperture_words(fine(6)) == "6 slits of 40\u2009µm every 90\u2009µm"
    assert aperture_words(of_grating()) == "grating, 600 rulings/mm, 1,000 illuminated"
    stopped_down = replace(of_grating(), report=replace(fine().report, elements=120))
    assert aperture_words(stopped_down) == "grating, 600 rulings/mm, 120 illuminated"
    assert exposure_words(fine()) == "1/30\u2009s at ISO 100"
    times = {
        2.5: "2.5\u2009s",
        1 / 250: "1/250\u2009s",
        3e-6: "3\u2009µs",
        640: "10\u2009min\u200940\u2009s",
    }
    for seconds, caption in times.items():
        assert exposure_words(replace(fine(), exposure_s=seconds)).startswith(caption)


@pytest.mark.parametrize(
    ("value", "text"),
    [(40e-6, "40 µm"), (0.999999, "1 m"), (-3.2e-9, "−3.2 nm"), (12345, "12.3 km"), (0, "0 m")],
)
def test_quantities_in_words(value: float, text: str) -> None:
    assert in_words(value, "m").replace("\u2009", " ") == text


def test_cautions_stand_on_sheets_each_sentence_once() -> None:
    other = "Mercury lamp: ultraviolet. Local rules and a qualified supervisor decide."
    text = cautions_of([CAUTION, other, CAUTION], figures.PAGE, 6.0).replace("\n", " ")
    assert text.count("Local rules") == 1
    assert text.endswith("Local rules and a qualified supervisor decide.")
    assert text.count("never look at the Sun") == 1
    on_sheet = " ".join(text for text, _ in written(figures.sheet([fine()])))
    assert "never look at the Sun" in on_sheet.replace("\n", " ")


def test_widths_are_those_of_the_drawn_letters() -> None:
    for bold in (False, True):
        figure = Figure(dpi=720)
        weight = "bold" if bold else "normal"
        text = figure.text(0, 0, "Wide WORDS, 1/30 s; µm", fontsize=8, weight=weight)
        box = text.get_window_extent(FigureCanvasAgg(figure).get_renderer())
        # the drawn box is rounded to whole pixels, of which it has some 900
        width = width_of("Wide WORDS, 1/30 s; µm", 8, bold=bold)
        assert width == pytest.approx(box.width / 720, rel=0.01)


def test_lines_fit_and_lose_no_word() -> None:
    lines = wrapped(CAUTION, 3.0, 8.0).split("\n")
    assert all(width_of(line, 8.0) <= 3.0 for line in lines)
    assert " ".join(lines) == CAUTION
    assert cut("abc", 3.0, 8.0) == "abc"
    short = cut("word " * 100, 1.0, 8.0)
    assert short.endswith("…")
    assert 0.8 < width_of(short, 8.0) <= 1.0
    title = "a title a little too long for its line"
    text, points = fitted(title, 0.9 * width_of(title, 8.0), 8.0)
    assert text == title
    assert 6.0 < points < 8.0


# --- wrong requests


def test_unknown_ending(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"\.png or \.pdf or \.svg"):
        figures.save(figures.sheet([fine()]), tmp_path / "f.jpg")
    with pytest.raises(OutputError, match=r"\.gif or \.png or \.webp or \.mp4"):
        figures.animate([fine()], tmp_path / "f.avi")


def test_no_such_folder(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match="No such file or directory"):
        figures.save(figures.sheet([fine()]), tmp_path / "no" / "f.png")


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        (lambda: figures.sheet([]), "needs at least one plate"),
        (lambda: figures.sheet([fine()], labels=["a", "b"]), r"labels: .*found 2.*expected 1"),
        (lambda: figures.sheet([fine()], marks=[]), r"marks: .*found 0.*expected 1"),
        (lambda: figures.sheet([fine()], size="poster"), "page or a4 or letter or web or slide"),
        (lambda: figures.sheet([fine()] * 40, size="slide"), "too many plates"),
        (
            lambda: figures.failure_figure(
                np.empty(0), [("a", np.empty(0))], tolerance=0.01, labels=Labels()
            ),
            "could not be computed",
        ),
        (lambda: figures.spectrum_at_point(fine(), 0.1), "not on the plate"),
        (lambda: figures.chromaticity_path(fine(), x_range_m=(1, 2)), "outside the plate"),
        (lambda: figures.animate([], "f.gif"), "needs at least one plate"),
        (lambda: figures.animate([fine()], "f.gif", seconds=0), "out of range"),
        (lambda: figures.animate([fine()], "f.gif", labels=[]), "as many as there are plates"),
    ],
)
def test_wrong_requests(wrong: Callable[[], object], says: str) -> None:
    with pytest.raises(InputError, match=says):
        wrong()


# --- paper


@pytest.mark.slow
@pytest.mark.parametrize(
    ("paper", "points"),
    # ISO 216: 210 x 297 mm; ANSI/ASME Y14.1 size A, "letter": 8.5 x 11 in; a point is 1/72 in
    [("a4", (210 / 25.4 * 72, 297 / 25.4 * 72)), ("letter", (8.5 * 72, 11 * 72))],
)
def test_a_sheet_of_paper_with_a_bar_of_100_mm(
    paper: str, points: tuple[float, float], tmp_path: Path
) -> None:
    """Page size from the PDF itself; the bar from the pixels of the PNG, whose density it says."""
    look = figures.size_for(paper, bar=True)
    figures.save(figures.sheet([fine(), fine()], size=look), tmp_path / "f.pdf")
    box = re.search(rb"/MediaBox \[ ([\d. ]+) \]", (tmp_path / "f.pdf").read_bytes())
    assert box is not None
    assert [float(n) for n in box[1].split()[2:]] == pytest.approx(points, abs=0.1)
    figures.save(figures.sheet([fine()], size=look), tmp_path / "f.png")
    with Image.open(tmp_path / "f.png") as picture:
        per_mm = picture.info["dpi"][0] / 25.4
        foot = np.asarray(picture.convert("L"))[-int(25 * per_mm) :]
    line = foot[(foot < 90).sum(axis=1).argmax()]
    ends = np.flatnonzero(line < 90)
    assert (ends[-1] - ends[0]) / per_mm == pytest.approx(100.0, abs=0.4)
    with pytest.raises(InputError, match="297 mm high" if paper == "a4" else "279 mm high"):
        figures.sheet([fine()] * 30, size=look)


def test_a_bar_is_for_paper() -> None:
    with pytest.raises(InputError, match="for paper only"):
        figures.size_for("slide", bar=True)


# --- moving pictures


@pytest.mark.parametrize("kind", slow_but(["webp"], ["gif", "png", "webp"]))
def test_animation(kind: str, tmp_path: Path) -> None:
    plates = [fine(n) for n in (1, 2, 3)]
    figures.animate(plates, tmp_path / f"a.{kind}", seconds=0.5, title="More slits")
    with Image.open(tmp_path / f"a.{kind}") as film:
        assert getattr(film, "n_frames", 1) == 3
        assert film.size[0] == 1200
        frames = []
        for number in range(3):
            film.seek(number)
            frames.append(np.asarray(film.convert("RGB"), dtype=int))
        assert not np.array_equal(frames[0], frames[2])
        assert tuple(frames[1][0, 0]) == (255, 255, 255)
    if kind == "png":  # every colour is kept
        figures.animate(plates, tmp_path / "b.webp", seconds=0.5, title="More slits")
        with Image.open(tmp_path / "b.webp") as film:
            film.seek(2)
            np.testing.assert_array_equal(np.asarray(film.convert("RGB")), frames[2])


def test_a_figure_of_a_tower_is_refused() -> None:
    """A sheet of a plate of 24 mm by 250 m once asked for gigabytes."""
    from wavesim.figures.style import PAGE, blank

    assert blank(PAGE, 80.0).height_in == 80.0
    with pytest.raises(InputError, match="16 times as high as it is wide"):
        blank(PAGE, 100.0)
