"""Makes FIRST_HOUR.ipynb of FIRST_HOUR.md: the same hour as a notebook, one cell a command.

python scenes/notebook.py

What the page shows of each output stands in the cell's metadata as "shows", for the tests.
"""

import doctest
import json
import re
from collections.abc import Iterator
from pathlib import Path

HERE = Path(__file__).parent
PAGE, NOTEBOOK = HERE / "FIRST_HOUR.md", HERE / "FIRST_HOUR.ipynb"
SETUP = """\
# Work in the repository's folder, with the commands of this Python.
import os
import sys
from pathlib import Path

if not Path("scenes").is_dir():
    os.chdir("..")
os.environ["PATH"] = str(Path(sys.executable).parent) + os.pathsep + os.environ["PATH"]
"""
_BLOCK = re.compile(r"^```(console|pycon)\n(.*?)^```\n", re.DOTALL | re.MULTILINE)
_COMMAND = re.compile(r"^\$ (.*\n(?:> .*\n)*)((?:(?!\$ ).*\n)*)", re.MULTILINE)
_LIVE = re.compile(r"wavesim live (\S+)\n")

Cell = dict[str, object]


def notebook(page: str) -> dict[str, object]:
    """The page as a notebook (nbformat 4.5)."""
    cells = list(_cells(page))
    for number, cell in enumerate(cells):
        cell["id"] = f"cell-{number}"
    kernel = {"display_name": "Python 3", "language": "python", "name": "python3"}
    metadata = {"kernelspec": kernel, "language_info": {"name": "python"}}
    return {"cells": cells, "metadata": metadata, "nbformat": 4, "nbformat_minor": 5}


def _cells(page: str) -> Iterator[Cell]:
    end = 0
    for block in _BLOCK.finditer(page):
        yield from _text(page[end : block.start()])
        if end == 0:
            yield _code(SETUP, "")
        yield from _commands(block[2]) if block[1] == "console" else _python(block[2])
        end = block.end()
    yield from _text(page[end:])


def _text(markdown: str) -> Iterator[Cell]:
    if markdown.strip():
        yield {"cell_type": "markdown", "metadata": {}, "source": markdown.strip()}


def _code(source: str, shows: str) -> Cell:
    return {
        "cell_type": "code", "execution_count": None, "metadata": {"shows": shows}, "outputs": [],
        "source": source.rstrip("\n"),
    }  # fmt: skip


def _commands(block: str) -> Iterator[Cell]:
    """A cell of the shell for each command; the live bench in a cell of its own."""
    for command, shown in _COMMAND.findall(block):
        plain = re.sub(r"^> ", "", command, flags=re.MULTILINE)
        live = _LIVE.fullmatch(plain)
        if live is not None:
            yield _code(f'import wavesim\n\nwavesim.live(wavesim.load("{live[1]}"))', "")
        else:
            yield _code(f"%%sh --no-raise-error\n{plain}", shown)


def _python(block: str) -> Iterator[Cell]:
    """A cell for the lines up to each output."""
    lines = ""
    for example in doctest.DocTestParser().get_examples(block):
        lines += example.source
        if example.want:
            yield _code(lines, example.want)
            lines = ""
    if lines:
        yield _code(lines, "")


def text_of(page: str) -> str:
    """The notebook's file."""
    return json.dumps(notebook(page), ensure_ascii=False, indent=1) + "\n"


if __name__ == "__main__":
    NOTEBOOK.write_text(text_of(PAGE.read_text(encoding="utf-8")), encoding="utf-8")
