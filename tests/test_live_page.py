"""The live bench's page in a browser: dragged, typed at, touched, shared, cut off."""

from __future__ import annotations

import io
import re
import time
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from PIL import Image

from benchmarks.live_browser import BROWSER, FLAGS, Bench, running, start
from tests.bench import SMALL_SCENE
from wavesim.lightpath import expose
from wavesim.scene import parse

pytest.importorskip("playwright", reason="the tests of the page need playwright")
pytest.importorskip("uvicorn", reason='the tests of the page need the extra "live"')

from playwright.sync_api import Browser, BrowserContext, Page, expect, sync_playwright

pytestmark = [
    pytest.mark.slow,
    pytest.mark.skipif(BROWSER is None, reason="no Chromium here (apt-get install chromium)"),
]
FOCAL_M, PITCH_M = 1.0, 90e-6  # of the small scene


@pytest.fixture(scope="module")
def scene_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("bench") / "three.toml"
    path.write_text(SMALL_SCENE)
    return path


@pytest.fixture(scope="module")
def bench(scene_file: Path) -> Iterator[Bench]:
    with running(scene_file, "--port", "0") as made:
        yield made


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    with sync_playwright() as playwright:
        made = playwright.chromium.launch(executable_path=BROWSER, args=FLAGS)
        yield made
        made.close()


@pytest.fixture
def context(browser: Browser) -> Iterator[BrowserContext]:
    made = browser.new_context(viewport={"width": 1280, "height": 720})
    yield made
    made.close()


def opened(context: BrowserContext, address: str, *, wait: str = ".handle") -> Page:
    """A page with what its console complained of kept on it."""
    page = context.new_page()
    page.complaints = []  # type: ignore[attr-defined]
    page.hosts = set()  # type: ignore[attr-defined]
    page.on("console", lambda m: page.complaints.append(m.text) if m.type == "error" else None)  # type: ignore[attr-defined, call-overload]
    page.on("pageerror", lambda error: page.complaints.append(str(error)))  # type: ignore[attr-defined, call-overload]
    page.on("request", lambda r: page.hosts.add(re.sub(r"^\w+://([^/]+).*", r"\1", r.url)))  # type: ignore[attr-defined, call-overload]
    page.goto(address)
    page.wait_for_selector(wait, timeout=30_000)
    shown(page, "row" if wait == ".handle" else "preview")
    return page


@pytest.fixture
def page(context: BrowserContext, bench: Bench) -> Iterator[Page]:
    made = opened(context, bench.address)
    yield made
    assert made.complaints == []  # type: ignore[attr-defined]
    assert made.hosts == {bench.address.split("/")[2]}  # type: ignore[attr-defined]


def shown(page: Page, quality: str) -> None:
    """Wait until a frame of that quality is painted and nothing is under way."""
    page.wait_for_function(
        "q => { const b = document.querySelector('.bench');"
        " return b.counters.quality === q || (q === 'preview' && b.counters.painted > 0); }",
        arg=quality, timeout=30_000,
    )  # fmt: skip


def counters(page: Page) -> dict[str, Any]:
    return dict(page.evaluate("document.querySelector('.bench').counters"))


def handle(page: Page, name: str) -> Any:
    return page.locator(".handle", has=page.get_by_label(name, exact=True)).first


def field(page: Page, station: str, name: str) -> Any:
    stand = page.locator(".station", has=page.get_by_role("heading", name=station, exact=True))
    return stand.get_by_label(name, exact=True)


def slider(page: Page, station: str, name: str) -> Any:
    stand = page.locator(".station", has=page.get_by_role("heading", name=station, exact=True))
    return stand.locator(f"input[type=range][aria-label^='{name}. ']")


def value(page: Page, path: str) -> list[Any]:
    return list(page.evaluate("p => document.querySelector('.bench').bench.head.values[p]", path))


def test_a_dragged_slider_moves_the_plate_and_never_waits_for_more_than_two(page: Page) -> None:
    box = slider(page, "Aperture", "width").bounding_box()
    x, y = box["x"] + box["width"] / 2, box["y"] + box["height"] / 2
    before = counters(page)["painted"]
    page.mouse.move(x, y)
    page.mouse.down()
    for step in range(40):
        page.mouse.move(x - step / 2, y)
    counts = counters(page)
    assert counts["painted"] > before + 2
    assert counts["unanswered"] <= 2
    page.mouse.up()
    shown(page, "row")
    assert value(page, "aperture.width")[0] < 39e-6
    assert 'width = "40 um"' not in page.locator("textarea").input_value()


def test_the_number_field_takes_units_and_says_what_is_wrong(page: Page) -> None:
    width = field(page, "Aperture", "width")
    width.fill("0.03 mm")
    width.press("Enter")
    page.wait_for_function(
        "() => document.querySelector('.bench').bench.head.values['aperture.width'][1] === '30 um'"
    )
    width.fill("2 mm")
    width.press("Enter")
    fault = page.locator(".handle .fault", has_text="more than the pitch")
    expect(fault).to_be_visible()
    expect(width).to_have_attribute("aria-invalid", "true")
    assert value(page, "aperture.width")[1] == "30 um"


def test_keys_turn_a_handle_by_small_and_large_steps(page: Page) -> None:
    bar = slider(page, "Aperture", "pitch")
    bar.focus()
    values = [90.0]
    for key in ("ArrowRight", "PageUp"):
        page.keyboard.press(key)
        text = bar.get_attribute("aria-valuetext")
        assert text.endswith(" um")
        values.append(float(text.removesuffix(" um")))
    assert 1.0 < values[1] / values[0] < 1.01
    assert 1.1 < values[2] / values[1] < 1.5


def test_the_cursor_goes_from_mark_to_mark_to_the_micrometre(page: Page) -> None:
    """Three slits: dark at m + 1/3 and m + 2/3, bright at m; x = f tan(asin(mu lambda / d))."""
    plate = page.get_by_role("slider", name="Position on the plate")
    plate.focus()
    page.keyboard.press("Home")
    page.wait_for_timeout(150)
    wave = page.evaluate("document.querySelector('.bench').bench.head.marks.wavelength_m")
    reach = 10e-3 / (wave / PITCH_M)
    orders = [k / 3 for k in range(-int(3 * reach), int(3 * reach) + 1)]
    for mu in orders[:4]:
        page.keyboard.press("PageUp")
        expected = 1e3 * FOCAL_M * np.tan(np.arcsin(mu * wave / PITCH_M))
        expect(plate).to_have_attribute("aria-valuenow", f"{expected:.3f}", timeout=5000)
    expect(page.locator(".readout .why")).to_contain_text("x =", timeout=20_000)


def test_a_finger_points_at_the_plate(browser: Browser, bench: Bench) -> None:
    context = browser.new_context(
        viewport={"width": 390, "height": 844}, has_touch=True, is_mobile=True
    )
    page = opened(context, bench.address)
    box = page.locator(".board .over").bounding_box()
    assert box is not None
    page.touchscreen.tap(box["x"] + box["width"] * 0.75, box["y"] + box["height"] / 2)
    expect(page.locator(".readout p").first).to_contain_text("x 5.0")
    small = page.evaluate(
        "[...document.querySelectorAll('button, select, input[type=text], input[type=range]')]"
        ".filter(e => e.offsetParent).filter(e => e.getBoundingClientRect().height < 43.5)"
        ".map(e => e.outerHTML.slice(0, 80))"
    )
    assert small == []  # targets of 44 px (WCAG 2.2, 2.5.5)
    width = page.evaluate("document.documentElement.scrollWidth")
    assert width == 390
    context.close()


def test_the_exposed_plate_is_the_picture_of_the_command(page: Page) -> None:
    page.get_by_role("button", name="Expose the whole plate").click()
    shown(page, "plate")
    pixels = page.evaluate(
        """async () => {
          const {bitmap} = document.querySelector('.bench').bench.board.frame;
          const canvas = new OffscreenCanvas(bitmap.width, bitmap.height);
          const g = canvas.getContext('2d'); g.drawImage(bitmap, 0, 0);
          return [bitmap.width, ...g.getImageData(0, 0, bitmap.width, bitmap.height).data];
        }"""
    )
    rgba = np.array(pixels[1:], dtype=np.uint8).reshape(-1, pixels[0], 4)
    assert np.array_equal(rgba[..., :3], expose(parse(SMALL_SCENE)).picture())


def test_kept_plates_are_compared_and_put_back(page: Page) -> None:
    keep = page.get_by_role("button", name="Keep this plate")
    keep.click()
    expect(page.locator(".pin")).to_have_count(1)
    field(page, "Aperture", "count").fill("5")
    page.keyboard.press("Enter")
    keep.click()
    expect(page.locator(".pin")).to_have_count(2)
    expect(page.locator(".pin").nth(1)).to_contain_text("2 more subsidiary maxima")
    page.get_by_role("button", name="Load again").first.click()
    expect(field(page, "Aperture", "count")).to_have_value("3")


def test_a_saved_picture_is_the_commands_file(page: Page, tmp_path: Path) -> None:
    with page.expect_download() as waiting:
        page.get_by_label("Save").select_option("picture")
    path = tmp_path / "saved.png"
    waiting.value.save_as(path)
    assert waiting.value.suggested_filename == "three-slits.png"
    expose(parse(SMALL_SCENE)).save_png(tmp_path / "same.png")
    assert path.read_bytes() == (tmp_path / "same.png").read_bytes()


def test_the_scene_file_says_what_is_wrong_and_what_costs_too_much(page: Page) -> None:
    page.get_by_text("Scene file", exact=True).click()
    editor = page.get_by_role("textbox", name="Scene file")
    for text, said in (
        (SMALL_SCENE.replace("pitch", "pich"), "pitch"),
        (SMALL_SCENE.replace('pixel = "100 um"', 'pixel = "1 um"'), "GB of memory"),
    ):
        editor.fill(text)
        page.get_by_role("button", name="Apply", exact=True).click()
        expect(page.locator("details .status")).to_contain_text(said)
    editor.fill(SMALL_SCENE.replace("Three slits", "Mine"))
    page.get_by_role("button", name="Apply", exact=True).click()
    expect(page.locator("h1")).to_have_text("Mine")


def test_a_link_holds_the_whole_scene(context: BrowserContext, page: Page) -> None:
    field(page, "Aperture", "count").fill("4")
    page.keyboard.press("Enter")
    expect(page.locator("textarea")).to_have_value(re.compile("count = 4"), timeout=10_000)
    page.get_by_text("Scene file", exact=True).click()
    page.get_by_role("button", name="Copy a link to this scene").click()
    other = opened(context, counters(page)["link"])
    assert value(other, "aperture.count")[0] == 4


def test_a_dropped_file_is_put_on_the_bench(page: Page) -> None:
    page.evaluate(
        """text => {
          const data = new DataTransfer();
          data.items.add(new File([text], 'mine.toml'));
          const drop = new DragEvent('drop', { dataTransfer: data, bubbles: true });
          document.querySelector('.bench').dispatchEvent(drop);
        }""",
        SMALL_SCENE.replace("Three slits", "Dropped"),
    )
    expect(page.locator("h1")).to_have_text("Dropped")


def test_a_covered_plate_is_hidden_until_it_is_uncovered(page: Page) -> None:
    page.get_by_role("button", name="Cover the plate").click()
    cover = page.locator(".cover")
    expect(cover).to_be_visible()
    field(page, "Aperture", "count").fill("2")
    page.keyboard.press("Enter")
    page.wait_for_timeout(300)
    expect(cover).to_be_visible()
    page.get_by_role("button", name="Uncover").click()
    expect(cover).to_be_hidden()


def test_a_sweep_turns_slowly_and_can_be_recorded(page: Page) -> None:
    page.get_by_role("button", name="Sweep pitch").click()
    page.get_by_role("button", name="Record the sweep").click()
    before, begin = counters(page)["sent"], time.monotonic()
    page.wait_for_timeout(1500)
    turned, seconds = counters(page)["sent"] - before, time.monotonic() - begin
    assert 1 <= turned <= 3 * seconds + 1  # no more than three flashes a second (WCAG 2.3.1)
    with page.expect_download() as waiting:
        page.get_by_role("button", name="Stop the sweep").click()
    assert waiting.value.suggested_filename == "sweep.webm"


def test_locks_hold_and_a_locked_ratio_moves_both(page: Page) -> None:
    page.get_by_role("button", name="Lock width : pitch").click()
    expect(page.get_by_role("button", name="Unlock width : pitch")).to_be_visible()
    field(page, "Aperture", "pitch").fill("45 um")
    page.keyboard.press("Enter")
    expect(field(page, "Aperture", "width")).to_have_value("20 um")


def test_two_tabs_are_two_benches(context: BrowserContext, bench: Bench) -> None:
    first, second = opened(context, bench.address), opened(context, bench.address)
    field(first, "Aperture", "count").fill("9")
    first.keyboard.press("Enter")
    expect(first.locator("textarea")).to_have_value(re.compile("count = 9"), timeout=10_000)
    assert value(second, "aperture.count")[0] == 3


def test_a_killed_server_is_found_again_and_the_bench_as_it_was(
    context: BrowserContext, scene_file: Path
) -> None:
    bench = start(scene_file, "--port", "0")
    page = opened(context, bench.address)
    field(page, "Aperture", "count").fill("6")
    page.keyboard.press("Enter")
    expect(page.locator("textarea")).to_have_value(re.compile("count = 6"), timeout=10_000)
    bench.kill()
    expect(page.locator("p.status").first).to_contain_text("connection is lost")
    with running(scene_file, "--port", bench.address.split(":")[2].strip("/")):
        expect(page.locator("p.status").first).to_have_text("", timeout=30_000)
        expect(field(page, "Aperture", "count")).to_have_value("6")


def test_a_class_looks_on_and_may_ask_for_a_bench(
    context: BrowserContext, browser: Browser, scene_file: Path
) -> None:
    with running(scene_file, "--port", "0", "--share") as bench:
        owner = opened(context, bench.address)
        port = bench.address.split("/")[2].split(":")[1]
        local = f"http://127.0.0.1:{port}/#{bench.class_address.partition('#')[2]}"
        elsewhere = browser.new_context(viewport={"width": 390, "height": 844})
        follower = opened(elsewhere, local, wait=".rail p")
        assert follower.locator(".handle").count() == 0
        field(owner, "Aperture", "count").fill("7")
        owner.keyboard.press("Enter")
        follower.wait_for_function(
            "() => document.querySelector('.bench').bench.head.values['aperture.count'][0] === 7"
        )
        owner.get_by_text("For the class").click()
        expect(owner.locator(".address")).to_have_text(bench.class_address)
        follower.get_by_role("button", name="Ask for a bench of your own").click()
        follower.wait_for_selector(".handle")
        stranger = elsewhere.new_page()
        stranger.goto(f"http://127.0.0.1:{port}/#key=wrong")
        expect(stranger.locator("body")).to_contain_text("key")
        elsewhere.close()


def test_every_control_has_a_name_and_the_caution_stays(page: Page) -> None:
    nameless = page.evaluate(
        "[...document.querySelectorAll('button, select, input, textarea')]"
        ".filter(e => e.offsetParent && !e.labels?.length && !e.getAttribute('aria-label'))"
        ".filter(e => !e.textContent.trim())"
        ".map(e => e.outerHTML.slice(0, 90))"
    )
    assert nameless == []
    expect(page.locator(".caution")).to_contain_text("never look at the Sun")
    tree = page.locator("main").aria_snapshot()
    for line in ('slider "width. Clear width of a slit"', 'textbox "pitch"', 'heading "Aperture"'):
        assert line in tree


def test_the_views_of_colour_blind_people_are_those_of_the_paper(page: Page) -> None:
    """Machado, Oliveira and Fernandes 2009, as colour-science tabulates them."""
    colour = pytest.importorskip("colour")
    names = {"protan": "Protanomaly", "deutan": "Deuteranomaly", "tritan": "Tritanomaly"}
    for name, deficiency in names.items():
        text = page.evaluate(
            f"document.querySelector('#{name} feColorMatrix').getAttribute('values')"
        )
        ours = np.array(text.split(), dtype=float).reshape(4, 5)[:3, :3]
        table = colour.blindness.matrix_cvd_Machado2009(deficiency, 1.0)
        assert ours == pytest.approx(np.asarray(table), abs=1e-6)


def test_the_hall_view_has_large_letters_and_lifts_its_black(page: Page) -> None:
    page.get_by_role("button", name="Hall", exact=True).click()
    size = page.evaluate("parseFloat(getComputedStyle(document.querySelector('.bench')).fontSize)")
    assert size >= 720 / 25 - 0.1
    page.locator(".hallbar input").fill("20")
    lift = page.locator(".board .lift")
    expect(lift).to_have_css("background-color", "rgb(20, 20, 20)")
    shot = Image.open(io.BytesIO(page.locator(".board").screenshot()))
    assert np.asarray(shot.convert("L"))[80:90, 2:6].min() >= 18  # lifted, not black
