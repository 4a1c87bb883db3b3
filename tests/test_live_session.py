"""A live bench as such: handles from the schema, what turning does, what is said and printed."""

from __future__ import annotations

import random
import re
import zlib
from collections.abc import Iterator
from pathlib import Path

import numpy as np
import pytest

from tests.bench import SMALL_SCENE
from tests.parameters import slow_beyond
from wavesim.errors import InputError, LimitError, SceneError
from wavesim.lightpath import LightPath, expose
from wavesim.scene import Scene, load, parse
from wavesim.scene.units import measure

pytest.importorskip("tomlkit", reason='needs the extra "live"')

from wavesim.live.cost import cost_of
from wavesim.live.differences import differences
from wavesim.live.edits import rewritten
from wavesim.live.handles import STATIONS, handles_of
from wavesim.live.session import Session
from wavesim.live.sheets import magnification, sheet_pdf
from wavesim.live.views import full_row, preview
from wavesim.live.writing import scene_text

SCENES = sorted((Path(__file__).parents[1] / "scenes").glob("*.toml"))
SCENE = parse(SMALL_SCENE)
POINTS_MM = 72 / 25.4  # PDF, ISO 32000-1, 8.3.2.3: a unit is 1/72 inch


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
def test_handles_of_every_shipped_scene(path: Path) -> None:
    """Whatever a slider can reach in its middle is a value that the scene takes again."""
    scene = load(path)
    handles = handles_of(scene)
    assert [STATIONS.index(h.station) for h in handles] == sorted(
        STATIONS.index(h.station) for h in handles
    )
    assert len({handle.path for handle in handles}) == len(handles)
    for handle in handles:
        assert handle.help, handle.path
        if isinstance(handle.value, float) and handle.dimension not in ("", "fraction"):
            assert measure(handle.text).value == pytest.approx(handle.value, rel=1e-5)
        if isinstance(handle.value, float) and handle.kind in ("quantity", "number", "ratio"):
            assert handle.low <= handle.value <= handle.high, handle.path
            assert handle.low > 0 or not handle.logarithmic


def test_a_choice_that_may_be_left_out_is_a_choice() -> None:
    sun = parse(SMALL_SCENE.replace('kind = "sun"', 'kind = "sun"\nair = "ground"', 1))
    air = next(handle for handle in handles_of(sun) if handle.path == "source.air")
    assert (air.kind, air.text, set(air.choices)) == ("choice", "ground", {"above", "ground"})


@pytest.mark.parametrize("path", SCENES, ids=lambda path: path.stem)
def test_every_scene_written_anew_is_the_same_scene(path: Path) -> None:
    scene = load(path)
    assert parse(scene_text(scene)) == scene


def turns(rng: random.Random, scene: Scene) -> Iterator[tuple[str, str | float | int]]:
    for handle in handles_of(scene):
        if handle.kind == "quantity" and isinstance(handle.value, float):
            yield handle.path, f"{handle.value * rng.uniform(0.8, 0.98):.6g} " + unit_of(handle)
        elif handle.kind == "whole":
            yield handle.path, int(rng.randint(2, 9))
        elif handle.kind == "choice":
            yield handle.path, rng.choice(handle.choices)


def unit_of(handle: object) -> str:
    return {"length": "m", "angle": "rad", "time": "s", "lines per length": "/m"}[
        handle.dimension  # type: ignore[attr-defined]
    ]


@pytest.mark.parametrize("seed", range(4))
def test_after_any_turns_the_text_is_the_scene_and_keeps_its_comments(seed: int) -> None:
    """Law: what a page would save is, read again, the scene on the bench."""
    rng = random.Random(seed)
    scene = load(rng.choice([path for path in SCENES if path.stem.startswith(("slits", "sodium"))]))
    bench = Session(scene)
    comments = re.findall("#.*", scene.text)
    for _ in range(3):
        for path, value in rng.sample(list(turns(rng, bench.scene)), 4):
            before = bench.scene
            try:
                bench.turn({path: value})
            except InputError:
                assert bench.scene == before
            assert parse(bench.text) == bench.scene, f"seed {seed}, {path} = {value}"
    assert re.findall("#.*", bench.text) == comments


def test_a_short_form_is_opened_where_its_inside_is_turned() -> None:
    scene = load(next(path for path in SCENES if 'beam = "' in path.read_text()))
    bench = Session(scene)
    bench.turn({"bench.beam.diameter": "33 mm"})
    assert bench.scene.bench.beam is not None
    assert bench.scene.bench.beam.diameter_m == pytest.approx(33e-3)
    assert parse(bench.text) == bench.scene


def test_locks_and_ratios() -> None:
    bench = Session(SCENE)
    ratio = "aperture.width : aperture.pitch"
    bench.turn({ratio: 0.5})
    assert bench.scene.aperture.width_m == pytest.approx(45e-6)  # type: ignore[union-attr]
    bench.locks = frozenset({"aperture.width"})
    bench.turn({ratio: 0.25})
    assert bench.scene.aperture.pitch_m == pytest.approx(180e-6)  # type: ignore[union-attr]
    with pytest.raises(InputError, match=r"aperture\.width.*locked"):
        bench.turn({"aperture.width": "10 um"})
    bench.locks = frozenset({ratio})
    bench.turn({"aperture.pitch": "80 um"})
    assert bench.scene.aperture.width_m == pytest.approx(20e-6)  # type: ignore[union-attr]
    bench.locks = frozenset({"aperture.width", "aperture.pitch"})
    with pytest.raises(InputError, match="both"):
        bench.turn({ratio: 0.3})


@pytest.mark.parametrize("path", ["aperture..width", "a b", "aperture.slits[9].width", "x" * 99])
def test_a_key_that_is_none_is_refused(path: str) -> None:
    bench = Session(SCENE)
    with pytest.raises(SceneError):
        bench.turn({path: "1 um"})
    assert bench.scene == SCENE


def test_the_cost_of_scenes_that_ship_is_affordable_and_grows_with_what_they_hold() -> None:
    for path in SCENES:
        assert cost_of(load(path)).seconds < 60, path.stem
    small, large = cost_of(SCENE), cost_of(parse(SMALL_SCENE.replace("100 um", "10 um")))
    assert large.seconds > small.seconds
    assert large.bytes > small.bytes


def test_a_costly_scene_is_refused_and_nothing_runs() -> None:
    bench = Session(SCENE)
    with pytest.raises(LimitError, match="GB"):
        bench.read(SMALL_SCENE.replace("100 um", "1 um"))
    assert bench.scene == SCENE


def test_a_row_at_rest_is_the_middle_of_the_whole_plate() -> None:
    """The row's pixels are as high as a few of the plate's; sums over the plate agree exactly."""
    plate = expose(SCENE)
    row = full_row(LightPath(), SCENE, 100)
    assert row.profile.size == SCENE.plate.pixels_x
    assert row.profile == pytest.approx(
        plate.profile_irradiance / plate.profile_irradiance.max(), rel=1e-3, abs=1e-6
    )


def test_a_preview_holds_the_power_of_the_plate() -> None:
    """Pixels are exact means (energy is kept): the power of any preview is that of the plate."""
    whole = expose(SCENE)
    power = float(whole.irradiance.sum()) * SCENE.plate.pixel_area_m2
    for columns in (40, 77, 200):
        view = preview(LightPath(), SCENE, columns)
        coarse = float(view.plate.irradiance.sum()) * view.plate.scene.plate.pixel_area_m2
        assert coarse == pytest.approx(power, rel=1e-6)


def test_the_spectrum_of_a_place_on_a_preview_sums_to_its_light() -> None:
    """Filtered light lies within what the spectrum covers, so its integral is the irradiance."""
    from wavesim.study.point import explain

    green = SMALL_SCENE.replace(
        'kind = "sun"', 'kind = "sun"\nfilters = [{ kind = "bandpass", centre = "550 nm", '
        'width = "20 nm" }]', 1,
    )  # fmt: skip
    view = preview(LightPath(), parse(green), 100)
    column = int(np.argmax(view.plate.profile_irradiance))
    spectrum = explain(view.plate, float(view.plate.x_m[column])).spectrum
    light = float(spectrum.irradiance.sum()) * spectrum.step_m * 1e9
    assert light == pytest.approx(view.plate.profile_irradiance[column], rel=2e-3)


def test_a_slow_scene_gets_fewer_columns_and_a_quick_one_all_again(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    from wavesim.live import session

    bench = Session(SCENE)
    monkeypatch.setattr(session, "_SLOW_S", -1.0)  # everything is slow
    wide = [bench.preview(160).profile.size for _ in range(4)]
    assert wide[:2] == [160, 160]
    assert wide[-1] == 64
    monkeypatch.setattr(session, "_SLOW_S", 1e9)  # nothing is
    wide = [bench.preview(160).profile.size for _ in range(16)]
    assert wide[-1] == 160
    assert bench.full_row(160).quality == "row"


def test_differences_are_those_of_the_formulas() -> None:
    """N slits have N - 2 subsidiary maxima and N^2 times the light (Born & Wolf 8.6.1)."""
    five = parse(SMALL_SCENE.replace("count = 3", "count = 6"))
    said = " / ".join(differences(expose(SCENE), expose(five)))
    assert "count 3 \N{RIGHTWARDS ARROW} 6" in said
    assert "3 more subsidiary maxima" in said
    found = re.search(r"brightest point ([\d.]+) times as bright", said)
    assert found is not None
    assert float(found[1]) == pytest.approx(4.0, rel=0.02)  # the pixel averages the peak a little


def test_ghosts_are_told_where_the_formula_puts_them() -> None:
    """x at order 1 +- 1/96, strength (pi A / d)^2 (1 +- 1/96)^2: Rowland, first harmonic."""
    ruled = load(next(path for path in SCENES if path.stem == "grating_600_ghosts"))
    perfect = ruled.model_copy(
        update={"aperture": ruled.aperture.model_copy(update={"defects": ()})}
    )
    plates = [LightPath().preview(scene, 400, 5) for scene in (perfect, ruled)]
    said = " / ".join(differences(plates[0], plates[1]))
    found = re.search(r"ghosts at \N{PLUS-MINUS SIGN}([\d.]+) mm, ([\d.e-]+) of order 1", said)
    assert found is not None
    assert float(found[1]) == pytest.approx(3.6, abs=0.1)  # mm: the scene's own text says 0.58 - -3
    assert float(found[2]) == pytest.approx((np.pi * 8e-9 * 600e3) ** 2, rel=0.05)


@pytest.mark.parametrize(
    ("paper", "size_mm"), slow_beyond(1, [("letter", (215.9, 279.4)), ("A4", (210, 297))])
)
def test_a_printed_sheet_is_true_to_scale(paper: str, size_mm: tuple[float, float]) -> None:
    """The page is as large as its paper, and holds a line of exactly 100 mm."""
    plate = LightPath().preview(SCENE, 100, 5)
    pdf = sheet_pdf([plate, plate], paper, titles=["one", "two"], stops=[0.0, 1.0])
    box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", pdf)
    assert box is not None
    for found, expected in zip(box.groups(), size_mm, strict=True):
        assert float(found) / POINTS_MM == pytest.approx(expected, abs=0.01)
    streams = re.findall(rb"stream\r?\n(.*?)\r?\nendstream", pdf, re.DOTALL)
    drawn = b"".join(filter(None, map(inflated, streams)))
    lines = re.findall(rb"([\d.]+) ([\d.]+) m\s+([\d.]+) ([\d.]+) l", drawn)
    lengths = [abs(float(x1) - float(x0)) / POINTS_MM for x0, _, x1, _ in lines]
    assert min(abs(length - 100.0) for length in lengths) < 1e-3
    assert sheet_pdf([plate, plate], paper, titles=["one", "two"], stops=[0.0, 1.0]) == pdf


def inflated(stream: bytes) -> bytes | None:
    try:
        return zlib.decompress(stream)
    except zlib.error:
        return None


@pytest.mark.parametrize(("span", "times"), [(60.0, 3.0), (182.0, 1.0), (181.9, 1.0), (19.0, 8.0)])
def test_the_magnification_is_round_and_fits(span: float, times: float) -> None:
    assert magnification(span, 182.0) == pytest.approx(times)


def test_text_keeps_its_form_where_one_value_changes() -> None:
    changed = rewritten(SMALL_SCENE, [("aperture.width", "41 um")])
    assert changed == SMALL_SCENE.replace('"40 um"', '"41 um"', 1)


def test_the_bench_in_a_notebook_answers_as_the_page_does() -> None:
    pytest.importorskip("anywidget", reason='needs the extra "notebook"')
    import wavesim

    widget = wavesim.live(SCENE)  # type: ignore[operator]
    replies: list[tuple[str, int]] = []
    widget.send = lambda head, buffers: replies.append((head["kind"], len(buffers)))
    widget._answer(widget, {"n": 1, "kind": "hello", "columns": 80}, [])
    widget._answer(widget, {"n": 2, "kind": "turn", "changes": {"aperture.count": 4}}, [])
    assert replies == [("state", 0), ("frame", 4), ("frame", 4)]
    assert widget.scene.aperture.count == 4
    assert "export default" in widget._esm
