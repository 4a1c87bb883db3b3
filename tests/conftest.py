"""What all tests share: repeatable random examples, no window, no leftovers of the shell's."""

from __future__ import annotations

import compileall
import os
import sys
from pathlib import Path
from typing import Any

import hypothesis
import pytest

os.environ["MPLBACKEND"] = "Agg"
# as the command sets it: the last bits of matrix products depend on the number of their threads
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
os.environ.pop("WAVESIM_DEBUG", None)
# read, never written: a limit on file size would leave compiled modules cut short (CPython 126606);
# but pytest keeps the test modules it has rewritten, half the time of collecting them
os.environ["PYTHONDONTWRITEBYTECODE"] = "1"
sys.dont_write_bytecode = False

# no deadline: the first example compiles kernels; derandomized: a failure shows on every machine
hypothesis.settings.register_profile("repeatable", deadline=None, derandomize=True)
hypothesis.settings.load_profile("repeatable")


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption(
        "--exhaustive",
        action="store_true",
        help="run the tests over hundreds of random scenes, too",
    )


def pytest_configure(config: pytest.Config) -> None:
    """Compile the program's modules once, for all the commands that tests start."""
    if not hasattr(config, "workerinput"):
        package = Path(__file__).resolve().parents[1] / "wavesim"
        compileall.compile_dir(package, quiet=2)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With `-n 2` alone, let each process walk through its half of the files, and then help.

    Tests of one file share exposures; dealt out one by one, both processes would make them all.
    """
    if config.getoption("dist") != "load":
        return None
    from xdist.scheduler import WorkStealingScheduling

    return WorkStealingScheduling(config, log)


def pytest_collection_finish() -> None:
    """From here on the environment's word holds in this process, too."""
    sys.dont_write_bytecode = True


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Leave out what takes many minutes, unless it is asked for."""
    if config.getoption("--exhaustive"):
        return
    left_out = [item for item in items if item.get_closest_marker("exhaustive")]
    config.hook.pytest_deselected(items=left_out)
    items[:] = [item for item in items if not item.get_closest_marker("exhaustive")]
