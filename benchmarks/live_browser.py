"""A live bench as a process, and the browser in which its page is looked at."""

from __future__ import annotations

import os
import re
import shutil
import signal
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
BROWSER = next((found for name in NAMES if (found := shutil.which(name))), None)
FLAGS = ["--no-sandbox", "--disable-gpu", "--force-color-profile=srgb", "--hide-scrollbars"]
_RUN = "import sys; from wavesim.cli import main; sys.argv[0] = 'wavesim'; main()"


@dataclass
class Bench:
    """A running bench: its process and the addresses it printed."""

    process: subprocess.Popen[str]
    address: str
    class_address: str = ""

    def kill(self) -> None:
        """End it as a crash would."""
        self.process.kill()
        self.process.wait()


def start(scene: Path, *options: str) -> Bench:
    """Run `wavesim live` and read what it prints."""
    process = subprocess.Popen(
        [sys.executable, "-c", _RUN, "live", str(scene), "--no-browser", *options],
        stdout=subprocess.PIPE, text=True, env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )  # fmt: skip
    assert process.stdout is not None
    addresses: list[str] = []
    wanted = 2 if "--share" in options else 1
    for line in process.stdout:
        if re.fullmatch(r"http://\S+\n", line):
            addresses.append(line.strip())
        if len(addresses) == wanted:
            break
    assert len(addresses) == wanted, "the bench printed no address"
    return Bench(process, *addresses)


@contextmanager
def running(scene: Path, *options: str) -> Iterator[Bench]:
    """A bench that is ended with Ctrl-C, and must end cleanly."""
    bench = start(scene, *options)
    try:
        yield bench
    finally:
        if bench.process.poll() is None:
            bench.process.send_signal(signal.SIGINT)
            assert bench.process.wait(timeout=20) == 0
