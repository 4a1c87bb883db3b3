"""Makes live_bench.webp: the page of the live bench as a browser shows it.

python -m scenes.pictures.bench

Needs playwright and a Chromium, as the tests of the page do.
"""

import io
from pathlib import Path

from PIL import Image
from playwright.sync_api import sync_playwright

from benchmarks.live_browser import BROWSER, FLAGS, running

HERE = Path(__file__).parent
SCENE, X_MM = HERE.parent / "slits_005.toml", 13.27  # a place whose colour has several causes
SIZE = {"width": 1280, "height": 720}


def main() -> None:
    """Open the bench, point at a place, wait for the reason of its colour, and keep the page."""
    with running(SCENE, "--port", "0") as bench, sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=BROWSER, args=FLAGS)
        page = browser.new_context(viewport=SIZE, color_scheme="dark").new_page()
        page.goto(bench.address)
        page.wait_for_function(
            "() => document.querySelector('.bench')?.counters?.quality === 'row'", timeout=60_000
        )
        plate = page.locator("canvas").first.bounding_box()
        assert plate is not None
        x = plate["x"] + plate["width"] * (0.5 + X_MM / 60)  # the plate is 60 mm wide
        page.mouse.move(x, plate["y"] + plate["height"] / 2)
        page.wait_for_selector("text=extinguished", timeout=60_000)
        shot = Image.open(io.BytesIO(page.screenshot()))
        shot.convert("RGB").save(HERE / "live_bench.webp", quality=88, method=6)
        browser.close()


if __name__ == "__main__":
    main()
