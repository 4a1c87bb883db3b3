"""What a notebook shows when a plate or a result stands last in a cell."""

from __future__ import annotations

import io
import json
import re
from dataclasses import dataclass

import numpy as np
from PIL import Image

from tests.bench import SMALL_SCENE
from wavesim.lightpath import expose
from wavesim.measuring import Circle, Instrument, Line, Measurement, from_circle, read_settings
from wavesim.results import Column, Listing, Table, html_table
from wavesim.scene import parse
from wavesim.study.compare import compare
from wavesim.study.plate_summary import PlateSummary
from wavesim.study.point import explain
from wavesim.study.predict import predict
from wavesim.study.profile import line_profile
from wavesim.study.tolerance import Limits, tolerance
from wavesim.study.visibility import visibility


@dataclass(frozen=True)
class Row:
    name: str
    wavelength_m: float
    uncertainty_m: float | None = None
    remark: str = ""


def fits_a_screen(text: str) -> bool:
    lines = text.split("\n")
    return len(lines) <= 24 and max(map(len, lines)) <= 80


def headings(page: str) -> list[str]:
    return re.findall("<th>(.*?)</th>", page)


def test_a_plate_shows_its_picture_and_says_what_it_is() -> None:
    plate = expose(parse(SMALL_SCENE))
    shown = np.asarray(Image.open(io.BytesIO(plate._repr_png_())))
    assert np.array_equal(shown, plate.picture())
    said = repr(plate)
    assert said.startswith("<plate 'Three slits': 200 x 20 pixels of 100 um, brightest ")
    assert f"exposed {plate.exposure_s:.3g} s" in said


def test_a_table_shows_its_rows_without_columns_that_say_nothing() -> None:
    table = Table((Row("Hg <green>", 546.0775e-9), Row("Hg", 435.83e-9)))
    assert repr(table) == "<Table: 2 rows>"
    page = table._repr_html_()
    assert headings(page) == ["name", "wavelength_m"]
    assert re.findall("<td>(.*?)</td>", page) == [
        "Hg &lt;green&gt;", "5.460775e-07", "Hg", "4.3583e-07",
    ]  # fmt: skip


def test_a_zero_and_a_no_are_said_and_titles_are_text() -> None:
    page = html_table([{"count": 0, "sure": False, "why": None}], title="a & b")
    assert headings(page) == ["count", "sure"]
    assert "<td>0</td><td>False</td>" in page
    assert "<caption>a &amp; b</caption>" in page


def test_a_long_table_is_cut_and_says_so() -> None:
    page = html_table([{"n": n} for n in range(1234)])
    assert page.count("<td>") == 100
    assert "1,134 more rows" in page


def test_no_rows() -> None:
    empty = Measurement((), Instrument(pitch_m=1e-6, focal_m=1.0))
    assert repr(empty).startswith("<measurement>")
    assert "none" in repr(empty)
    assert headings(empty._repr_html_()) == ["lines"]  # the sentence: no table


def test_a_measurement_fits_a_screen() -> None:
    """A hundred lines, and a divided circle, in 24 lines of 80 columns at most."""
    line = Line(1e-3, 1.0, 1e-5, "line", 1, 500e-9, 1e-12, name="a line")
    many = Measurement((line,) * 100, Instrument(pitch_m=1e-6, focal_m=1.0), notes=("a note",) * 40)
    circle = from_circle(read_settings("scenes/circle.csv"), Circle(pitch_m=1e-3 / 600))
    for found in (many, circle):
        rows = repr(found).split("\n")
        assert len(rows) <= 24
        assert max(map(len, rows)) <= 80
        assert rows[0] == f"<{found.heading}>"


RULED = SMALL_SCENE.replace(
    "[plate]",
    '[[aperture.defects]]\nkind = "periodic"\namplitude = "100 nm"\nperiod = 20\n[plate]',
).replace("count = 3", "count = 300")


def test_results_of_studies() -> None:
    scene = parse(RULED)
    found = predict(scene, wavelengths_m=(550e-9,), orders=(1,))
    assert repr(found).startswith("<prediction of 'Three slits'>\n")
    assert fits_a_screen(repr(found))
    page = found._repr_html_()
    assert [table.title.split()[0] for table in found.tables] == ["orders", "ghosts", "effect"]
    assert page.count("<table>") == 1 + len(found.tables)  # the sentences and the tables
    assert page.count("<tr>") == len(found.sentences) + sum(1 + len(t.rows) for t in found.tables)
    assert "dispersion [nm/mm]" in headings(page)

    profile = line_profile(scene, wavelength_m=550e-9)
    assert repr(profile).startswith("<line profile>")
    assert "order 1 at 550 nm" in repr(profile)
    assert fits_a_screen(repr(profile))

    compared = compare(scene, only=("small-angles", "missing-orders"), points=3)
    assert repr(compared).startswith("<comparison of 'Three slits'>")
    assert fits_a_screen(repr(compared))
    assert len(compared.tables[0].rows) == len(compared.comparisons)
    assert compared.record()["title"] == "Three slits"


def test_a_result_fits_a_screen_and_prints_within_80_columns() -> None:
    plate = expose(parse(SMALL_SCENE))
    scene = parse(SMALL_SCENE)
    for found in (explain(plate, 1e-3), predict(scene), PlateSummary(plate), visibility(plate)):
        assert fits_a_screen(repr(found))
        assert all(len(line) <= 80 for line in found.text().split("\n"))
        assert json.dumps(found.record(), default=str)
        assert all(sentence.text for sentence in found.sentences)


def test_a_wide_listing_repeats_its_first_column() -> None:
    columns = (Column("order"), *(Column(f"{n} nm", "mm") for n in range(400, 420)))
    listing = Listing("positions", columns, (tuple(f"{n}" for n in range(21)),))
    text = listing.text(40)
    assert text.count("order") > 2
    assert max(map(len, text.split("\n"))) <= 40
    assert all(f" {n}\n" in text + "\n" or f" {n} " in text for n in range(1, 21))


def test_tolerances_are_a_table() -> None:
    found = tolerance(parse(RULED), Limits(ghost=1e-3), wavelength_m=550e-9)
    (table,) = found.tables
    assert len(table.rows) == len(found.rows)
    assert [column.name for column in table.columns][:2] == ["largest error", "limit"]
    assert fits_a_screen(repr(found))
    assert "tolerances" in found._repr_html_()
