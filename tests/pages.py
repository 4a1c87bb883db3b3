"""Pages of commands, run as they stand: each command, and what the page shows of its output."""

from __future__ import annotations

import contextlib
import doctest
import io
import re
import shlex
import subprocess
import sys

import pytest

from wavesim.cli import main

ALIKE = doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE


def blocks(page: str, language: str) -> list[str]:
    """Text of every code block of one language."""
    return re.findall(rf"^```{language}\n(.*?)^```$", page, re.DOTALL | re.MULTILINE)


def steps(page: str) -> list[tuple[str, str]]:
    """Each command (its `> ` lines joined to it) and what the page shows of its output."""
    pattern = r"^\$ (.*\n(?:> .*\n)*)((?:(?!\$ ).*\n)*)"
    found = [step for block in blocks(page, "console") for step in re.findall(pattern, block, re.M)]
    return [(re.sub(r"^> ", "", command, flags=re.M), shown) for command, shown in found]


def run(command: str) -> str:
    """Output of one command; `wavesim` in this process, anything else by the shell."""
    if command.startswith("wavesim live "):
        return served(command)
    if not command.startswith("wavesim "):
        return subprocess.run(
            ["sh", "-c", command], check=True, capture_output=True, text=True
        ).stdout
    out = io.StringIO()
    with (
        contextlib.redirect_stdout(out),
        contextlib.redirect_stderr(out),
        pytest.raises(SystemExit) as end,
    ):
        main(shlex.split(command)[1:])
    assert end.value.code in ((2,) if "slip" in command else (0, None)), out.getvalue()
    return out.getvalue()


def served(command: str) -> str:
    """What the live bench prints before it waits; on any free port, without a browser."""
    options = [*shlex.split(command)[1:], "--port", "0", "--no-browser"]
    with subprocess.Popen(
        [sys.executable, "-m", "wavesim", *options], stdout=subprocess.PIPE, text=True
    ) as bench:
        assert bench.stdout is not None
        try:
            return "".join(bench.stdout.readline() for _ in range(2))
        finally:
            bench.terminate()


def check(command: str, shown: str) -> None:
    """Run one command and hold what the page shows of it."""
    output = run(command)
    assert doctest.OutputChecker().check_output(shown, output, ALIKE), f"{command}\n{output}"


def pictures(page: str) -> list[str]:
    return re.findall(r"!\[[^\]]+\]\(([^)]+)\)", page)
