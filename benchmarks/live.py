"""The live bench: milliseconds of a frame, and what a hand at the page and a class feel.

`python -m benchmarks.live` prints the server's time of a frame for four scenes beside that of a
whole exposure, the bytes of the page, and, where there is a browser, frames a second of a 60 Hz
drag and the time from a key to painted pixels; then 30 followers and 10 benches of their own.
Frames a second are floors and latencies ceilings where the machine does other work: its load is
printed.
"""

from __future__ import annotations

import asyncio
import json
import math
import os
import resource
import time
from pathlib import Path
from typing import Any

import numpy as np

from benchmarks.live_browser import BROWSER, FLAGS, running
from benchmarks.messages import unpacked
from wavesim.lightpath import expose
from wavesim.live.protocol import Desk, Reply
from wavesim.live.session import Session
from wavesim.live.wire import packed
from wavesim.scene import load

SCENES = Path(__file__).resolve().parents[1] / "scenes"
COLUMNS = 1200
DRAGS = (
    ("slits_005", "aperture.width", 40e-6, "um", 1e-6),
    ("slits_250", "aperture.pitch", 90e-6, "um", 1e-6),
    ("grating_600_ghosts", "aperture.defects[0].amplitude", 8e-9, "nm", 1e-9),
    ("plane_hexagon", "aperture.radius", 300e-6, "um", 1e-6),
)
_FRAMES = 40
_SECONDS = 4.0


def main() -> None:
    """Print all of it."""
    print(f"load of the machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} processors")
    frames()
    page_bytes()
    in_a_browser()
    asyncio.run(in_a_class())


def median_95(values: list[float]) -> str:
    """Median and 95th percentile, in ms."""
    if not values:
        return "none"
    return f"{np.median(values):.1f} / {np.percentile(values, 95):.1f} ms"


def frames() -> None:
    """Server's time of a frame, and of the whole plate by `wavesim.expose`."""
    for name, key, value, unit, size in DRAGS:
        scene = load(SCENES / f"{name}.toml")
        desk, replies = Desk(Session(scene)), []
        desk.answer({"n": 0, "kind": "hello", "columns": COLUMNS}, replies.append)
        cpu, wall, sizes = [], [], []
        for step in range(_FRAMES):
            turned = f"{value / size * (1 + 0.01 * math.sin(step) + 0.001 * step):.6g} {unit}"
            message = {"n": step, "kind": "turn", "changes": {key: turned}, "columns": COLUMNS}
            begin, processor = time.perf_counter(), time.process_time()
            desk.answer(message, lambda reply, sizes=sizes: sizes.append(len(packed(reply))))
            wall.append(1e3 * (time.perf_counter() - begin))
            cpu.append(1e3 * (time.process_time() - processor))
        begin = time.perf_counter()
        expose(scene).picture()
        whole = 1e3 * (time.perf_counter() - begin)
        print(
            f"frame {name:20} processor {median_95(cpu):20} clock {median_95(wall):20} "
            f"{sizes[-1] / 1e3:.0f} kB; the whole plate once: {whole:.0f} ms"
        )


def page_bytes() -> None:
    """What a first visit loads."""
    data = Path(__file__).resolve().parents[1] / "wavesim/live/data"
    names = ("index.html", "bench.js", "socket.js", "bench.css", "strings.json", "icon.svg")
    print(f"page  {sum((data / name).stat().st_size for name in names) / 1e3:.1f} kB, first visit")


def in_a_browser() -> None:
    """A slider dragged at 60 Hz, and keys, in headless Chromium."""
    if BROWSER is None:
        print("no Chromium on this machine: frames a second not measured")
        return
    from playwright.sync_api import sync_playwright

    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=BROWSER, args=FLAGS)
        for name, key, *_ in DRAGS:
            with running(SCENES / f"{name}.toml", "--port", "0") as bench:
                page = browser.new_page(viewport={"width": 1280, "height": 720})
                page.goto(bench.address)
                page.wait_for_selector(".handle", timeout=60_000)
                page.wait_for_timeout(2500)
                print(f"drag  {name:20} {_dragged(page, key)}")
                page.close()
        browser.close()


_DRAG = """async ([key, seconds]) => {
  const {bench, counters} = document.querySelector('.bench');
  const slider = bench.handles.get(key).slider;
  const painted = counters.painted, first = counters.latency.length;
  const server = counters.server.length;
  const begin = performance.now();
  for (let step = 0; performance.now() - begin < seconds * 1000; step += 1) {
    slider.value = String(500 + Math.round(80 * Math.sin(step / 30)));
    slider.dispatchEvent(new Event('input'));
    await new Promise((done) => setTimeout(done, 1000 / 60));
  }
  const rate = (counters.painted - painted) / (performance.now() - begin) * 1000;
  slider.dispatchEvent(new Event('change'));
  const drag = counters.latency.slice(first);
  await new Promise((done) => setTimeout(done, 1500));
  const keys = [];
  for (let press = 0; press < 15; press += 1) {
    const before = counters.painted, at = performance.now();
    slider.value = String(Number(slider.value) + 1);
    slider.dispatchEvent(new Event('input'));
    while (counters.painted === before && performance.now() - at < 3000)
      await new Promise(requestAnimationFrame);
    keys.push(performance.now() - at);
    slider.dispatchEvent(new Event('change'));
    await new Promise((done) => setTimeout(done, 500));
  }
  return {rate, drag, keys, server: counters.server.slice(server), most: counters.unanswered};
}"""


def _dragged(page: Any, key: str) -> str:
    found = page.evaluate(_DRAG, [key, _SECONDS])
    return (
        f"{found['rate']:.0f} frames/s, turn to paint {median_95(found['drag'])}, key to paint "
        f"{median_95(found['keys'])}, server {median_95(found['server'])}, at most "
        f"{found['most']} unanswered"
    )


async def in_a_class() -> None:
    """30 followers while the owner drags; then 10 benches of their own; then 300 connections."""
    import websockets

    with running(SCENES / "slits_005.toml", "--port", "0", "--share") as bench:
        process, host = bench.process, bench.address.split("/")[2]
        addresses = (bench.address, bench.class_address)
        owner_key, class_key = (address.partition("=")[2] for address in addresses)
        options = {"origin": f"http://{host}", "max_size": None, "compression": None}

        def joined() -> Any:
            return websockets.connect(f"ws://{host}/bench", **options)

        await _followed(joined, owner_key, class_key, process.pid)
        await _own_benches(joined, class_key)
        before = _memory_mb(process.pid)
        for _ in range(300):
            async with joined() as socket:
                await socket.send(json.dumps({"n": 1, "kind": "hello", "key": class_key}))
                await socket.recv()
        after = _memory_mb(process.pid)
        print(
            f"class 300 connections one after the other: {before:.0f} MB before, {after:.0f} after"
        )


async def _followed(joined: Any, owner_key: str, class_key: str, pid: int) -> None:
    seconds, counts, stop = 6.0, [0] * 30, asyncio.Event()

    async def follow(number: int) -> None:
        async with joined() as socket:
            await socket.send(json.dumps({"n": 1, "kind": "hello", "key": class_key}))
            while not stop.is_set():
                try:
                    data = await asyncio.wait_for(socket.recv(), 1.0)
                except TimeoutError:
                    continue
                counts[number] += unpacked(data).head["kind"] == "frame"
                await socket.send('{"kind":"ack"}')

    async def drag() -> int:
        async with joined() as socket:
            owner = _Hand(socket)
            await owner.ask("hello", key=owner_key, columns=COLUMNS)
            for task in [asyncio.create_task(follow(number)) for number in range(30)]:
                tasks.append(task)
            await asyncio.sleep(1.0)
            begin, processor, frames = time.monotonic(), _processor_s(pid), 0
            start = list(counts)
            while time.monotonic() - begin < seconds:
                width = f"{40 + 5 * math.sin(frames / 9):.4f} um"
                await owner.ask("turn", changes={"aperture.width": width}, columns=COLUMNS)
                frames += 1
            spent = _processor_s(pid) - processor
            rates = [(now - then) / seconds for now, then in zip(counts, start, strict=True)]
            print(
                f"class 30 followers: owner {frames / seconds:.0f} frames/s, followers "
                f"{np.median(rates):.0f} (least {min(rates):.0f}), server "
                f"{spent / seconds:.2f} cores"
            )
            stop.set()
            return frames

    tasks: list[asyncio.Task[None]] = []
    await drag()
    await asyncio.gather(*tasks)


async def _own_benches(joined: Any, class_key: str) -> None:
    seconds = 6.0

    async def pupil(number: int) -> tuple[int, list[float]]:
        async with joined() as socket:
            hand, frames, waits = _Hand(socket), 0, []
            await hand.ask("hello", key=class_key, own=True, columns=600)
            begin = time.monotonic()
            while time.monotonic() - begin < seconds:
                width = f"{40 + 5 * math.sin(frames / 9 + number):.4f} um"
                start = time.monotonic()
                await hand.ask("turn", changes={"aperture.width": width}, columns=600)
                waits.append(1e3 * (time.monotonic() - start))
                frames += 1
            return frames, waits

    found = await asyncio.gather(*(pupil(number) for number in range(10)))
    rates = [frames / seconds for frames, _ in found]
    waits = [wait for _, each in found for wait in each]
    print(
        f"class 10 own benches: {np.median(rates):.1f} frames/s each (least {min(rates):.1f}, most "
        f"{max(rates):.1f}), turn to frame {median_95(waits)}"
    )


class _Hand:
    """A page without a browser: sends, and waits for the frame."""

    def __init__(self, socket: Any) -> None:
        self._socket, self._number = socket, 0

    async def ask(self, kind: str, **details: object) -> Reply:
        self._number += 1
        await self._socket.send(json.dumps({"n": self._number, "kind": kind, **details}))
        while True:
            reply = unpacked(await self._socket.recv())
            if reply.head["kind"] == "frame" and reply.head["n"] == self._number:
                return reply


def _processor_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _memory_mb(pid: int) -> float:
    pages = int(Path(f"/proc/{pid}/statm").read_text().split()[1])
    return pages * resource.getpagesize() / 1e6


if __name__ == "__main__":
    main()
